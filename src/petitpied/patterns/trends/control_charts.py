"""Control charts: a centre line, limits of three standard errors, and the points beyond.

Formulas as in the NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2 and 6.3.3, with limits
for each point where the counts differ. A point may be NaN (a bake without the measure): it is
passed over, and the points on both sides of it count as successive.
"""

from dataclasses import dataclass
from math import asin, lgamma, pi, sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Kind = Literal["individuals", "moving range", "mean", "spread", "share", "ewma"]

#: limits lie so many standard errors off the centre (Shewhart 1931; e-Handbook 6.3.1)
LIMIT_SIGMAS = 3.0
#: expected range of two normal values over their standard deviation: d2 for n = 2
D2_OF_TWO = 2 / sqrt(pi)
#: upper limit of a range of two over the mean range: D4 for n = 2, 1 + 3 d3 / d2
D4_OF_TWO = 1 + 3 * sqrt(2 - 4 / pi) / D2_OF_TWO
#: weight of the newest point and width of the limits of an EWMA chart: a steady process raises
#: a false alarm about every 500 points (Lucas & Saccucci, Technometrics 32, 1990)
EWMA_WEIGHT, EWMA_SIGMAS = 0.2, 2.962
#: of a series' variance at least this part is new from one value to the next; numerical
LEAST_NEW = 0.05
#: with fewer bakes in the base period limits are provisional (Montgomery, Introduction to
#: Statistical Quality Control: 20 to 25 samples)
FIRM_BASE = 20


@dataclass(frozen=True)
class Chart:
    """Points of N bakes, in order of time, and their limits; NaN: a gap.

    ``sigma`` (N,) is each point's standard error about the centre, so that the run rules see
    ``(points - centre) / sigma``.
    """

    kind: Kind
    points: Floats
    centre: Floats
    sigma: Floats
    lower: Floats
    upper: Floats

    @property
    def standardised(self) -> Floats:
        """Distance from the centre in standard errors (N,); 0 where all are the same."""
        off = self.points - self.centre
        with np.errstate(invalid="ignore", divide="ignore"):
            z = np.where(self.sigma > 0, off / self.sigma, np.where(off == 0, 0.0, np.inf * off))
        return np.asarray(np.where(np.isnan(self.points), np.nan, z), float)

    @property
    def beyond(self) -> Bools:
        """Which points (N,) lie outside their limits; on a limit is inside."""
        tiny = 1e-12 * np.maximum(1.0, np.abs(self.points))
        low, high = self.points < self.lower - tiny, self.points > self.upper + tiny
        return np.asarray(low | high, bool)


def c4(n: Floats) -> Floats:
    """Expected standard deviation of n normal values over the true one (n >= 2)."""
    return np.array(
        [sqrt(2 / (k - 1)) * float(np.exp(lgamma(k / 2) - lgamma((k - 1) / 2))) for k in n]
    )


def _known(values: Floats, base: Bools) -> Floats:
    return np.asarray(values[base & np.isfinite(values)], float)


def _need(count: int, least: int) -> None:
    if count < least:
        raise ValueError(f"the base period must have {least} points or more, got {count}")


def _constant(value: float, like: Floats) -> Floats:
    return np.full(len(like), value)


def moving_ranges(values: Floats) -> Floats:
    """Distance of each value from the one before it (N,); NaN where either is missing and at
    the first; across a gap the last known value counts."""
    result = np.full(len(values), np.nan)
    there = np.flatnonzero(np.isfinite(values))
    result[there[1:]] = np.abs(np.diff(values[there]))
    return result


def sigma_of_individuals(values: Floats) -> float:
    """Standard deviation from the mean moving range, ``MR / d2``; values (N >= 2,)."""
    return float(np.abs(np.diff(values)).mean()) / D2_OF_TWO


def relative_doubt_of_sigma(count: int) -> float:
    """Relative standard uncertainty of `sigma_of_individuals` from ``count`` normal values.

    The variance of the mean of count - 1 moving ranges, neighbours of which share a value: for
    two normal variables with correlation -1/2, ``E|XY|`` is known in closed form.
    """
    own = 2 * (1 - 2 / pi)
    shared = 4 / pi * (sqrt(0.75) + 0.5 * asin(0.5) - 1)
    m = count - 1
    return sqrt(m * own + 2 * (m - 1) * shared) / m / D2_OF_TWO


def individuals(values: Floats, base: Bools, correlation: float = 0.0) -> Chart:
    """Chart of single values (N,), limits from the moving ranges of the base period.

    With a correlation from one value to the next, each point's centre is what the one before it
    makes likely, and the limits are those of what is new in it: a chart of residuals of a
    first-order autoregression (Alwan & Roberts, J. Business & Economic Statistics 6, 1988). The
    moving ranges of such a series are smaller than its scatter by ``sqrt(1 - r)``.

    Raises
    ------
    ValueError
        With fewer than two values in the base period.
    """
    known = _known(values, base)
    _need(len(known), 2)
    centre, sigma = float(known.mean()), sigma_of_individuals(known)
    if correlation <= 0:
        return _symmetric(
            "individuals", values, _constant(centre, values), _constant(sigma, values)
        )
    before = _before(values)
    likely = np.where(np.isfinite(before), centre + correlation * (before - centre), centre)
    new = sigma * sqrt(1 + correlation)
    whole = sigma / sqrt(max(1 - correlation, LEAST_NEW))
    return _symmetric("individuals", values, likely, np.where(np.isfinite(before), new, whole))


def _before(values: Floats) -> Floats:
    """The last known value before each (N,); NaN where there is none."""
    there = np.flatnonzero(np.isfinite(values))
    at = np.searchsorted(there, np.arange(len(values))) - 1
    return np.asarray(np.where(at >= 0, values[there[np.maximum(at, 0)]], np.nan), float)


def moving_range(values: Floats, base: Bools) -> Chart:
    """Chart of the moving ranges of values (N,).

    Raises
    ------
    ValueError
        With fewer than two values in the base period.
    """
    known = _known(values, base)
    _need(len(known), 2)
    mean = float(np.abs(np.diff(known)).mean())
    points, upper = moving_ranges(values), _constant(D4_OF_TWO * mean, values)
    return Chart(
        "moving range", points, _constant(mean, values), (upper - mean) / LIMIT_SIGMAS,
        _constant(0.0, values), upper,
    )  # fmt: skip


def mean_and_spread(means: Floats, sds: Floats, counts: Floats, base: Bools) -> tuple[Chart, Chart]:
    """X-bar and S charts of subgroups of unequal size (N,).

    The centre is the mean weighted by counts. Sigma is the best linear unbiased estimate,
    ``sum h s / c4 / sum h`` with ``h = c4^2 / (1 - c4^2)`` (Burr, J. Quality Technology 1, 1969);
    with equal counts that is the mean ``s`` over c4. Limits are each point's own. Subgroups
    with fewer than two values have no spread.

    Raises
    ------
    ValueError
        With no subgroup of two in the base period.
    """
    whole = base & np.isfinite(means) & np.isfinite(sds) & (counts >= 2)
    _need(int(whole.sum()), 1)
    n, s = counts[whole], sds[whole]
    centre = float((n * means[whole]).sum() / n.sum())
    unbiased = c4(n)
    weight = unbiased**2 / (1 - unbiased**2)
    sigma = float((weight * s / unbiased).sum() / weight.sum())
    error = sigma / np.sqrt(np.where(counts > 0, counts, np.nan))
    means_chart = _symmetric("mean", means, _constant(centre, means), error)
    factor = np.full(len(counts), np.nan)
    enough = counts >= 2
    factor[enough] = c4(counts[enough])
    middle, error = sigma * factor, sigma * np.sqrt(1 - factor**2)
    points = np.where(enough, sds, np.nan)
    lower = np.maximum(0.0, middle - LIMIT_SIGMAS * error)
    return means_chart, Chart(
        "spread", points, middle, error, lower, middle + LIMIT_SIGMAS * error
    )  # fmt: skip


def share(faults: Floats, counts: Floats, base: Bools, *, between: bool) -> Chart:
    """p chart: shares of faults (N,) among counts (N,), unequal.

    ``between``: shells of one tray share their fate, so shares scatter more than the binomial
    law says; limits are then widened by the scatter of the standardised shares from bake to
    bake, never narrowed (Laney, Improved control charts for attributes, Quality Engineering 14,
    2002).

    Raises
    ------
    ValueError
        With no counts in the base period, or with ``between`` fewer than two.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        points = np.where(counts > 0, faults / counts, np.nan)
    whole = base & np.isfinite(points)
    _need(int(whole.sum()), 2 if between else 1)
    centre = float(faults[whole].sum() / counts[whole].sum())
    error = np.sqrt(centre * (1 - centre) / np.where(counts > 0, counts, np.nan))
    if between and centre not in (0.0, 1.0):
        z = ((points - centre) / error)[whole]
        error = error * max(1.0, sigma_of_individuals(z))
    low = np.maximum(0.0, centre - LIMIT_SIGMAS * error)
    high = np.minimum(1.0, centre + LIMIT_SIGMAS * error)
    return Chart("share", points, _constant(centre, points), error, low, high)


@dataclass(frozen=True, slots=True)
class EwmaPlan:
    """Weight of the newest point, width of the limits, and whether they are the exact ones of
    each point or those that they tend to."""

    weight: float = EWMA_WEIGHT
    sigmas: float = EWMA_SIGMAS
    steady: bool = False


DEFAULT_PLAN = EwmaPlan()


def ewma(values: Floats, centre: float, sigma: float, plan: EwmaPlan = DEFAULT_PLAN) -> Chart:
    """Exponentially weighted moving average of values (N,), begun at the centre.

    A gap leaves the average as it was and has no point.
    """
    points, variance = np.full(len(values), np.nan), np.full(len(values), np.nan)
    average = centre
    for seen, i in enumerate(np.flatnonzero(np.isfinite(values)), start=1):
        average = plan.weight * float(values[i]) + (1 - plan.weight) * average
        points[i] = average
        variance[i] = 1.0 if plan.steady else 1 - (1 - plan.weight) ** (2 * seen)
    error = sigma * np.sqrt(plan.weight / (2 - plan.weight) * variance)
    middle, width = _constant(centre, values), plan.sigmas * error
    return Chart("ewma", points, middle, error, middle - width, middle + width)


def _symmetric(kind: Kind, points: Floats, centre: Floats, error: Floats) -> Chart:
    width = LIMIT_SIGMAS * error
    return Chart(kind, points, centre, error, centre - width, centre + width)
