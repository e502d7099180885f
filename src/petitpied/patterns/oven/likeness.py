"""How alike neighbouring shells of one bake are: correlation that falls with distance.

Shells of one tray share their fate, and neighbours more so. The model: a part ``share`` of the
variance is smooth, with correlation ``exp(-d^2 / (2 length^2))``, the rest is each shell's own
(in geostatistics: a Gaussian variogram with a nugget; Cressie, Statistics for Spatial Data, 1993).
Estimated from squared differences only, it does not change when a bake's signs are flipped: so
weights made from it leave a sign-flipping test exact.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.patterns.oven.tray_stack import Stack

Floats = NDArray[np.float64]

#: lengths that are tried, mm: from less than one shell's pitch to half a half-sheet tray
LENGTHS_MM = (30.0, 45.0, 60.0, 80.0, 110.0, 150.0)
#: largest smooth share: measuring noise is never nil, and weights stay tame
MAX_SHARE = 0.9
#: width of a distance class and the farthest one, mm; beyond, the tray's own pattern rules
BIN_MM, FARTHEST_MM = 20.0, 260.0
#: bakes that the estimate looks at: 200 trays give some 80,000 pairs
MOST_BAKES = 200


@dataclass(frozen=True, slots=True)
class Likeness:
    """Smooth share (0 to 1) of the variance within a bake, and its length."""

    share: float
    length_mm: float


#: no likeness: every shell for itself
NONE = Likeness(0.0, LENGTHS_MM[0])


def correlation(x_mm: Floats, y_mm: Floats, likeness: Likeness) -> Floats:
    """Correlation matrices (..., S, S) of shells at (..., S) places."""
    size = x_mm.shape[-1]
    if likeness.share == 0:
        return np.broadcast_to(np.eye(size), (*x_mm.shape, size))
    d2 = (x_mm[..., :, None] - x_mm[..., None, :]) ** 2
    d2 += (y_mm[..., :, None] - y_mm[..., None, :]) ** 2
    smooth = likeness.share * np.exp(d2 / (-2 * likeness.length_mm**2))
    return np.asarray(smooth + (1 - likeness.share) * np.eye(size))


def variogram(stack: Stack) -> tuple[Floats, Floats]:
    """Half the mean squared difference of pairs in one bake, by distance class, over the
    bake's own variance: ``(value (B,), pairs (B,))``; classes of `BIN_MM` up to `FARTHEST_MM`.
    """
    part = stack.part(np.arange(0, stack.count, max(1, -(-stack.count // MOST_BAKES))))
    first, second = np.triu_indices(part.present.shape[1], 1)
    both = part.present[:, first] & part.present[:, second]
    spread = (part.centred() ** 2).sum(axis=(1, 2)) / (part.present.sum(axis=1) - 1)
    spread = np.where(spread > 0, spread, np.inf)
    half = ((part.values[:, first] - part.values[:, second]) ** 2).sum(axis=-1) / 2
    half /= spread[:, None]
    distance = np.hypot(
        part.x_mm[:, first] - part.x_mm[:, second], part.y_mm[:, first] - part.y_mm[:, second]
    )
    both &= distance < FARTHEST_MM
    bins = (distance[both] / BIN_MM).astype(np.intp)
    size = int(FARTHEST_MM / BIN_MM)
    pairs = np.bincount(bins, minlength=size).astype(float)
    total = np.bincount(bins, half[both], minlength=size)
    return total / np.maximum(pairs, 1), pairs


def estimate(stack: Stack) -> Likeness:
    """Share and length that fit the variogram best, least squares weighted by pairs."""
    value, pairs = variogram(stack)
    middle = (np.arange(len(value)) + 0.5) * BIN_MM
    best, least = NONE, np.inf
    for length in LENGTHS_MM:
        fall = np.exp(-(middle**2) / (2 * length**2))
        share, misfit = _share(value, fall, pairs)
        if misfit < least:
            best, least = Likeness(share, length), misfit
    return best if best.share > 0 else NONE


def _share(value: Floats, fall: Floats, pairs: Floats) -> tuple[float, float]:
    """``value ~ sill (1 - share fall)``: share within its bounds, and the misfit."""
    total = pairs.sum()
    if total == 0:
        return 0.0, np.inf
    mean_value, mean_fall = (pairs @ value) / total, (pairs @ fall) / total
    across = pairs @ (fall - mean_fall) ** 2
    slope = -(pairs @ ((fall - mean_fall) * (value - mean_value))) / across if across > 0 else 0.0
    sill = mean_value + slope * mean_fall
    share = float(np.clip(slope / sill, 0, MAX_SHARE)) if sill > 0 else 0.0
    shape = 1 - share * fall
    sill = (pairs @ (value * shape)) / (pairs @ shape**2)
    return share, float(pairs @ (value - sill * shape) ** 2)
