"""Which facts go along with which faults, over bakes. Going along is not causing.

Each outcome (a bake's mean, spread or share of faults) is set against each fact by least squares
with standard errors that stand unequal scatter (HC3: MacKinnon & White, J. Econometrics 29,
1985). p comes from permuting bakes, the statistic being studentised (Janssen, Statistics &
Probability Letters 36, 1997), so that it holds for few bakes too; beyond `MANY` from Student's t.
It is the larger of two, of the values and of their normal scores (van der Waerden 1952): one wild
bake makes no finding.
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

Floats = NDArray[np.float64]

#: expected share of false ones among what stands out
FALSE_SHARE = 0.05
PERMUTATIONS = 4000
#: with more bakes Student's t and permutation agree to a percent of p
MANY = 150
#: fewest bakes that are set against a fact: a line through three fits by itself too well
FEWEST = 6
_DEGENERATE = 1e-9


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
    bakes find four times in five, tested alone. ``bakes``: units compared; ``by_batch``: they
    are batches, several bakes of one batter being one.
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
    bakes: int
    by_batch: bool

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
    by_batch: bool


def associations(
    outcomes: Sequence[Outcome],
    facts: Sequence[Regressor],
    batches: Sequence[str | None],
    rng: np.random.Generator,
) -> tuple[Association, ...]:
    """Every outcome against every fact that can be compared, smallest adjusted p first.

    ``batches`` (N,) names each bake's batter, None where unknown (a batter of its own).
    """
    fits = []
    for fact in facts:
        for outcome in outcomes:
            fit = _fit(fact, outcome.values, batches, rng)
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
        smallest_effect(fit.error, fit.freedom), fit.units, fit.by_batch,
    )  # fmt: skip


def _fit(
    fact: Regressor, values: Floats, batches: Sequence[str | None], rng: np.random.Generator
) -> _Fit | None:
    """None where bakes are too few, all alike, or hang on a single one."""
    known = np.isfinite(fact.values) & np.isfinite(values)
    names = [name for name, there in zip(batches, known, strict=True) if there]
    x, y, by_batch = _by_batch(fact.values[known] / fact.step, values[known], names)
    n = len(x)
    if n < FEWEST or np.ptp(x) == 0 or np.ptp(y) == 0:
        return None
    centred = x - x.mean()
    scale = float((centred**2).sum())
    leverage = 1 / n + centred**2 / scale
    if leverage.max() > 1 - _DEGENERATE:
        return None
    weights = centred / scale
    line = _Line(centred, weights, weights / (1 - leverage))
    slope, error = line.slopes(y[None])
    p = max(_p(line, y, rng), _p(line, ndtri((rankdata(y) - 0.5) / n), rng))
    least = _DEGENERATE * float(np.ptp(y))
    return _Fit(float(slope[0]), max(float(error[0]), least), float(n - 2), p, n, by_batch)


def _p(line: "_Line", y: Floats, rng: np.random.Generator) -> float:
    """Two-sided p of no slope."""
    n = len(y)
    slope, error = line.slopes(y[None])
    t = abs(float(slope[0])) / max(float(error[0]), _DEGENERATE * float(np.ptp(y)))
    if n > MANY:
        return 2 * float(stdtr(n - 2, -t))
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


def _by_batch(x: Floats, y: Floats, batches: Sequence[str | None]) -> tuple[Floats, Floats, bool]:
    """Bakes of one batter averaged to one, where the fact does not differ within any batter:
    what they share would else count several times."""
    keys = [f"batch {b}" if b is not None else i for i, b in enumerate(batches)]
    order = {key: i for i, key in enumerate(dict.fromkeys(keys))}
    if len(order) == len(keys):
        return x, y, False
    which = np.array([order[key] for key in keys])
    counts = np.bincount(which)
    mean_x, mean_y = np.bincount(which, x) / counts, np.bincount(which, y) / counts
    if np.abs(x - mean_x[which]).max() > _DEGENERATE * max(1.0, float(np.abs(x).max())):
        return x, y, False
    return mean_x, mean_y, True
