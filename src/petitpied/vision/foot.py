"""From the two rings of a shell to how far the foot spreads and where it leans."""

from dataclasses import dataclass

import numpy as np

from petitpied.domain.shell import Ring
from petitpied.vision.outline import ANGLES, radii_about, ring_centroid, ring_points


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
    cap_centroid = ring_centroid(cap)
    spread = radii_about(ring_points(foot, 2 * ANGLES), cap_centroid, ANGLES) - radii_about(
        ring_points(cap, 2 * ANGLES), cap_centroid, ANGLES
    )
    dx, dy = ring_centroid(foot) - cap_centroid
    return FootAndLean(
        float(spread.mean()), float(np.hypot(dx, dy)), float(np.rad2deg(np.arctan2(dy, dx)))
    )
