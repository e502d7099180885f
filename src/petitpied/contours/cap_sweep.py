"""The top of every cap from two photos: one dome after the other is tried, as high as both
photos show the same cap on it (plane sweep stereo, Collins 1996, over domes instead of planes).

Both photos are laid on a dome of a height under trial, as seen from straight above. At the
right height the caps' specks and shades agree; glints, which move with the eye, are clipped.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.contours.triangulate import ViewPair

Floats = NDArray[np.float64]
Grey = NDArray[np.float32]

#: the part of the cap that is compared, relative to its radius: beyond it the dome falls
#: steeply and one photo sees it from the side
REACH_REL = 0.6
#: samples across the compared square: a millimetre has two on a 45 mm cap
SAMPLES = 61
#: how far the dome's top stands above its rim, relative to the shell's height: first guess
#: (common practice: as `heights.RIM_REL`), and those tried against the photos, from a flat cap
#: to more than a half ellipsoid; what the cap's own roundness does to its top is so found out
DOME_REL, DOMES_REL = 0.63, (0.05, 0.25, 0.45, 0.65, 0.85)
#: a real dome is no half ellipsoid: top against the best one's, relative to the dome (type B)
SHAPE_U_REL = 0.015
#: heights under trial, mm above the liner: flattest to highest shell (common practice)
LOWEST_MM, HIGHEST_MM, STEP_MM = 2.0, 25.0, 0.5
FINE_MM = 0.19
_TRIED_MM = np.linspace(LOWEST_MM, HIGHEST_MM, round((HIGHEST_MM - LOWEST_MM) / STEP_MM) + 1)
#: detail that is compared: coarser than a pixel's noise, finer than the dome's own shade, in
#: samples
FINEST, COARSEST = 1.0, 5.0
#: correlation below which no height is told: two unlike textures of 200 independent samples
#: reach 0.3 by chance over the heights tried (0.07 standard deviation, four times)
FAINTEST = 0.45


@dataclass(frozen=True)
class CapTops:
    """Heights (S,) of the tops, mm above the liner, nan where not told; ``u_mm`` (S,) standard
    uncertainty from the texture and the dome's shape; ``likeness`` (S,) correlation found."""

    height_mm: Floats
    u_mm: Floats
    likeness: Floats


@dataclass(frozen=True)
class _Cap:
    """One cap under the sweep: where each photo sees the compared places, as a function of
    their heights z: ``paths[photo][0] + paths[photo][1] z + paths[photo][2] z^2``, px (N, 2).
    Perspective is that smooth over 25 mm: the next term is 0.001 px from 300 mm off."""

    greys: tuple[Grey, Grey]
    paths: tuple[Floats, Floats]


def _grid() -> tuple[Floats, Floats]:
    """Places (N, 2) of the compared square and their radii (N,), relative to the cap's."""
    line = np.linspace(-REACH_REL, REACH_REL, SAMPLES)
    x, y = np.meshgrid(line, line)
    return np.column_stack([x.ravel(), y.ravel()]), np.hypot(x, y).ravel()


_PLACES, _RADII = _grid()
#: how far a half ellipsoid of height 1 has fallen at these radii
_FALL = 1 - np.sqrt(1 - _RADII**2)
_INSIDE = (_RADII <= REACH_REL * 0.98).reshape(SAMPLES, SAMPLES)
#: independent samples: the fine blur's own area (4 pi sigma^2)
_INDEPENDENT = float(_INSIDE.sum()) / (4 * np.pi * FINEST**2)


def _detail(strip: Grey) -> Floats:
    """Fine detail (N,) within the compared disc, zero mean, glints clipped."""
    fine = cv2.GaussianBlur(strip, (0, 0), FINEST) - cv2.GaussianBlur(strip, (0, 0), COARSEST)
    inside = np.asarray(fine[_INSIDE], float)
    most = 3 * float(np.median(np.abs(inside)))
    inside = np.clip(inside, -most, most)
    return np.asarray(inside - inside.mean(), float)


def _cap(pair: ViewPair, greys: tuple[Grey, Grey], centre_mm: Floats, radius_mm: float) -> _Cap:
    places = centre_mm + radius_mm * _PLACES
    at = np.array([0.0, HIGHEST_MM / 2, HIGHEST_MM])
    powers = np.linalg.inv(np.vander(at, increasing=True))
    paths = []
    for which in (0, 1):
        seen = [pair.project(which, places, np.full(len(places), z)) for z in at]
        paths.append(np.einsum("pk,knc->pnc", powers, np.array(seen)))
    return _Cap(greys, (paths[0], paths[1]))


def _likeness(cap: _Cap, top_mm: float, dome_mm: float) -> float:
    """Correlation of both photos laid on a dome ``dome_mm`` high whose top is at ``top_mm``."""
    height = (top_mm - dome_mm * _FALL)[:, None]
    detail = []
    for grey, (start, slope, bend) in zip(cap.greys, cap.paths, strict=True):
        px = (start + height * (slope + height * bend)).astype(np.float32)
        u, v = (np.ascontiguousarray(px[:, k].reshape(SAMPLES, SAMPLES)) for k in (0, 1))
        detail.append(_detail(np.asarray(cv2.remap(grey, u, v, cv2.INTER_LINEAR), np.float32)))
    norm = float(np.sqrt((detail[0] @ detail[0]) * (detail[1] @ detail[1])))
    return float(detail[0] @ detail[1]) / norm if norm > 0 else 0.0


def _peak(heights: Floats, likeness: Floats) -> tuple[float, float, float]:
    """Top of the parabola through the best three: height, likeness, curvature per mm^2."""
    best = int(np.clip(likeness.argmax(), 1, len(heights) - 2))
    left, mid, right = likeness[best - 1 : best + 2]
    step = float(heights[1] - heights[0])
    bend = (2 * mid - left - right) / step**2
    if bend <= 0:
        return float(heights[best]), float(mid), 0.0
    shift = float(np.clip((right - left) / (2 * bend * step), -step, step))
    return float(heights[best]) + shift, float(mid + bend * shift**2 / 2), float(bend)


def _one(cap: _Cap) -> tuple[float, float, float]:
    """Height, its uncertainty and the likeness of one cap."""

    def swept(heights: Floats, dome_rel: float) -> tuple[float, float, float]:
        like = [_likeness(cap, float(h), dome_rel * float(h)) for h in heights]
        return _peak(heights, np.array(like))

    coarse, found, _ = swept(_TRIED_MM, DOME_REL)
    near = np.asarray(coarse + FINE_MM * np.arange(-7, 8), float)
    peaks = np.array([swept(near, dome) for dome in DOMES_REL])
    domes = np.array(DOMES_REL)
    dome, found, bend = _peak(domes, peaks[:, 1])
    best = int(peaks[:, 1].argmax())
    dome = float(np.clip(dome, domes[0], domes[-1]))
    height, steep = float(np.interp(dome, domes, peaks[:, 0])), float(peaks[best, 2])
    if found < FAINTEST or steep <= 0:
        return float("nan"), float("nan"), found
    # a peak of this likeness and curvature moves by noise as by least squares of the detail
    noise_of = (1 - found**2) / (found * _INDEPENDENT)
    noise = np.sqrt(noise_of / steep)
    # the roundness is known from the photos, and at worst to the range that was tried
    dome_u = min(float(np.sqrt(noise_of / bend)) if bend > 0 else 1.0, 0.23)
    slope = float(np.polyfit(domes, peaks[:, 0], 1)[0])
    return height, float(np.linalg.norm([noise, slope * dome_u, SHAPE_U_REL * height])), found


def sweep_caps(
    pair: ViewPair, greys: tuple[Grey, Grey], centres_mm: Floats, radii_mm: Floats
) -> CapTops:
    """Heights of the tops of caps at ``centres_mm`` (S, 2), first frame, of ``radii_mm`` (S,)."""
    rows = [
        _one(_cap(pair, greys, centre, float(radius)))
        for centre, radius in zip(centres_mm, radii_mm, strict=True)
    ]
    height, u, like = np.array(rows, float).reshape(-1, 3).T
    return CapTops(height, u, like)
