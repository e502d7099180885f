"""Moran's I: are neighbours more alike than shells far apart?"""

import numpy as np
from numpy.typing import NDArray

from petitpied.patterns.oven.tray_stack import Stack

Floats = NDArray[np.float64]

#: neighbours lie within so many nearest-shell distances: side by side and diagonal (sqrt 2),
#: not the next but one (2)
REACH_REL = 1.6
#: bakes that the mean is taken over
MOST_BAKES = 50


def morans_i(values: Floats, weights: Floats) -> float:
    """``n / sum(w) * sum(w_ij z_i z_j) / sum(z_i^2)`` of values (N,), weights (N, N) with a zero
    diagonal. P. A. P. Moran, Biometrika 37 (1950) 17.

    Raises
    ------
    ValueError
        If all values are alike, or no weight is positive.
    """
    z = values - values.mean()
    total, power = float(weights.sum()), float(z @ z)
    if power <= 0 or total <= 0:
        raise ValueError("values must differ and weights be positive")
    return float(len(values) / total * (z @ weights @ z) / power)


def neighbour_weights(x_mm: Floats, y_mm: Floats) -> Floats:
    """1 for shells within `REACH_REL` times the median distance to the nearest, else 0."""
    distance = np.hypot(x_mm[:, None] - x_mm, y_mm[:, None] - y_mm)
    np.fill_diagonal(distance, np.inf)
    near = distance < REACH_REL * float(np.median(distance.min(axis=1)))
    return np.asarray(near, float)


def mean_morans_i(stack: Stack) -> float | None:
    """Mean over (at most `MOST_BAKES`) bakes and components; None where it has no value."""
    found = []
    for one in range(0, stack.count, max(1, -(-stack.count // MOST_BAKES))):
        here = stack.present[one]
        weights = neighbour_weights(stack.x_mm[one, here], stack.y_mm[one, here])
        for values in stack.values[one, here].T:
            if np.ptp(values) > 0 and weights.sum() > 0:
                found.append(morans_i(values, weights))
    return float(np.mean(found)) if found else None
