"""Sign flips of whole units: the maximum statistic with locally pooled variance.

A unit is what was made together: one bake, or the bakes of one batter or day (`made_together`). If
there is no pattern, a unit's scores are as likely with the other sign (Winkler et al., Permutation
inference for the general linear model, NeuroImage 92, 2014; by exchangeability blocks: Winkler et
al., NeuroImage 123, 2015). The largest statistic
over all templates, flip by flip, holds the family-wise error (Nichols & Holmes, Human Brain
Mapping 15, 2002), whose locally pooled variance makes up for few bakes.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: all flips are taken up to this many units (the first keeps its sign: two-sided statistics do
#: not change when all signs do), random ones beyond
ALL_FLIPS_UP_TO = 11
#: random flips, the data as they are among them: p is known to 0.007 (1 s.e.) near 0.05
RANDOM_FLIPS = 1000
#: fewest units whose flips can reach p = 0.05: 2 / 2^6 = 0.031, but 2 / 2^5 = 0.063
LEAST_UNITS = 6
#: the variance common to all templates counts as so many units beside a template's own
COMMON_UNITS = 20.0


def signs(count: int, rng: np.random.Generator) -> NDArray[np.int8]:
    """Flips (F, count) of +1 and -1; the first row flips nothing."""
    if count <= ALL_FLIPS_UP_TO:
        number = np.arange(2 ** max(count - 1, 0))[:, None]
        flipped = (number >> np.arange(count)) & 1
        flipped[:, count - 1 :] = 0
        return (1 - 2 * flipped).astype(np.int8)
    result = 2 * rng.integers(0, 2, (RANDOM_FLIPS, count), dtype=np.int8) - 1
    result[0] = 1
    return result


def least_p(count: int) -> float:
    """Smallest p that the flips of ``count`` units can give."""
    return 1.0 / (2 ** (count - 1) if 1 <= count <= ALL_FLIPS_UP_TO else RANDOM_FLIPS)


@dataclass(frozen=True)
class Family:
    """Templates tested together: T named first, then spots on places (T, 2) mm.

    ``info`` (T,): summed over bakes, 0 where the shells do not show the template. ``place_mm``
    (T, 2): NaN for named ones. ``alone`` (T,): variance never pooled with the others (the
    tray's mean lean: of another kind than differences within a tray).
    """

    info: Floats
    place_mm: Floats
    alone: NDArray[np.bool_]
    pool_mm: float  # neighbouring spots share their variance over this distance

    def pooling(self, units: int) -> Floats:
        """Weights (T, T), rows summing to 1: own (named) or neighbours' (spots) variance,
        counted as ``units``, with that of all, counted as `COMMON_UNITS`."""
        spot = np.isfinite(self.place_mm[:, 0])
        known = (self.info > 0) & ~self.alone
        local = np.eye(len(self.info))
        step = self.place_mm[spot][:, None] - self.place_mm[spot][None]
        local[np.ix_(spot, spot)] = np.exp((step**2).sum(-1) / (-2 * self.pool_mm**2))
        local *= (self.info > 0)[None, :]
        local /= np.maximum(local.sum(axis=1, keepdims=True), 1e-300)
        common = known / max(1, known.sum())
        mixed = (units * local + COMMON_UNITS * common) / (units + COMMON_UNITS)
        mixed[self.alone] = np.eye(len(self.info))[self.alone]
        return np.asarray(mixed)


def statistics(sums: Floats, squares: Floats, family: Family, units: int) -> Floats:
    """Pseudo-t (F, T) of score sums (F, T, K); ``squares`` (T,) or (F, T): the units' squared
    scores summed, over components too."""
    scale = spreads(sums, squares, family, units)
    return np.asarray(np.where(family.info > 0, np.sqrt((sums**2).sum(axis=-1)) / scale, 0.0))


def spreads(sums: Floats, squares: Floats, family: Family, units: int) -> Floats:
    """Standard deviation (F, T) of the sums, its variance pooled as `Family.pooling` says."""
    number, components = max(units, 2), sums.shape[-1]
    known = family.info > 0
    info = np.where(known, family.info, 1.0)
    power = (sums**2).sum(axis=-1)
    ratio = (squares - power / number) * (number / (number - 1)) / (components * info)
    pooled = np.maximum(ratio, 0) @ family.pooling(units).T
    floor = FLOOR_REL * float(np.max(squares / info, initial=0.0))
    return np.asarray(np.sqrt(info * np.maximum(pooled, max(floor, 1e-300))))


#: rounding keeps a variance of zero from dividing; far below any real spread
FLOOR_REL = 1e-9


#: a spot's place has two coordinates: twice their number, on the scale of t squared (Akaike,
#: IEEE Trans. Automatic Control 19, 1974)
PLACE_WORTH = 4.0


@dataclass(frozen=True)
class Verdicts:
    """``statistic`` (T,), ``p_adjusted`` (T,), and the 95 % point of the largest statistic.
    ``size`` (T, K): each template's own estimate; ``per_unit`` (T,): how much statistic a size
    of 1 brings (0: unknown). ``inflation``: of variances, by likeness from unit to unit."""

    statistic: Floats
    p_adjusted: Floats
    critical: float
    least_p: float
    size: Floats
    per_unit: Floats
    inflation: float = 1.0

    def worth(self, family: Family) -> Floats:
        """How well each template (T,) explains the bakes: squares explained over the variance
        typical of all templates, less what a spot's free place is worth; beyond chance, a
        template's own variance would only add its own noise to the choice."""
        known = (self.per_unit > 0) & ~family.alone
        if not known.any():
            return np.asarray(self.statistic**2)
        unit = np.where(known, self.per_unit, 1.0)
        typical = float(np.median((family.info / unit**2)[known]))
        explained = (self.size**2).sum(axis=1) * family.info / typical
        fair = np.where(known, explained, self.statistic**2)
        return np.asarray(fair - PLACE_WORTH * np.isfinite(family.place_mm[:, 0]))

    def strongest(self, family: Family) -> int:
        """The template that explains most of those whose p is least."""
        least = self.p_adjusted <= self.p_adjusted.min() * (1 + 1e-9)
        return int(np.argmax(np.where(least, self.worth(family), -np.inf)))


def compare(largest: Floats, observed: Floats, sizes: tuple[Floats, Floats]) -> Verdicts:
    """``largest`` (F,): of each flip or shuffle, the data as they are first; ``sizes``: as in
    `Verdicts`."""
    near = observed * (1 - 1e-7)  # ties by symmetry count, whatever the rounding
    ordered = np.sort(largest)
    p = (len(largest) - np.searchsorted(ordered, near)) / len(largest)
    rank = int(np.floor(ALPHA * len(largest)))
    # p is at most 5 % where the statistic is larger than this one: of 32, than the second
    critical = float(ordered[-rank - 1]) if rank >= 1 else float("inf")
    p = np.where(observed > 0, p, 1.0)
    return Verdicts(observed, p, critical, 1 / len(largest), *sizes)


ALPHA = 0.05  # family-wise error, the common choice


def flip_test(
    scores: Floats, family: Family, rng: np.random.Generator, inflation: float = 1.0
) -> Verdicts:
    """Test of all templates from the units' scores (U, T, K); ``inflation``: of a sum's variance
    by likeness from unit to unit (`serial.inflation`)."""
    units = len(scores)
    flips = signs(units, rng).astype(np.float32)
    scale = max(float(np.abs(scores).max(initial=0.0)), 1e-300)
    flat = (scores / scale).reshape(units, -1).astype(np.float32)
    sums = (flips @ flat).reshape(len(flips), *scores.shape[1:]).astype(float)
    squares = ((scores / scale) ** 2).sum(axis=(0, 2))
    found = statistics(sums, squares, family, units)
    error = scale * spreads(sums[:1], squares, family, units)[0] * np.sqrt(inflation)
    size = scale * sums[0] / np.where(family.info > 0, family.info, np.inf)[:, None]
    largest, observed = found.max(axis=1), found[0] / np.sqrt(inflation)
    largest[0] = observed.max()
    return replace(compare(largest, observed, (size, family.info / error)), inflation=inflation)
