"""The liner's brightness over the photo: what colours are compared with.

Light falls off over a tray, liners differ in colour. Between and around the shells the liner
shows; a smooth surface through its brightness, channel by channel, robust against stains,
shadows and printed rings, tells how bright a piece of liner would be at any place.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Maps = NDArray[np.float32]
Masks = NDArray[np.bool_]

#: fewest cells to learn from: a surface of six terms wants some hundreds
LEAST_CELLS = 400
#: and most: more of them tell nothing new
LEARN_CELLS = 5_000

#: natural logarithm of linear light (gamma 2.2, near enough for ratios), floor at the noise
_LOG = (2.2 * np.log((np.arange(256) + 4.0) / 255.0)).astype(np.float32)


@dataclass(frozen=True)
class LinerLight:
    """Smooth brightness of the liner, natural logarithm: six terms a channel (6, 3), BGR."""

    surface: Floats

    def at(self, place_rel: Floats) -> Floats:
        """Brightness (N, 3) at places (N, 2), 0..1 of the picture's width and height."""
        return np.asarray(_terms(place_rel[:, 0], place_rel[:, 1]) @ self.surface, float)


def log_colour(bgr: NDArray[np.uint8]) -> Maps:
    """Natural logarithm of linear light (...,) of 8-bit values."""
    rows = np.ascontiguousarray(bgr).reshape(len(bgr), -1)
    return np.asarray(cv2.LUT(rows, _LOG), np.float32).reshape(bgr.shape)


def _terms(x_rel: Floats, y_rel: Floats) -> Floats:
    x, y = np.asarray(x_rel, float) - 0.5, np.asarray(y_rel, float) - 0.5
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)


def learn_light(picture_bgr: NDArray[np.uint8], around: Masks) -> LinerLight:
    """Learn from a reduced picture (H, W, 3) and a mask (H, W) of where the liner shows.

    Least squares, reweighted against stains and shadows (Cauchy weights). Too few cells: the
    picture's mean, everywhere.
    """
    rows, columns = around.shape
    y, x = np.nonzero(around)
    if len(y) < LEAST_CELLS:
        flat = np.zeros((6, 3))
        flat[0] = log_colour(picture_bgr).reshape(-1, 3).mean(axis=0)
        return LinerLight(flat)
    step = max(1, len(y) // LEARN_CELLS)
    y, x = y[::step], x[::step]
    terms = _terms(x / columns, y / rows)
    log = log_colour(picture_bgr[y, x]).astype(float)
    weight = np.ones(len(log))
    ridge = 1e-3 * len(log) * np.diag([1e-3, 1, 1, 2, 2, 2])
    fit: Floats = np.zeros((6, 3))
    for _ in range(4):
        weighted = (terms * weight[:, None]).T
        fit = np.asarray(np.linalg.solve(weighted @ terms + ridge, weighted @ log), float)
        rest = (log - terms @ fit) @ np.full(3, 1 / 3)
        spread = 1.4826 * float(np.median(np.abs(rest))) + 1e-3
        weight = 1 / (1 + (rest / (2 * spread)) ** 2)
    return LinerLight(fit)
