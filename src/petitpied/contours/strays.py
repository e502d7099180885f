"""Rays on which the outer edge was taken beyond bare liner: on a ring printed round the shell.

Whatever the network proposes, colours have their say: between a shell's cap and its outer edge
lies foot, not liner. What a foot looks like on this tray is learnt from all its shells; where
feet or caps look like the liner, colours say nothing.
"""

import numpy as np
from numpy.typing import NDArray

from petitpied.contours.own_colour import LEAST_APART, MIDDLE_REL, PLAINLY, coordinates
from petitpied.finding.liner import LinerLight, log_colour
from petitpied.finding.ray_strips import RAYS, sample_along_rays
from petitpied.numerics.medians import medians

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

#: places looked at between the cap's edge and the outer one, and this much within both, relative
#: to the radius: the edges' own blur
PLACES, WITHIN_REL = 20, 0.01
#: bare liner before an edge is at least this wide, relative to the radius: twice the scatter of
#: single edges; and seen on this many rays side by side
LEAST_REL, LEAST_RAYS = 0.018, 4
#: a foot at least this wide tells its colour, relative to the radius
FOOT_REL = 0.035
#: fewest rays that tell it (two shells'), one in so many of all
FEWEST_RAYS, EVERY = RAYS, 2
#: colours within this of the liner's may be liner, shaded by the shell: logarithms, 0.15 and 0.25
#: find three and four of five such rays on the tuning scenes, 0.3 also takes pale feet
LINER_SPREAD = 0.22
#: where more of the feet look like that, colours say nothing
MOST_ALIKE_REL = 0.08


def liner_before_edge(
    pixels_bgr: NDArray[np.uint8],
    centre: Floats,
    cap_px: Floats,
    outer_px: Floats,
    light: LinerLight,
) -> Floats:
    """Radii (S, RAYS), px, at which bare liner begins between a cap and its outer edge; not a
    number on rays where none does.

    Parameters
    ----------
    pixels_bgr : ndarray of shape (height, width, 3), uint8
        The photo, frame px.
    centre : ndarray (S, 2)
        Middles, frame px.
    cap_px, outer_px : ndarray (S, RAYS)
        Radii of the cap's and of the outer edge, px.
    light : LinerLight
        The liner's brightness over the photo.
    """
    nowhere = np.full(outer_px.shape, np.nan)
    usual = medians(outer_px)[:, None]
    gap = (outer_px - cap_px) / usual
    foot_rays = gap > FOOT_REL
    foot_rays[:, 1::EVERY] = False
    if EVERY * foot_rays.sum() < FEWEST_RAYS:
        return nowhere
    size = np.array([pixels_bgr.shape[1], pixels_bgr.shape[0]])
    liner = coordinates(light.at(centre / size))
    own = _seen(pixels_bgr, centre, usual[..., None] * np.array(MIDDLE_REL), liner)
    own = medians(np.moveaxis(own[:, ::EVERY].reshape(len(centre), -1, 3), 1, 2))
    first = np.minimum(cap_px, outer_px) + WITHIN_REL * usual
    last = np.maximum(outer_px - WITHIN_REL * usual, first)
    reach = first[..., None] + (last - first)[..., None] * np.linspace(0, 1, PLACES)
    seen = _seen(pixels_bgr, centre, reach, liner)
    middle = seen[:, :, PLACES // 2][foot_rays]
    foot = np.median(middle, axis=0)
    alike = (np.linalg.norm(middle, axis=1) < LINER_SPREAD).mean()
    if np.linalg.norm(foot) < LEAST_APART or alike > MOST_ALIKE_REL:
        return nowhere
    to_liner = np.linalg.norm(seen, axis=-1)
    to_shell = np.minimum(
        np.linalg.norm(seen - foot, axis=-1), np.linalg.norm(seen - own[:, None, None], axis=-1)
    )
    bare = to_liner < np.minimum(to_shell / PLAINLY, LINER_SPREAD)
    wide = bare.mean(axis=2) * (last - first) > LEAST_REL * usual
    wide &= (np.linalg.norm(own, axis=1) > LEAST_APART)[:, None]
    passed = _side_by_side(wide)
    begins = np.take_along_axis(reach, bare.argmax(axis=2)[..., None], axis=2)[..., 0]
    return np.where(passed, begins - WITHIN_REL * usual, np.nan)


def _seen(
    pixels_bgr: NDArray[np.uint8], centre: Floats, reach: Floats, liner: Floats
) -> Floats:
    """Colours at ``reach`` against the shells' ``liner`` (S, 3)."""
    reach = np.broadcast_to(reach, (len(centre), RAYS, reach.shape[2]))
    sampled = log_colour(sample_along_rays(pixels_bgr, centre, reach))
    return coordinates(sampled) - liner[:, None, None]


def _side_by_side(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Of flags round a shell (S, RAYS) those in runs of `LEAST_RAYS` and more."""
    starts = np.logical_and.reduce([np.roll(flags, -k, axis=1) for k in range(LEAST_RAYS)])
    return np.asarray(np.logical_or.reduce([np.roll(starts, k, axis=1) for k in range(LEAST_RAYS)]), bool)
