"""How good a lot is: yield with its interval, and capability against the target.

Trays differ by more than their shells' chance, so with several trays the tray is the unit
(cluster intervals); one tray tells of itself alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2, norm
from scipy.stats import t as t_distribution

from petitpied.domain.quantity import Quantity
from petitpied.sorting.limits import Limit

Floats = NDArray[np.float64]

LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Share:
    """``count`` of ``total``, with an interval for the process behind it, 0 to 1."""

    count: int
    total: int
    low: float
    high: float

    @property
    def value(self) -> float:
        return self.count / self.total


def wilson(count: int, total: int, level: float = LEVEL) -> Share:
    """Score interval of a proportion.

    Wilson, J. Am. Stat. Assoc. 22 (1927) 209; NIST/SEMATECH e-Handbook 7.2.4.1.

    Raises
    ------
    ValueError
        If there is nothing, or more than all.
    """
    if not 0 <= count <= total or total == 0:
        raise ValueError(f"count must be 0 to total, total above 0, got {count} of {total}")
    return _score(count, total, float(total), float(norm.ppf(0.5 + level / 2)))


def share_of_trays(counts: Sequence[int], totals: Sequence[int]) -> Share:
    """A share over trays, ``counts`` of ``totals`` (T,) each: Wilson's interval with so many shells
    as would know it as well, were they independent, and Student's t for few trays.

    The effective number is that of the ratio's variance over trays, never more than all (Korn &
    Graubard, Survey Methodology 24 (1998) 193). One tray: plain Wilson.

    Raises
    ------
    ValueError
        As `wilson`.
    """
    count, total = sum(counts), sum(totals)
    plain = wilson(count, total)
    k = sum(n > 0 for n in totals)
    if k < 2:
        return plain
    p = plain.value
    t = float(t_distribution.ppf(0.5 + LEVEL / 2, k - 1))
    left = sum((c - p * n) ** 2 for c, n in zip(counts, totals, strict=True))
    variance = k / (k - 1) * left / total**2
    plainly = p * (1 - p) / total
    effective = total if variance <= plainly else total * plainly / variance
    return _score(count, total, effective, t)


def _score(count: int, total: int, effective: float, z: float) -> Share:
    """Wilson's interval of a share known from an effective number."""
    p = count / total
    middle = p + z * z / (2 * effective)
    reach = z * sqrt(p * (1 - p) / effective + (z / (2 * effective)) ** 2)
    scale = 1 + z * z / effective
    low = 0.0 if count == 0 else (middle - reach) / scale
    high = 1.0 if count == total else (middle + reach) / scale
    return Share(count, total, low, high)


@dataclass(frozen=True, slots=True)
class Capability:
    """How a lot's values lie in the limits; tuples are 95 % intervals (low, high).

    ``cp`` compares the limits' width with the spread (None: only one limit), ``cpk`` also
    where the middle lies. Both contain the measuring's own scatter: the truth is a little better.
    ``trays``: units that the intervals are of; 1: they are of this tray alone.
    """

    count: int
    trays: int
    mean: float
    spread: float
    cp: float | None
    cp_interval: tuple[float, float] | None
    cpk: float
    cpk_interval: tuple[float, float]


def capability(
    values: Sequence[Quantity], limit: Limit, tray: Sequence[int] | None = None
) -> Capability | None:
    """Process capability; None for fewer than two values, or values all alike.

    ``Cp = (high - low) / (6 s)``, ``Cpk = min(high - mean, mean - low) / (3 s)`` (NIST/SEMATECH
    e-Handbook 6.1.6). One tray: the interval of Cp by the chi-square of s, that of Cpk as ``Cpk ±
    z sqrt(1 / (9 n) + Cpk^2 / (2 (n - 1)))`` (Bissell, Appl. Stat. 39 (1990) 331). Several,
    ``tray`` (N,) naming each value's: s has the trays' own scatter, and the intervals of mean and
    spread are joined as their squares (method of variance estimates recovery: Zou & Donner, Stat.
    Med. 27 (2008) 1693), Student's t for the mean. All are widened by the error that all values
    share (of one photo: the scale), which shifts the mean.
    """
    if len(values) < 2 or (limit.low is None and limit.high is None):
        return None
    x = np.array([q.value for q in values])
    which = np.zeros(len(x), int) if tray is None else np.asarray(tray)
    names = np.unique(which)
    groups = [x[which == name] for name in names]
    process = _process(groups)
    mean, spread = float(x.mean()), process.spread
    if spread <= 0:
        return None
    shared = float(np.mean([q.u_shared for q in values])) / (3 * spread)
    cp = _cp(limit, spread)
    cpk = _cpk(limit, mean, spread)
    if len(groups) == 1:
        reach = _bissell(cpk, len(x), shared)
        return Capability(
            len(x), 1, mean, spread, cp, _by_chi2(cp, len(x)), cpk, (cpk - reach, cpk + reach)
        )
    k = len(groups)
    t = float(t_distribution.ppf(0.5 + LEVEL / 2, k - 1))
    of_mean = t * sqrt((process.u_mean / (3 * spread)) ** 2 + shared**2)
    low, high = process.factors
    below = sqrt(of_mean**2 + (cpk * (1 - low)) ** 2)
    above = sqrt(of_mean**2 + (cpk * (high - 1)) ** 2)
    cp_interval = None if cp is None else (cp * low, cp * high)
    return Capability(len(x), k, mean, spread, cp, cp_interval, cpk, (cpk - below, cpk + above))


@dataclass(frozen=True, slots=True)
class _Process:
    """Spread of single shells within trays and between them, by what factors one over the true
    spread may differ from one over this, and the standard error of the mean."""

    spread: float
    factors: tuple[float, float]
    u_mean: float


def _process(groups: Sequence[Floats]) -> _Process:
    """By analysis of variance; limits of a sum of mean squares by Graybill & Wang, J. Am. Stat.
    Assoc. 75 (1980) 869."""
    every = np.concatenate(groups)
    count, k = len(every), len(groups)
    if k == 1 or count == k:
        spread = float(every.std(ddof=1))
        return _Process(spread, _by_freedom(count - 1.0), spread / sqrt(count))
    n = np.array([len(g) for g in groups], float)
    inner = sum(float(((g - g.mean()) ** 2).sum()) for g in groups) / (count - k)
    means = np.array([g.mean() for g in groups])
    outer = max(float((n * (means - every.mean()) ** 2).sum()) / (k - 1), inner)
    per_tray = float(n.sum() - (n**2).sum() / n.sum()) / (k - 1)
    parts = (outer / per_tray, inner * (1 - 1 / per_tray))
    square = sum(parts)
    if square <= 0:
        return _Process(0.0, (1.0, 1.0), 0.0)
    down = up = 0.0
    for part, freedom in zip(parts, (k - 1, count - k), strict=True):
        small, large = chi2.ppf([(1 - LEVEL) / 2, (1 + LEVEL) / 2], freedom)
        down += ((1 - freedom / large) * part) ** 2
        up += ((freedom / small - 1) * part) ** 2
    low, high = square - sqrt(down), square + sqrt(up)
    return _Process(sqrt(square), (sqrt(square / high), sqrt(square / low)), sqrt(outer / count))


def _by_freedom(freedom: float) -> tuple[float, float]:
    """By what factors one over the true spread may differ from one over that found."""
    tails = chi2.ppf([(1 - LEVEL) / 2, (1 + LEVEL) / 2], freedom)
    return sqrt(tails[0] / freedom), sqrt(tails[1] / freedom)


def _cp(limit: Limit, spread: float) -> float | None:
    if limit.low is None or limit.high is None:
        return None
    return (limit.high - limit.low) / (6 * spread)


def _by_chi2(cp: float | None, n: int) -> tuple[float, float] | None:
    if cp is None:
        return None
    low, high = _by_freedom(n - 1.0)
    return cp * low, cp * high


def _cpk(limit: Limit, mean: float, spread: float) -> float:
    rooms = []
    if limit.high is not None:
        rooms.append(limit.high - mean)
    if limit.low is not None:
        rooms.append(mean - limit.low)
    return min(rooms) / (3 * spread)


def _bissell(cpk: float, n: int, shared: float) -> float:
    z = float(norm.ppf(0.5 + LEVEL / 2))
    return z * sqrt(1 / (9 * n) + cpk**2 / (2 * (n - 1)) + shared**2)
