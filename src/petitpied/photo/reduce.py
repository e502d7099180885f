"""Small copies of a photo, fast."""

import cv2
import numpy as np
from numpy.typing import NDArray


def reduced(picture: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    """Copy of ``size`` (width, height) px, each pixel the mean of what it covers.

    First halved by areas as often as fits, then brought to size by areas, or bilinearly where
    it grows: one step by areas to a ratio that is no whole number takes twice as long, and
    differs by half a grey level (each halving rounds to 8 bit once).
    """
    width, height = size
    small = picture
    while small.shape[1] >= 2 * width and small.shape[0] >= 2 * height:
        half = (small.shape[1] // 2, small.shape[0] // 2)
        small = np.asarray(cv2.resize(small, half, interpolation=cv2.INTER_AREA), np.uint8)
    way = cv2.INTER_AREA if small.shape[1] > width else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(small, size, interpolation=way), np.uint8)
