"""What a shell was piped as: rounds, ovals, hearts and tear-drops as radii about their middle.

Angles from +x towards +y (clockwise in the photo). A form is star-shaped about its centre of area,
so that a radius over the angle says all of it; the unit is the radius of the circle of equal area.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tests.traced.mesh import Array

STEPS = 1440  # of a form's table over the full turn


@dataclass(frozen=True, slots=True)
class Form:
    """``aspect`` is the smallest over the largest half axis of an oval; ``notch`` how far a
    heart's lobes lie apart (0.55 hardly a notch, 0.9 a deep one); ``tip`` how far a heart's or a
    tear-drop's point reaches, in radii of its lobe; ``blunt_rad`` how much corners are rounded."""

    kind: str  # oval, heart, teardrop
    direction_rad: float  # of an oval's long axis, of the point of the others
    aspect: float = 1.0
    notch: float = 0.75
    tip: float = 1.8
    blunt_rad: float = 0.09

    def radius_rel(self, angle_rad: Array) -> Array:
        table = _table(self.kind, self.aspect, self.notch, self.tip, self.blunt_rad)
        turned = (angle_rad - self.direction_rad) / (2 * np.pi) * STEPS
        return np.interp(turned, np.arange(STEPS), table, period=STEPS)


def _arc(centre: tuple[float, float], radius: float) -> Array:
    a = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    return np.array(centre) + radius * np.stack([np.cos(a), np.sin(a)], -1)


def _with_point(centre: tuple[float, float], radius: float, point: tuple[float, float]) -> Array:
    """Outline (N, 2) of the hull of a circle and a point outside it."""
    circle = _arc(centre, radius)
    offset = np.subtract(point, centre)
    far = np.hypot(*offset)
    turn, half = np.arctan2(offset[1], offset[0]), np.arccos(radius / far)
    a = np.arctan2(*(circle - centre).T[::-1])
    kept = circle[np.abs((a - turn + np.pi) % (2 * np.pi) - np.pi) >= half]
    t = np.linspace(0, 1, 400)[:, None]
    ends = turn + half * np.array([[-1.0], [1.0]])
    sides = np.array(centre) + radius * np.concatenate([np.cos(ends), np.sin(ends)], 1)
    return np.concatenate([kept, *(side * (1 - t) + np.array(point) * t for side in sides)])


def _reach(parts: list[Array], centre: Array) -> Array:
    """Farthest reach of convex outlines that all hold ``centre``, in `STEPS` directions."""
    ask = np.arange(STEPS) * 2 * np.pi / STEPS
    reach = np.zeros(STEPS)
    for part in parts:
        x, y = (part - centre).T
        angle = np.arctan2(y, x) % (2 * np.pi)
        order = np.argsort(angle)
        reach = np.maximum(reach, np.interp(ask, angle[order], np.hypot(x, y)[order],
                                            period=2 * np.pi))
    return reach


def _blurred(radius: Array, sigma_rad: float) -> Array:
    wave = np.fft.rfftfreq(STEPS) * STEPS
    return np.fft.irfft(np.fft.rfft(radius) * np.exp(-((wave * sigma_rad) ** 2) / 2), STEPS)


@lru_cache(maxsize=512)
def _table(kind: str, aspect: float, notch: float, tip: float, blunt_rad: float) -> Array:
    angle = np.arange(STEPS) * 2 * np.pi / STEPS
    if kind == "oval":
        radius = 1 / np.hypot(np.cos(angle), np.sin(angle) / aspect)
        return radius / np.sqrt((radius**2).mean())
    point = (1.0 + tip, 0.0)
    parts = ([_with_point((0.0, side * notch), 1.0, point) for side in (-1, 1)]
             if kind == "heart" else [_with_point((0.0, 0.0), 1.0, point)])
    centre = np.array([0.3, 0.0])
    for _ in range(4):  # towards the centre of area
        radius = _blurred(_reach(parts, centre), blunt_rad)
        along = (radius**3 * np.cos(angle)).mean() / (1.5 * (radius**2).mean())
        centre = centre + np.array([along, 0.0])
    radius = _blurred(_reach(parts, centre), blunt_rad)
    return radius / np.sqrt((radius**2).mean())


def dome_rho(radius: Array, rho: Array) -> Array:
    """How far out on its dome each place is, 0 on the crest to 1 at the rim: (R, N).

    ``radius`` (N,) is an outline over equal steps of angle, ``rho`` (R, 1) the share of it. Batter
    settles like a membrane under pressure: a dome whose Laplacian is constant and that is zero at
    the outline (for an ellipse 1 - rho^2 exactly), found as a sum of harmonic polynomials.
    """
    angle = np.arange(len(radius)) * 2 * np.pi / len(radius)
    scale = radius.max()
    order = np.arange(1, 15)

    def harmonics(r: Array, a: Array) -> Array:
        grown = (r[..., None] / scale) ** order
        return np.concatenate([np.ones((*r.shape, 1)), grown * np.cos(order * a[..., None]),
                               grown * np.sin(order * a[..., None])], -1)

    wanted = (radius / scale) ** 2 / 4
    weights = np.linalg.lstsq(harmonics(radius, angle), wanted, rcond=1e-9)[0]
    left = harmonics(radius, angle) @ weights - wanted
    at = rho * radius
    height = harmonics(at, np.broadcast_to(angle, at.shape)) @ weights - (at / scale) ** 2 / 4
    height = height - left * rho**6
    round_one = (1 - rho**2) * height.max()
    height = np.clip(height, 0.2 * round_one, 4 * round_one)
    return np.sqrt(np.clip(1 - height / height.max(), 0, 1))
