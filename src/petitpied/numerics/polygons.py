"""Areas and centroids of closed polygons (shoelace formula)."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def areas_of(points: Floats, counts: NDArray[np.int64]) -> Floats:
    """Areas (S,) of polygons of differing lengths.

    Parameters
    ----------
    points : ndarray of shape (sum of counts, 2)
        Vertices in order, one polygon after another.
    counts : ndarray of shape (S,)
        How many of them each polygon has, 1 or more.
    """
    x, y = points.T
    first = np.cumsum(counts) - counts
    after = np.arange(1, len(x) + 1)
    after[first + counts - 1] = first
    return np.asarray(np.abs(np.add.reduceat(x * y[after] - y * x[after], first)) / 2, float)
