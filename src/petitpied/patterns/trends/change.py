"""Before and after a change, the batter or day as unit: the step, beside drift and like days."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from petitpied.statistics.step_in_time import LEVEL, Mixture, estimate, time_axis

Floats = NDArray[np.float64]

POWER = 0.8


@dataclass(frozen=True, slots=True)
class Change:
    """The step from before to after, with a 95 % interval.

    ``before``, ``after``: means of the units' values; ``step``: how much of their difference is a
    step at the change and not the series' drift. ``p`` is two-sided, of no step. ``smallest_80``
    is the true step that units like these would show (interval without zero) four times in
    five. ``correlation``: from unit to unit.
    """

    before: float
    after: float
    units_before: int
    units_after: int
    step: float
    low: float
    high: float
    p: float
    smallest_80: float
    correlation: float

    @property
    def shows(self) -> bool:
        """The interval does not hold zero."""
        return self.low > 0 or self.high < 0

    @property
    def drifted(self) -> float:
        """What of the means' difference is no step."""
        return self.after - self.before - self.step


def change(values: Floats, late: NDArray[np.bool_]) -> Change | None:
    """Compare units' values (U,), in order of time, before with those ``late`` (U,); NaN are left
    out.

    A step beside a straight drift, the units alike from one to the next as far as the series
    says (`step_in_time`). None where there are too few: four units, and both sides.
    """
    known = np.isfinite(values)
    y, after = values[known], late[known]
    if len(y) < 4 or not after.any() or after.all():
        return None
    design = np.column_stack([np.ones(len(y)), after.astype(float), time_axis(len(y))])
    found = estimate(y, design, 1)
    if found is None:
        return None
    low, high = found.interval()
    return Change(
        before=float(y[~after].mean()), after=float(y[after].mean()),
        units_before=int((~after).sum()), units_after=int(after.sum()), step=found.value,
        low=low, high=high, p=found.p, smallest_80=_smallest(found, high - low),
        correlation=found.correlation,
    )  # fmt: skip


def _smallest(found: Mixture, width: float) -> float:
    """The interval's half width and the power's quantile in its measure."""
    power, level = stdtrit(found.freedom, [POWER, (1 + LEVEL) / 2])
    return width / 2 * (1 + float(power) / float(level))


def smallest_effect(error: float, freedom: float) -> float:
    """True effect found with 80 % power by a two-sided t test at 5 %.

    ``error`` is the estimate's standard error. The sum of the two quantiles, the usual
    approximation of the noncentral t.
    """
    quantiles = stdtrit(freedom, (1 + LEVEL) / 2) + stdtrit(freedom, POWER)
    return float(quantiles) * error
