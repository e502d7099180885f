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


def area_of(outline: Floats) -> float:
    """Area of one closed polygon (N, 2), in its unit squared."""
    return float(areas_of(outline, np.array([len(outline)]))[0])


def areas_and_centroids(polygons: Floats) -> tuple[Floats, Floats]:
    """Areas (S,), positive, and area centroids (S, 2) of simple polygons (S, N, 2).

    Raises
    ------
    ValueError
        If one has no area.
    """
    origin = polygons.mean(axis=1)
    a = polygons - origin[:, None]
    b = np.roll(a, -1, axis=1)
    cross = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    twice = cross.sum(axis=1)
    if (twice == 0).any():
        raise ValueError("the outline has no area")
    moment = np.einsum("sn,sni->si", cross, a + b)
    return np.abs(twice) / 2, origin + moment / (3 * twice[:, None])
