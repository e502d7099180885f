"""Ring heights of a tray's shells: from the photo's parallax, the baker's ruler, or a default."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.view import View
from petitpied.vision.rings import FittedRings, Heights

Floats = NDArray[np.float64]

#: cap rim and widest foot, relative to the shell's height, and their spread: from the default
#: heights (common practice, no source)
RIM_REL, FOOT_REL, RATIO_SIGMA = 0.376, 0.136, 0.05
#: the photo is said to have shown the heights if it cuts the prior's variance to half
SHOWN_REL = 0.5
#: source of heights that the baker measured
RULER = "shell height given"


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


def refine_heights(view: View, rings: FittedRings, heights: Heights) -> Heights:
    """Cap-rim height from the parallax over the tray.

    With a wrong height, caps seem to lean away from the camera's foot point or towards it, the
    more the farther they are from it. The slope of the lean over the view's slant, with a free
    mean lean (draught leans all shells one way), is the error of the rim's height against the
    foot's. Combined with the prior by inverse variance.
    """
    index = [i for i, foot in enumerate(rings.foot) if foot is not None]
    if len(index) < 6:
        return heights
    cap = np.array([rings.cap[i].centre_mm for i in index])
    foot = np.array([f.centre_mm for f in rings.foot if f is not None])
    centre = view.camera_centre_mm
    slant = (cap - centre[:2]) / (-centre[2])
    lean = foot - cap
    # ridge priors on the foot's place hide a part of the lean where little of it shows
    weight = np.clip((rings.shows_rel[index] - 0.1) / 0.4, 0.05, 1)[:, None]
    mean_slant = (weight * slant).sum(axis=0) / weight.sum()
    mean_lean = (weight * lean).sum(axis=0) / weight.sum()
    x, y = slant - mean_slant, lean - mean_lean
    leverage = float((weight * x**2).sum())
    if leverage < 1e-6:
        return heights
    slope = float((weight * x * y).sum() / leverage)
    rest = y - slope * x
    scatter = 1.4826 * float(np.median(np.abs(rest))) + 0.05
    variance = scatter**2 / leverage
    prior = heights.cap_rim_u_mm**2
    gain = prior / (prior + variance)
    rim = heights.cap_rim_mm - gain * slope
    low = heights.foot_mm + 0.8  # a rim lies above the foot's widest place
    return replace(
        heights,
        cap_rim_mm=float(np.clip(rim, low, 3 * heights.cap_rim_mm)),
        cap_rim_u_mm=float(np.sqrt(prior * (1 - gain))),
        source="photo" if gain > SHOWN_REL else heights.source,
    )
