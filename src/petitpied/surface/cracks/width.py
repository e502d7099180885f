"""How wide a crack is open, from the photo's own pixels across it.

A bar that is narrower than the blur looks wider than it is (Steger 1998, section on the bias of
line widths). The width at a part of the depth is therefore taken back through what a bar of that
width would show at the photo's blur.
"""

from collections.abc import Sequence
from functools import cache
from math import erf, sqrt
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.quantity import Quantity
from petitpied.surface.caps.cap_patch import CapPatches
from petitpied.surface.cracks.paths import Line, normals
from petitpied.surface.cracks.profile import level_widths

Floats = NDArray[np.float64]

#: blur of a phone's photo, sigma in its pixels, with bilinear sampling (variance 1/12 to 1/6):
#: defocus, demosaicing and JPEG leave 0.5 to 1.2 px (common practice, no source)
BLUR_PX, BLUR_U_PX = 0.8, 0.25
ACROSS_MM, REACH_MM = 0.05, 2.2
#: part of the depth below the cap at which the opening is read: a crack's walls slope, so that half
#: way down it is narrower than at its lips
LEVEL = 0.35
#: edges of a crack are lips and walls, not a step: where its opening ends is a matter of
#: definition, to 0.15 mm on each side (spread on the tuning scenes)
DEFINITION_U_MM = 0.2


def seen_width(width: Floats, sigma: float) -> Floats:
    """Width at `LEVEL` of the depth that bars of true ``width`` (N,) show after a Gaussian blur."""
    return np.array([_seen(max(float(w), 1e-6 * sigma), sigma) for w in np.atleast_1d(width)])


def _seen(width: float, sigma: float) -> float:
    """The same of one bar: where its profile, an erf at either edge, falls to the level."""
    k = 1 / (sqrt(2) * sigma)
    half = width / 2
    level = LEVEL * 2 * erf(half * k)
    low, high = 0.0, half + 3 * sigma
    while high - low > 1e-9 * sigma:
        middle = (low + high) / 2
        if erf((middle + half) * k) - erf((middle - half) * k) > level:
            low = middle
        else:
            high = middle
    return low + high


def true_width(seen: Floats, sigma: float) -> Floats:
    """Inverse of `seen_width`; 0 at and below what an endlessly thin line shows."""
    ratio, table = _table()
    inside = sigma * np.interp(seen / sigma, table, ratio)
    # beyond the table the blur of both edges adds always the same
    beyond = seen - sigma * (table[-1] - ratio[-1])
    return np.asarray(np.where(seen > sigma * table[-1], beyond, inside), float)


@cache
def _table() -> tuple[Floats, Floats]:
    """True and seen widths in sigmas: the relation has no other scale."""
    ratio = np.linspace(0, 12, 121)
    return ratio, seen_width(ratio, 1.0)


def widths(
    pixels_bgr: NDArray[np.uint8], patches: CapPatches, lines: Sequence[Line]
) -> list[Quantity]:
    """Mean opening of each line, mm, own uncertainty only."""
    count = round(REACH_MM / ACROSS_MM)
    offset_mm = np.arange(-count, count + 1) * ACROSS_MM
    found = []
    for line in lines:
        across = normals(line.path_px)
        reach = (offset_mm / patches.mm_per_px)[None, :, None]
        places = line.path_px[:, None] + reach * across[:, None]
        at = patches.to_photo_px(line.cap, places.reshape(-1, 2)).reshape(places.shape)
        found.append(_width(_grey_at(pixels_bgr, at), np.asarray(offset_mm), _mm_per_px(at)))
    return found


def _mm_per_px(at: Floats) -> float:
    """Size of a photo pixel across the line, mm."""
    step = np.hypot(*np.diff(at, axis=1).transpose(2, 0, 1))
    return ACROSS_MM / max(float(np.median(step)), 1e-6)


def _grey_at(pixels_bgr: NDArray[np.uint8], at: Floats) -> Floats:
    low = np.maximum(np.floor(at.reshape(-1, 2).min(axis=0)).astype(int) - 2, 0)
    high = np.ceil(at.reshape(-1, 2).max(axis=0)).astype(int) + 3
    part: Any = pixels_bgr[low[1] : high[1], low[0] : high[0]]
    if part.size == 0:
        return np.zeros(at.shape[:2])
    grey: Any = cv2.cvtColor(part, cv2.COLOR_BGR2GRAY)
    shifted: Any = (at - low).astype(np.float32)
    found: Any = cv2.remap(grey, shifted, None, cv2.INTER_LINEAR)  # type: ignore[call-overload]
    return np.asarray(found, np.float64)


def _width(grey: Floats, offset_mm: Floats, mm_per_px: float) -> Quantity:
    smooth: Any = cv2.blur(grey, (1, 3))  # three places along the line
    seen = level_widths(np.asarray(smooth, float), offset_mm, LEVEL)
    seen = seen[seen > 0]
    if len(seen) == 0:
        return Quantity(mm_per_px, DEFINITION_U_MM)
    sigma = BLUR_PX * mm_per_px
    value = float(true_width(seen, sigma).mean())
    blurrier = float(true_width(seen, (BLUR_PX + BLUR_U_PX) * mm_per_px).mean())
    sharper = float(true_width(seen, (BLUR_PX - BLUR_U_PX) * mm_per_px).mean())
    scatter = float(seen.std()) / np.sqrt(max(len(seen) / 3, 1))
    u = float(np.sqrt(((sharper - blurrier) / 2) ** 2 + scatter**2 + DEFINITION_U_MM**2))
    return Quantity(max(value, 0.25 * mm_per_px), u)
