"""Ring heights of a tray's shells: from the photo's parallax, the baker's ruler, or a default."""

from dataclasses import replace

import numpy as np

from petitpied.contours.rings import FittedRings, Heights

#: cap rim and widest foot, relative to the shell's height, and their spread: from the default
#: heights (common practice, no source)
RIM_REL, FOOT_REL, RATIO_SIGMA = 0.376, 0.12, 0.05
#: the photo is said to have shown the heights if it cuts the prior's variance to half
SHOWN_REL = 0.5
#: source of heights that the baker measured
RULER = "shell height given"
#: source of heights where rays of two photos met; the photos' names follow
TWO_PHOTOS = "two photos"
#: a rim's and a foot's edge lie where the shade changes, not where the ring is widest, mm:
#: mean difference of the tuning pair
RIM_EVIDENCE_U_MM, FOOT_EVIDENCE_U_MM = 0.5, 0.3


def heights_from_ruler(shell_height_mm: float) -> Heights:
    """Heights of rims from one measured shell height, top of the cap above the liner."""
    return Heights(
        cap_rim_mm=RIM_REL * shell_height_mm,
        foot_mm=FOOT_REL * shell_height_mm,
        top_mm=shell_height_mm,
        cap_rim_u_mm=RATIO_SIGMA * shell_height_mm,
        foot_u_mm=RATIO_SIGMA / 2 * shell_height_mm,
        top_u_mm=0.5,
        bare_rim_mm=1.2,
        bare_top_mm=shell_height_mm,
        source=RULER,
    )


def refine_heights(rings: FittedRings, heights: Heights) -> Heights:
    """Cap-rim height from the parallax over the tray, `petitpied.contours.ring_steps.foot_step`."""
    if sum(foot is not None for foot in rings.foot) < 6:
        return heights
    found = rings.parallax
    prior = heights.cap_rim_u_mm**2
    gain = 1 - found.u_mm**2 / prior
    low = heights.foot_mm + 0.8  # a rim lies above the foot's widest place
    rim = heights.cap_rim_mm - found.height_mm
    return replace(
        heights,
        cap_rim_mm=float(np.clip(rim, low, 3 * heights.cap_rim_mm)),
        cap_rim_u_mm=found.u_mm,
        source="photo" if gain > SHOWN_REL else heights.source,
    )
