"""Corners of several cards of known geometry through a known lens, with noise and faults."""

import numpy as np

from petitpied.camera.find_card import CardSighting
from petitpied.domain import card
from petitpied.domain.view import View, rotation_matrix
from tests.camera.card_views import placed

SIZE_PX = (4032, 3024)
PLACES = {
    "A": (0.0, 0.0, 0.05),
    "B": (230.0, 160.0, 0.3),
    "C": (240.0, 0.0, 1.5),
    "D": (-10.0, 150.0, -0.2),
}
NOISE_PX = 0.15  # as measured on phone-like photos


def a_view(rng, *, tilt_deg=3.0, height_mm=650.0, focal_35mm=52.0, corner_rel=0.0, focal_off=0.0):
    """A 12-megapixel view from above the four cards; ``corner_rel``: k1's effect at the corner."""
    diagonal = np.hypot(*SIZE_PX)
    focal = focal_35mm / 43.267 * diagonal * (1 + focal_off)
    way = rng.uniform(0, 2 * np.pi)
    axis = np.deg2rad(tilt_deg) * np.array([np.cos(way), np.sin(way)])
    rotation = rotation_matrix([*axis, 0.02])
    centre = np.array([150.0, 100.0, -height_mm])
    middle = (np.array(SIZE_PX) - 1) / 2 + rng.normal(0, 5, 2)
    k = [[focal, 0, middle[0]], [0, focal, middle[1]], [0, 0, 1]]
    k1 = corner_rel / (diagonal / 2 / focal) ** 2
    return View.exact(k, [k1], np.column_stack([rotation, -rotation @ centre]))


def sight(view, letter, rng, **fault):
    """A card's 18 corners; ``fault``: printed (scale), lift_mm, edge_mm (rise over its length),
    gross (so many corners 8 px off)."""
    mm = card.inner_corners_mm()
    at = placed(mm * fault.get("printed", 1.0), np.array(PLACES[letter]))
    height = 0.3 + fault.get("lift_mm", 0.0) + fault.get("edge_mm", 0.0) * mm[:, 0] / 85.6
    px = view.project(at, height) + rng.normal(0, NOISE_PX, (len(mm), 2))
    spoilt = rng.choice(len(mm), fault.get("gross", 0), replace=False)
    px[spoilt] += rng.normal(0, 8, (len(spoilt), 2))
    return CardSighting(letter, mm, px, np.full(18, 0.2), 18, view.px_per_mm(at.mean(axis=0)), 0.9)


def scale_errors_rel(found, true):
    """Relative errors (12,) of the local scale at places over the tray."""
    places = np.array([(x, y) for x in (0, 100, 200, 300) for y in (0, 100, 200)], float)
    arm = 10.0 * np.array([[-1, 0], [1, 0], [0, -1], [0, 1]])
    seen = found.to_plane(true.project((places[:, None] + arm).reshape(-1, 2)))
    p = seen.reshape(-1, 4, 2)
    a, b = p[:, 1] - p[:, 0], p[:, 3] - p[:, 2]
    return np.sqrt(np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])) / 20 - 1
