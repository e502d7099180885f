"""Two classical ways to find round things, as named baselines for speed and for finds.

Both get a copy of the photo with a long side of `LONG_SIDE_PX` and the range of shell
diameters in it, which the tool itself is not told.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from skimage.feature import peak_local_max
from skimage.filters import threshold_otsu
from skimage.measure import regionprops
from skimage.segmentation import watershed

from tests.benchmarks.scorer import TrueShells

Floats = NDArray[np.float64]
Picture = NDArray[np.uint8]

#: their usual working size: on all 12 megapixels the watershed alone takes ten seconds
LONG_SIDE_PX = 1008
#: shell diameters that are searched, relative to the scene's median
SMALLEST_REL, LARGEST_REL = 0.6, 1.6


def _small_grey(picture_bgr: Picture) -> tuple[Picture, float]:
    factor = LONG_SIDE_PX / max(picture_bgr.shape)
    grey = cv2.cvtColor(picture_bgr, cv2.COLOR_BGR2GRAY)
    small = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8), factor


def by_watershed(picture_bgr: Picture, diameter_px: float, bright: bool) -> Floats:
    """Centres (N, 2) px: Otsu's threshold, distance transform, watershed, region properties
    (scikit-image; the textbook's way for touching round things).

    ``bright``: whether shells are what lies above the threshold, or below.
    """
    grey, factor = _small_grey(picture_bgr)
    diameter = diameter_px * factor
    grey = np.asarray(cv2.GaussianBlur(grey, (0, 0), 2.0))
    mask = (grey > threshold_otsu(grey)) == bright
    distance = distance_transform_edt(mask)
    peaks = peak_local_max(
        distance,
        min_distance=round(0.5 * SMALLEST_REL * diameter),
        threshold_abs=0.35 * SMALLEST_REL * diameter,
        exclude_border=False,
    )
    seeds = np.zeros(mask.shape, np.int32)
    seeds[tuple(peaks.T)] = np.arange(1, len(peaks) + 1)
    centres = []
    for region in regionprops(watershed(-distance, seeds, mask=mask)):
        size = region.equivalent_diameter_area / diameter
        if SMALLEST_REL < size < LARGEST_REL and region.solidity > 0.85:
            centres.append((region.centroid[1], region.centroid[0]))
    return (np.reshape(centres, (-1, 2)) + 0.5) / factor - 0.5


def by_hough_circles(picture_bgr: Picture, diameter_px: float) -> Floats:
    """Centres (N, 2) px by OpenCV's gradient Hough transform for circles."""
    grey, factor = _small_grey(picture_bgr)
    radius = 0.5 * diameter_px * factor
    circles = cv2.HoughCircles(
        cv2.medianBlur(grey, 5),
        cv2.HOUGH_GRADIENT,
        dp=1.5,
        minDist=2 * SMALLEST_REL * radius,
        param1=100,
        param2=40,
        minRadius=round(SMALLEST_REL * radius),
        maxRadius=round(LARGEST_REL * radius),
    )
    if circles is None:
        return np.zeros((0, 2))
    return (np.asarray(circles, float).reshape(-1, circles.shape[-1])[:, :2] + 0.5) / factor - 0.5


@dataclass(frozen=True)
class Finds:
    """Whole shells, how many of them were found, and finds that are no shell."""

    whole: int
    found: int
    false: int


def count_finds(true: TrueShells, centres_px: Floats) -> Finds:
    """Compare centres (N, 2) with the truth by the scorer's rule."""
    pairs = true.match(centres_px)
    found = sum(bool(true.whole[i]) for i, _ in pairs)
    return Finds(int(true.whole.sum()), found, len(centres_px) - len(pairs))
