"""From the two rings of a shell to how far the foot spreads and where it leans."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Ring
from petitpied.sizing.outline import ANGLES, areas_and_centroids, mean_radii, rings_points

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FootAndLean:
    """Foot against cap in plan view, in the rings' frame; definitions in `foot_and_lean`."""

    foot_spread_mm: float
    lean_mm: float
    lean_dir_deg: float  # in (-180, 180]; 0 where there is no lean


def foot_and_lean(foot: Ring, cap: Ring) -> FootAndLean:
    """Foot spread and lean (design of this tool).

    ``foot_spread_mm``: mean over even angles, about the cap's area centroid, of foot radius
    minus cap radius; 0 or less where the foot hides under the cap. ``lean_mm`` and
    ``lean_dir_deg``: foot area centroid minus cap area centroid, direction from +x towards +y.

    Raises
    ------
    ValueError
        If the cap's centroid lies outside the foot.
    """
    foot_points, cap_points = (rings_points([ring], ANGLES) for ring in (foot, cap))
    centroids = (areas_and_centroids(points)[1] for points in (foot_points, cap_points))
    return feet_and_leans(foot_points, cap_points, *centroids)[0]


def feet_and_leans(
    feet: Floats, caps: Floats, foot_centroids: Floats, cap_centroids: Floats
) -> tuple[FootAndLean, ...]:
    """`foot_and_lean` of many shells at once, from the rings' points at even angles (S, N, 2) and
    their area centroids (S, 2)."""
    spread = mean_radii(feet, cap_centroids) - mean_radii(caps, cap_centroids)
    dx, dy = (foot_centroids - cap_centroids).T
    rows = zip(spread, np.hypot(dx, dy), np.rad2deg(np.arctan2(dy, dx)), strict=True)
    return tuple(FootAndLean(float(s), float(lean), float(turn)) for s, lean, turn in rows)
