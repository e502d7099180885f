"""What colours say of an outline, whatever its form: the shell's own inside, the liner's outside.

The colour of a shell's middle and the liner's brightness there part the samples along each ray
into the shell's and the liner's. So an outline that takes in bare liner (up to a printed ring), or
leaves shell outside, is found out without a word about its form.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.finding.liner import LinerLight, log_colour
from petitpied.finding.ray_strips import RAYS, sample_along_rays
from petitpied.numerics.medians import medians

Floats = NDArray[np.float64]

#: places along the rays, relative to an outline: the shell's middle, just inside, just outside
MIDDLE_REL, INSIDE_REL, OUTSIDE_REL = (0.2, 0.35, 0.5), (0.74, 0.82), (1.12, 1.2)
#: shades and shadows change lightness: it counts this much of what the two ratios of colours do
LIGHTNESS_SHARE = 0.5
#: colours nearer to each other than this, natural logarithms, tell nothing (a cap's own shading)
LEAST_APART = 0.25
#: a place is the other's if its colour is this many times nearer to the other's
PLAINLY = 2.0
#: where the colour's edge is looked for, relative to the median radius, and at how many places
SEARCH_REL, SEARCHED = (0.35, 1.75), 57


@dataclass(frozen=True)
class _Colours:
    """Of S shells: own colour and the liner's (S, 3) as `coordinates`, and how far apart."""

    own: Floats
    liner: Floats
    apart: Floats


def coordinates(log_bgr: NDArray[np.floating]) -> Floats:
    """Lightness, weighed down, and two ratios of colours (..., 3) of log colours (..., 3)."""
    blue, green, red = np.moveaxis(np.asarray(log_bgr, float), -1, 0)
    light = LIGHTNESS_SHARE * (blue + green + red) / 3
    return np.stack([light, red - green, green - blue], axis=-1)


def _colours(
    pixels_bgr: NDArray[np.uint8], centre: Floats, radius: Floats, light: LinerLight
) -> _Colours:
    reach = radius[:, :, None] * np.array(MIDDLE_REL)
    seen = coordinates(log_colour(sample_along_rays(pixels_bgr, centre, reach)))
    own = medians(np.moveaxis(seen.reshape(len(centre), -1, 3), 1, 2))
    size = np.array([pixels_bgr.shape[1], pixels_bgr.shape[0]])
    liner = coordinates(light.at(centre / size))
    return _Colours(own, liner, np.linalg.norm(own - liner, axis=1))


def _distances(
    pixels_bgr: NDArray[np.uint8], centre: Floats, reach: Floats, colours: _Colours
) -> tuple[Floats, Floats]:
    """How far the colours at ``reach`` (S, RAYS, N) are from the shells' own, from the liner's."""
    seen = coordinates(log_colour(sample_along_rays(pixels_bgr, centre, reach)))
    own, liner = (
        np.linalg.norm(seen - place[:, None, None], axis=-1)
        for place in (colours.own, colours.liner)
    )
    return np.asarray(own, float), np.asarray(liner, float)


def support(
    pixels_bgr: NDArray[np.uint8], centre: Floats, radius: Floats, light: LinerLight
) -> Floats:
    """Share (S,) of the rays on which an outline neither takes in plain liner nor leaves plain
    shell outside; 1 where colours tell nothing.

    ``centre`` (S, 2) and ``radius`` (S, RAYS), frame px.
    """
    colours = _colours(pixels_bgr, centre, radius, light)
    reach = radius[:, :, None] * np.array([*INSIDE_REL, *OUTSIDE_REL])
    own, liner = _distances(pixels_bgr, centre, reach, colours)
    within = len(INSIDE_REL)
    takes_in = (PLAINLY * liner[..., :within] < own[..., :within]).all(axis=-1)
    leaves_out = (PLAINLY * own[..., within:] < liner[..., within:]).all(axis=-1)
    wrong = (takes_in | leaves_out).mean(axis=1)
    return np.asarray(np.where(colours.apart > LEAST_APART, 1 - wrong, 1.0), float)


def by_colour(
    pixels_bgr: NDArray[np.uint8], centre: Floats, radius: Floats, light: LinerLight
) -> Floats:
    """Radii (S, RAYS) at which colours change from the shell's to the liner's; as given where
    colours tell nothing.

    On each ray the place that leaves fewest of the shell's samples outside and of the liner's
    inside, nearer samples counting as much as farther ones.
    """
    colours = _colours(pixels_bgr, centre, radius, light)
    usual = medians(radius)
    reach = usual[:, None, None] * np.linspace(*SEARCH_REL, SEARCHED)
    reach = np.repeat(reach, RAYS, axis=1)
    own, liner = _distances(pixels_bgr, centre, reach, colours)
    shell = np.clip((liner - own) / colours.apart[:, None, None], -1, 1)
    place = np.cumsum(shell, axis=2).argmax(axis=2)
    found = np.take_along_axis(reach, place[..., None], axis=2)[..., 0]
    return np.asarray(np.where((colours.apart > LEAST_APART)[:, None], found, radius), float)
