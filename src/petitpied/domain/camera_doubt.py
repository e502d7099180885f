"""What slope and edge of size a photo's own view could fake, and from which side it was taken."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.view import View

Floats = NDArray[np.float64]

#: modes of the view's covariance below this part of a thousandth of size are left out: numerical
LEAST_MODE = 1e-7


@dataclass(frozen=True, slots=True)
class CameraDoubt:
    """``azimuth_deg``: which way of the tray is up in the photo, from +x (right) towards +y (the
    door); -90: the door at the bottom. ``across_rel``, ``front_rel``, ``edge_rel``: one standard
    uncertainty, relative to size, of right minus left, door side minus back, edge minus middle.
    ``steady``: 1 for one photo; of several of a tray, the length of their mean direction: 0 for
    two from opposite sides. ``profiled``: the lens was measured (a lens profile), so that the
    uncertainties hold; else they hold for a lens as is usual."""

    azimuth_deg: float
    across_rel: float
    front_rel: float
    edge_rel: float
    steady: float = 1.0
    profiled: bool = False


def camera_doubt(view: View, places_mm: Floats) -> CameraDoubt | None:
    """From a view in the tray frame, its covariance, and the shells' places (S, 2).

    A size is a length in the photo over the local scale; for each mode of the covariance the
    scale's relative change is fitted by slopes and a bowl over the shells' extent. None with
    fewer than five shells.
    """
    if len(places_mm) < 5:
        return None
    middle = (places_mm.min(axis=0) + places_mm.max(axis=0)) / 2
    half = np.maximum(np.ptp(places_mm, axis=0) / 2, 1.0)
    u, v = ((places_mm - middle) / half).T
    design = np.column_stack([np.ones(len(u)), u / 2, v / 2, u**2 + v**2])
    sizes, modes = np.linalg.eigh(view.covariance)
    square = np.zeros(3)
    before = _scales(view, places_mm)
    for size, mode in zip(sizes, modes.T, strict=True):
        if size <= 0:
            continue
        change = _scales(view.perturbed(np.sqrt(size) * mode), places_mm) / before - 1
        if np.abs(change).max() > LEAST_MODE:
            square += np.linalg.lstsq(design, change)[0][1:] ** 2
    up = -view.world_to_camera[1, :2]  # the photo's y runs down
    azimuth = float(np.rad2deg(np.arctan2(up[1], up[0])))
    across, front, edge = np.sqrt(square).tolist()
    return CameraDoubt(azimuth, across, front, edge)


def of_photos(first: CameraDoubt, others: Sequence[tuple[CameraDoubt, Floats]]) -> CameraDoubt:
    """Of several photos of one tray: further ones with their turn (2, 2) into the first's frame."""
    ways = [_way(first)]
    ways += [turn @ _way(one) for one, turn in others]
    mean = np.mean(ways, axis=0)
    return replace(
        first, azimuth_deg=float(np.rad2deg(np.arctan2(mean[1], mean[0]))),
        steady=float(np.hypot(*mean)),
    )  # fmt: skip


def _way(doubt: CameraDoubt) -> Floats:
    angle = np.deg2rad(doubt.azimuth_deg)
    return doubt.steady * np.array([np.cos(angle), np.sin(angle)])


def _scales(view: View, places_mm: Floats) -> Floats:
    """Local scale (S,), px a mm."""
    step = 0.5
    along, across = np.array([step, 0.0]), np.array([0.0, step])
    right = view.project(places_mm + along) - view.project(places_mm - along)
    down = view.project(places_mm + across) - view.project(places_mm - across)
    return np.sqrt(np.abs(right[:, 0] * down[:, 1] - right[:, 1] * down[:, 0]))
