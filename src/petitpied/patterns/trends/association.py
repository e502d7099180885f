"""Which facts go along with which faults, over bakes. Going along is not causing.

Each outcome (a bake's mean, spread or share of faults) is set against each fact by least squares
with standard errors that stand unequal scatter (HC3: MacKinnon & White, J. Econometrics 29,
1985). p comes from permuting bakes, the statistic being studentised (Janssen, Statistics &
Probability Letters 36, 1997), so that it holds for few bakes too; beyond `MANY` from Student's t.
It is the larger of two, of the values and of their normal scores (van der Waerden 1952): one wild
bake makes no finding.

Kitchens drift and have seasons, so time counts as a fact beside each: the course of time is taken
out of both, and the p of a fit whose units may be like those before them (`step_in_time`) counts
where it is larger. Bakes of one batter or day are one unit; a fact that differs within units is
set against what differs within them.
Over all tests, the share of false findings is held by Benjamini & Hochberg (J. Royal Statistical
Society B 57, 1995), and the intervals of findings are widened to match (Benjamini & Yekutieli, J.
American Statistical Association 100, 2005).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtr, stdtrit
from scipy.stats import false_discovery_control, rankdata

from petitpied.patterns.trends.change import smallest_effect
from petitpied.patterns.trends.regressors import Regressor
from petitpied.statistics.made_together import Units, means_by_unit
from petitpied.statistics.step_in_time import estimate, time_axis

Floats = NDArray[np.float64]

#: expected share of false ones among what stands out
FALSE_SHARE = 0.05
PERMUTATIONS = 4000
#: with more bakes Student's t and permutation agree to a percent of p
MANY = 150
#: fewest bakes that are set against a fact: a line through three fits by itself too well
FEWEST = 6
_DEGENERATE = 1e-9
#: a fact is compared within units where this part of its scatter lies there: half, by majority
WITHIN = 0.5
#: a fact of which the course of time leaves less than this part cannot be told from it (numerical;
#: what went along with time is named as such anyway)
LEAST_BESIDE_TIME = 0.02


@dataclass(frozen=True)
class Outcome:
    """A series that may go along with a fact: ``values`` (N,), NaN where unknown; ``unit`` "%"
    for shares in per cent."""

    name: str
    measure: str
    unit: str
    values: Floats


@dataclass(frozen=True)
class Association:
    """One outcome against one fact.

    ``effect``: difference of the outcome for ``fact.step`` of the fact, or of the named bakes
    from the others, with its interval at ``level``; ``smallest_80``: the true effect that such
    bakes find four times in five, tested alone. ``units``: compared with each other, or
    where ``within``, those within which bakes are compared.
    """

    outcome: Outcome
    fact: Regressor
    effect: float
    low: float
    high: float
    level: float
    p: float
    p_adjusted: float
    smallest_80: float
    units: int
    within: bool

    @property
    def stands_out(self) -> bool:
        return self.p_adjusted <= FALSE_SHARE


@dataclass(frozen=True)
class _Fit:
    effect: float
    error: float
    freedom: float
    p: float
    units: int
    within: bool


def associations(
    outcomes: Sequence[Outcome],
    facts: Sequence[Regressor],
    units: Units,
    rng: np.random.Generator,
) -> tuple[Association, ...]:
    """Every outcome against every fact that can be compared, smallest adjusted p first.

    ``units`` (N,): the unit that each bake belongs to, numbered in order of time.
    """
    fits = []
    for fact in facts:
        for outcome in outcomes:
            fit = _fit(fact, outcome.values, units, rng)
            if fit is not None:
                fits.append((outcome, fact, fit))
    if not fits:
        return ()
    adjusted = false_discovery_control([fit.p for *_, fit in fits], method="bh")
    chosen = int((adjusted <= FALSE_SHARE).sum())
    result = [
        _told(outcome, fact, fit, (float(p), chosen / len(fits)))
        for (outcome, fact, fit), p in zip(fits, adjusted, strict=True)
    ]
    return tuple(sorted(result, key=lambda a: (a.p_adjusted, a.p)))


def _told(outcome: Outcome, fact: Regressor, fit: _Fit, found: tuple[float, float]) -> Association:
    p_adjusted, share = found
    level = 1 - FALSE_SHARE * (share if p_adjusted <= FALSE_SHARE else 1.0)
    half = float(stdtrit(fit.freedom, (1 + level) / 2)) * fit.error
    return Association(
        outcome, fact, fit.effect, fit.effect - half, fit.effect + half, level, fit.p, p_adjusted,
        smallest_effect(fit.error, fit.freedom), fit.units, fit.within,
    )  # fmt: skip


def _fit(fact: Regressor, values: Floats, units: Units, rng: np.random.Generator) -> _Fit | None:
    """None where units are too few, all alike, or hang on a single one."""
    known = np.isfinite(fact.values) & np.isfinite(values)
    x, y, unit = fact.values[known] / fact.step, values[known], units[known]
    within = _differs_within(x, unit)
    if within:
        found = _within(x, y, unit, rng)
    else:
        found = _between(means_by_unit(unit, x), means_by_unit(unit, y), rng)
    return None if found is None else _Fit(*found, within)


def _differs_within(x: Floats, unit: Units) -> bool:
    """Most of a fact's scatter lies within units, and enough of them have some."""
    if len(np.unique(unit)) == len(unit):
        return False
    inner = x - _spread_out(unit, x)
    return bool(
        (inner**2).sum() > WITHIN * ((x - x.mean()) ** 2).sum() and _varying(inner, unit) >= FEWEST
    )


def _spread_out(unit: Units, values: Floats) -> Floats:
    """Each bake's unit's mean (N,)."""
    each = np.unique(unit, return_inverse=True)[1]
    return means_by_unit(unit, values)[each]


def _varying(inner: Floats, unit: Units) -> int:
    """Units within which a fact differs."""
    return len(np.unique(unit[np.abs(inner) > _DEGENERATE]))


def _between(
    x: Floats, y: Floats, rng: np.random.Generator
) -> tuple[float, float, float, float, int] | None:
    """Units against units (U,), in order of time: effect, error, freedom, p, units."""
    n = len(x)
    if n < FEWEST or np.ptp(x) == 0 or np.ptp(y) == 0:
        return None
    time = time_axis(n)
    inner = _beside_time(x, time)
    if (inner**2).sum() < LEAST_BESIDE_TIME * ((x - x.mean()) ** 2).sum():
        return None
    line = _line(inner, np.ones(n) / n + time**2 / (time**2).sum())
    if line is None:
        return None
    design = np.column_stack([np.ones(n), x, time])
    scores = ndtri((rankdata(y) - 0.5) / n)
    p, mixed = 0.0, None
    for outcome in (y, scores):
        found = estimate(outcome, design, 1)
        p = max(p, _p(line, _beside_time(outcome, time), rng), 1.0 if found is None else found.p)
        mixed = found if outcome is y else mixed
    rest = _beside_time(y, time)
    slope, error = line.slopes(rest[None])
    freedom = float(n - 3)
    errors = [float(error[0]), _DEGENERATE * float(np.ptp(y))]
    if mixed is None:
        return float(slope[0]), max(errors), freedom, p, n
    low, high = mixed.interval()  # of units like those before them, as far as they are
    errors.append((high - low) / 2 / float(stdtrit(freedom, 0.975)))
    return mixed.value, max(errors), freedom, p, n


def _within(
    x: Floats, y: Floats, unit: Units, rng: np.random.Generator
) -> tuple[float, float, float, float, int] | None:
    """Bakes against others of their unit: one slope a unit's sums, signs of units flipped
    (cluster-robust; a unit's bakes may be as alike as they like)."""
    inner = x - _spread_out(unit, x)
    groups = np.unique(unit[np.abs(inner) > _DEGENERATE])
    rest = y - _spread_out(unit, y)
    if np.ptp(rest) == 0:
        return None
    square = np.array([float((inner[unit == g] ** 2).sum()) for g in groups])
    cross = np.array([float((inner[unit == g] * rest[unit == g]).sum()) for g in groups])
    count = len(groups)
    leverage = square / square.sum()
    if leverage.max() > 1 - _DEGENERATE:
        return None
    slope = float(cross.sum() / square.sum())
    # HC3 by clusters: Cameron & Miller, J. Human Resources 50, 2015
    left = (cross - slope * square) / (1 - leverage)
    error = max(float(np.sqrt((left**2).sum())) / square.sum(), _DEGENERATE * float(np.ptp(rest)))
    flips = rng.choice([-1.0, 1.0], (PERMUTATIONS, count))
    sums = flips @ cross
    spread = np.sqrt((((flips * cross) - np.outer(sums / square.sum(), square)) ** 2).sum(axis=1))
    own = np.sqrt(((cross - slope * square) ** 2).sum())
    t = abs(cross.sum()) / max(float(own), _DEGENERATE)
    beyond = np.abs(sums) >= t * (1 - 1e-9) * np.maximum(spread, _DEGENERATE)
    p = float((1 + beyond.sum()) / (1 + PERMUTATIONS))
    p = max(p, 2 * float(stdtr(count - 1, -abs(slope) / error)))
    return slope, error, float(count - 1), p, count


def _beside_time(values: Floats, time: Floats) -> Floats:
    centred = values - values.mean()
    return np.asarray(centred - time * float(centred @ time) / float(time @ time), float)


def _line(inner: Floats, others: Floats) -> "_Line | None":
    """Ready for lines through a fact (n,) beside others whose leverage (n,) is given; None where
    it hangs on a single unit."""
    scale = float((inner**2).sum())
    leverage = others + inner**2 / scale
    if leverage.max() > 1 - _DEGENERATE:
        return None
    weights = inner / scale
    return _Line(inner, weights, weights / (1 - leverage))


def _p(line: "_Line", y: Floats, rng: np.random.Generator) -> float:
    """Two-sided p of no slope."""
    n = len(y)
    slope, error = line.slopes(y[None])
    t = abs(float(slope[0])) / max(float(error[0]), _DEGENERATE * float(np.ptp(y)))
    if n > MANY:
        return 2 * float(stdtr(n - 3, -t))
    slopes, errors = line.slopes(rng.permuted(np.broadcast_to(y, (PERMUTATIONS, n)), axis=1))
    others = np.abs(slopes) >= t * (1 - 1e-9) * np.maximum(errors, 1e-300)
    return float((1 + others.sum()) / (1 + PERMUTATIONS))


@dataclass(frozen=True)
class _Line:
    """A fact (n,) made ready for lines through it: about its mean, over its sum of squares, and
    that with HC3's guard against leverage."""

    centred: Floats
    weights: Floats
    guard: Floats

    def slopes(self, y: Floats) -> tuple[Floats, Floats]:
        """Slopes (P,) and HC3 standard errors (P,) of outcomes (P, n)."""
        slope = y @ self.weights
        rest = y - y.mean(axis=1, keepdims=True) - slope[:, None] * self.centred
        return slope, np.sqrt((rest**2) @ (self.guard**2))
