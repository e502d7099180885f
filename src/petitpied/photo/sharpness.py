"""How sharp a photo is, by its own strongest edges: for photos whose card cannot be read."""

import cv2
import numpy as np
from numpy.typing import NDArray

#: the photo is smoothed by this against noise, and once more by that, px (standard deviations)
FIRST_PX, AGAIN_PX = 1.0, 3.0
#: share of the pixels, those of the steepest brightness, that are taken for edges
STEEPEST_REL = 0.001
#: what is no steeper, grey levels a pixel, is no edge: one of 100 levels spread by 40 px
LEAST_SLOPE = 1.0
#: edges are unsharp from this share of the photo's long side on (standard deviation), 3.2 px of
#: 4032, and from that many px. The sample photos have 0.4 to 0.7 px; made unsharp, their cards are
#: read up to 3 px, and none from 6 px on
UNSHARP_REL, UNSHARP_PX = 0.0008, 2.0


def edge_spread_px(grey: NDArray[np.uint8]) -> float:
    """Standard deviation, px, by which the steepest edges of a photo (height, width) are spread;
    0 where it has no edges.

    Smoothing a step of spread s once more, by a, flattens its slope by the root of 1 + (a / s)^2
    (Zhuo & Sim, "Defocus map estimation from a single image", Pattern Recognition 44, 2011).
    """
    once = _slopes(grey, FIRST_PX)
    twice = _slopes(grey, float(np.hypot(FIRST_PX, AGAIN_PX)))
    count = max(1, round(STEEPEST_REL * once.size))
    steepest = np.argpartition(once, -count, axis=None)[-count:]
    if float(np.median(once.ravel()[steepest])) < LEAST_SLOPE:
        return 0.0
    ratio = float(np.median(once.ravel()[steepest] / np.maximum(twice.ravel()[steepest], 1e-6)))
    total = AGAIN_PX / np.sqrt(max(ratio**2 - 1, 1e-6))
    return float(np.sqrt(max(total**2 - FIRST_PX**2, 0.0)))


def is_unsharp(grey: NDArray[np.uint8], spread_px: float) -> bool:
    """Whether edges spread by so much are what keeps a card from being read."""
    return bool(spread_px > max(UNSHARP_PX, UNSHARP_REL * max(grey.shape)))


def _slopes(grey: NDArray[np.uint8], sigma_px: float) -> NDArray[np.float32]:
    """Grey levels a pixel (height, width), of the photo smoothed by ``sigma_px``."""
    smooth = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), sigma_px)
    across, down = cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
    return np.asarray(cv2.magnitude(across, down) / np.float32(8), np.float32)
