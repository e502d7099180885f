"""A picture read between its pixels at any number of places."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

#: OpenCV's remap takes fewer than 32,768 rows and columns of places (its SHRT_MAX)
MOST_A_SIDE = 32_000
_ACROSS = 1_000


def sampled(
    picture: NDArray[Any],
    x_px: NDArray[np.float32],
    y_px: NDArray[np.float32],
    interpolation: int = cv2.INTER_LINEAR,
    border: int = cv2.BORDER_CONSTANT,
) -> NDArray[Any]:
    """Values of a picture (H, W) or (H, W, C) at places (M, N): (M, N) or (M, N, C).

    ``border``: what lies outside, OpenCV's code; a constant one is 0. However many places there
    are: a photo with very many shells has more than OpenCV takes at once.
    """
    if max(x_px.shape) <= MOST_A_SIDE:
        values = cv2.remap(picture, x_px, y_px, interpolation, borderMode=border)
        return np.asarray(values).reshape(*x_px.shape, *picture.shape[2:])
    parts = []
    flat_x, flat_y = x_px.ravel(), y_px.ravel()
    for start in range(0, flat_x.size, MOST_A_SIDE * _ACROSS):
        part = slice(start, start + MOST_A_SIDE * _ACROSS)
        x, y = _folded(flat_x[part]), _folded(flat_y[part])
        values = np.asarray(cv2.remap(picture, x, y, interpolation, borderMode=border))
        parts.append(values.reshape(-1, *picture.shape[2:])[: flat_x[part].size])
    return np.concatenate(parts).reshape(*x_px.shape, *picture.shape[2:])


def _folded(places: NDArray[np.float32]) -> NDArray[np.float32]:
    """A row of places as a table of as many columns as fit, its last line filled up."""
    rows = -(-places.size // _ACROSS)
    return np.pad(places, (0, rows * _ACROSS - places.size), mode="edge").reshape(rows, _ACROSS)
