"""Before and after a change, the bake as unit: the difference of means with its interval."""

from dataclasses import dataclass
from math import isfinite, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

Floats = NDArray[np.float64]

LEVEL = 0.95
POWER = 0.8


@dataclass(frozen=True, slots=True)
class Change:
    """After minus before, with a 95 % interval.

    ``p`` is two-sided, of no difference. ``smallest_80`` is the true difference that bakes like
    these would show (interval without zero) four times in five. Where one side has a single
    bake, ``borrowed`` is True: its scatter is taken to be the other side's.
    """

    before: float
    after: float
    bakes_before: int
    bakes_after: int
    difference: float
    low: float
    high: float
    p: float
    smallest_80: float
    borrowed: bool

    @property
    def shows(self) -> bool:
        """The interval does not hold zero."""
        return self.low > 0 or self.high < 0


def change(before: Floats, after: Floats) -> Change | None:
    """Compare bakes' values (N,) before with those after (M,); NaN are left out.

    Welch's interval for unequal scatter (Welch, Biometrika 34, 1947); with a single bake on one
    side the interval of the other side's next value (Student). None where neither side has two
    bakes, or one has none.
    """
    a, b = before[np.isfinite(before)], after[np.isfinite(after)]
    if min(len(a), len(b)) < 1 or max(len(a), len(b)) < 2:
        return None
    borrowed = min(len(a), len(b)) == 1
    if borrowed:
        longer = a if len(a) > 1 else b
        variance = float(longer.var(ddof=1))
        parts = (variance / len(a), variance / len(b))
        freedom = float(len(longer) - 1)
    else:
        parts = (float(a.var(ddof=1)) / len(a), float(b.var(ddof=1)) / len(b))
        freedom = _welch_freedom(parts, len(a), len(b))
    error, difference = sqrt(sum(parts)), float(b.mean() - a.mean())
    half = float(stdtrit(freedom, (1 + LEVEL) / 2)) * error
    if error > 0:
        p = float(2 * stdtr(freedom, -abs(difference) / error))
    else:
        p = 1.0 if difference == 0 else 0.0
    return Change(
        before=float(a.mean()), after=float(b.mean()), bakes_before=len(a), bakes_after=len(b),
        difference=difference, low=difference - half, high=difference + half, p=p,
        smallest_80=smallest_effect(error, freedom), borrowed=borrowed,
    )  # fmt: skip


def _welch_freedom(parts: tuple[float, float], n: int, m: int) -> float:
    """Degrees of freedom (Welch-Satterthwaite); the smaller side's where nothing scatters."""
    below = parts[0] ** 2 / (n - 1) + parts[1] ** 2 / (m - 1)
    freedom = sum(parts) ** 2 / below if below > 0 else float("nan")
    return freedom if isfinite(freedom) else float(min(n, m) - 1)


def smallest_effect(error: float, freedom: float) -> float:
    """True effect found with 80 % power by a two-sided t test at 5 %.

    ``error`` is the estimate's standard error. The sum of the two quantiles, the usual
    approximation of the noncentral t.
    """
    quantiles = stdtrit(freedom, (1 + LEVEL) / 2) + stdtrit(freedom, POWER)
    return float(quantiles) * error
