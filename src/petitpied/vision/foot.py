"""From the two rings of a shell to how far the foot spreads and where it leans."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from petitpied.domain.shell import Ring
from petitpied.vision.outline import ANGLES, areas_and_centroids, radii_about_each, rings_points


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
    return feet_and_leans([foot], [cap])[0]


def feet_and_leans(feet: Sequence[Ring], caps: Sequence[Ring]) -> tuple[FootAndLean, ...]:
    """`foot_and_lean` of many shells at once."""
    foot, cap = rings_points(feet, 2 * ANGLES), rings_points(caps, 2 * ANGLES)
    foot_centroid = areas_and_centroids(foot[:, ::2])[1]
    cap_centroid = areas_and_centroids(cap[:, ::2])[1]
    spread = radii_about_each(foot, cap_centroid, ANGLES)
    spread -= radii_about_each(cap, cap_centroid, ANGLES)
    dx, dy = (foot_centroid - cap_centroid).T
    rows = zip(spread.mean(axis=1), np.hypot(dx, dy), np.rad2deg(np.arctan2(dy, dx)), strict=True)
    return tuple(FootAndLean(float(s), float(lean), float(turn)) for s, lean, turn in rows)
