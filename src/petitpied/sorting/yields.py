"""How good a lot is: yield with its interval, and capability against the target."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy.stats import binomtest, chi2, norm

from petitpied.domain.quantity import Quantity
from petitpied.sorting.limits import Limit

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
    interval = binomtest(count, total).proportion_ci(level, method="wilson")
    return Share(count, total, float(interval.low), float(interval.high))


@dataclass(frozen=True, slots=True)
class Capability:
    """How a lot's values lie in the limits; tuples are 95 % intervals (low, high).

    ``cp`` compares the limits' width with the spread (None: only one limit), ``cpk`` also
    where the middle lies. Both contain the measuring's own scatter: the truth is a little better.
    """

    count: int
    mean: float
    spread: float
    cp: float | None
    cp_interval: tuple[float, float] | None
    cpk: float
    cpk_interval: tuple[float, float]


def capability(values: Sequence[Quantity], limit: Limit) -> Capability | None:
    """Process capability; None for fewer than two values, or values all alike.

    ``Cp = (high - low) / (6 s)``, interval by the chi-square of s; ``Cpk = min(high - mean, mean
    - low) / (3 s)``, interval ``Cpk ± z sqrt(1 / (9 n) + Cpk^2 / (2 (n - 1)))`` (Bissell, Appl.
    Stat. 39 (1990) 331; NIST/SEMATECH e-Handbook 6.1.6), widened by the error that all values
    share (of one photo: the scale), which shifts the mean.
    """
    if len(values) < 2 or (limit.low is None and limit.high is None):
        return None
    x = np.array([q.value for q in values])
    n, mean, spread = len(x), float(x.mean()), float(x.std(ddof=1))
    if spread <= 0:
        return None
    cp = cp_interval = None
    if limit.low is not None and limit.high is not None:
        cp = (limit.high - limit.low) / (6 * spread)
        tails = chi2.ppf([(1 - LEVEL) / 2, (1 + LEVEL) / 2], n - 1)
        cp_interval = (cp * sqrt(tails[0] / (n - 1)), cp * sqrt(tails[1] / (n - 1)))
    rooms = []
    if limit.high is not None:
        rooms.append(limit.high - mean)
    if limit.low is not None:
        rooms.append(mean - limit.low)
    cpk = min(rooms) / (3 * spread)
    shared = float(np.mean([q.u_shared for q in values])) / (3 * spread)
    z = float(norm.ppf(0.5 + LEVEL / 2))
    reach = z * sqrt(1 / (9 * n) + cpk**2 / (2 * (n - 1)) + shared**2)
    return Capability(n, mean, spread, cp, cp_interval, cpk, (cpk - reach, cpk + reach))
