"""Medians of many rows at once, several times faster than numpy's function for it."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def medians(values: NDArray[np.floating[Any]]) -> Floats:
    """Medians (...) along the last axis of finite ``values`` (..., N), N > 0, to the same bit as
    numpy's.

    That function asks for the two middle values and the largest one (in search of NaN) at once,
    which sends it down a slow path.
    """
    half = values.shape[-1] // 2
    parted = np.partition(values, half, axis=-1)
    upper = parted[..., half]
    if values.shape[-1] % 2:
        return np.asarray(upper, float)
    return np.asarray((parted[..., :half].max(axis=-1) + upper) / 2, float)
