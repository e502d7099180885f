"""Chessboards with markers in a photo, as the cards and the lens chart have them: corners to
sub-pixel, and how far edges are spread."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain import card
from petitpied.numerics.sampling import sampled

Floats = NDArray[np.float64]
Grey = NDArray[np.uint8]

#: edges are looked at so far to both sides, of the distance between two corners, every so many px
REACH_REL, STEP_PX = 0.1, 0.25
#: slopes below this share of the steepest are the paper's, not the edge's
LEAST_SLOPE_REL = 0.1


def dictionary() -> cv2.aruco.Dictionary:
    """The markers' dictionary."""
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, card.DICTIONARY_NAME))


def reduced(grey: Grey, long_side_px: int) -> tuple[Grey, float]:
    """The picture with at most this long side, and by which factor it is smaller."""
    factor = min(1.0, long_side_px / max(grey.shape))
    if factor == 1.0:
        return grey, 1.0
    small = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8), factor


def refined(grey: Grey, points_px: Floats, half_window_px: int) -> Floats:
    """Corners (N, 2) to sub-pixel, from places near them (N, 2): Foerstner's gradient
    orthogonality, by OpenCV."""
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 0.001)
    start = points_px.astype(np.float32).reshape(-1, 1, 2)
    window = (half_window_px, half_window_px)
    fine = cv2.cornerSubPix(grey, start, window, (-1, -1), criteria)
    return np.asarray(fine, float).reshape(-1, 2)


def edge_blur_px(grey: Grey, edges_px: Sequence[tuple[Floats, Floats]]) -> float:
    """Median spread, px (standard deviation), of edges half-way between two corners (2,) each;
    NaN without edges."""
    if not edges_px:
        return float("nan")
    lines, reaches = [], []
    for start, end in edges_px:
        along = end - start
        length = float(np.hypot(*along))
        normal = np.array([-along[1], along[0]]) / length
        reaches.append(np.arange(-REACH_REL * length, REACH_REL * length, STEP_PX))
        lines.append((start + 0.5 * along)[None] + reaches[-1][:, None] * normal)
    # all profiles in one row, one after the other
    places = np.concatenate(lines).astype(np.float32)
    seen = sampled(grey, places[None, :, 0], places[None, :, 1])
    stops = np.cumsum([len(reach) for reach in reaches])[:-1]
    spreads = []
    for reach, profile in zip(reaches, np.split(seen[0].astype(float), stops), strict=True):
        slope = np.abs(np.gradient(profile))
        slope = np.where(slope > LEAST_SLOPE_REL * slope.max(), slope, 0)
        if slope.sum() > 0:
            mean = (slope * reach).sum() / slope.sum()
            spreads.append(float(np.sqrt((slope * (reach - mean) ** 2).sum() / slope.sum())))
    return float(np.median(spreads)) if spreads else float("nan")
