"""The one change, photo or fact that tells most next; or nothing, keep baking.

One change at a time, by turns from day to day (paired blocks balance what drifts), as many days as
simulated ones of the same scatter need to show it four times in five.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.stats import t as t_distribution

from petitpied.patterns.oven.findings import Finding, OvenMap
from petitpied.patterns.oven.oven_or_hand import LEAST_EACH, OvenOrHand
from petitpied.patterns.trends.association import Association
from petitpied.patterns.trends.regressors import Together
from petitpied.statistics.sign_flips import LEAST_UNITS

What = Literal["more days", "photo", "turn", "try", "vary", "apart", "keep"]

#: at most so many lines
MOST = 3
POWER = 0.8
#: pairs of days that a plan may take; more is no plan for a kitchen (common practice, no source)
MOST_PAIRS = 20
SIMULATED = 1000
#: a difference that a baker would act on, in the measure's unit: what shows on a counter (common
#: practice, no source); others: none is known
MATTERS = {"diameter": 1.0, "cap_diameter": 1.0, "foot_spread": 1.0, "height": 1.0}
#: facts below this p, though not standing out, are worth a try of their own
WORTH_TRYING = 0.2


@dataclass(frozen=True)
class Suggestion:
    """``days``: how many it takes, 0 where none; ``shows``: the effect that they show four times
    in five, in ``unit``; ``about``: a pattern's kind or facts' names; ``turned``: the next tray."""

    what: What
    days: int = 0
    shows: float | None = None
    unit: str = ""
    about: tuple[str, ...] = ()
    turned: bool = False


@dataclass(frozen=True)
class Known:
    """All that is known of one measure in one oven."""

    found: OvenMap
    sides: OvenOrHand
    causes: tuple[Association, ...]
    together: tuple[Together, ...]
    last_turned: bool


def next_bake(known: Known, rng: np.random.Generator) -> tuple[Suggestion, ...]:
    """At most three, the first first; of them at most one changes how is baked."""
    found, strongest = known.found, known.found.strongest
    if found.units < LEAST_UNITS:
        days = LEAST_UNITS - found.units
        return (Suggestion("more days", days, turned=not known.last_turned),)
    result = []
    if strongest is not None and found.camera is not None and not found.camera.cleared:
        result.append(Suggestion("photo", LEAST_EACH, about=(strongest.kind,)))
    change = _change(known, strongest, rng)
    if change is not None and not (result and change.what == "try"):  # it may be no oven's at all
        result.append(change)
    if not result:
        shows, unit = found.smallest_effect_80, found.unit
        matters = MATTERS.get(found.measure)
        if shows is not None and matters is not None and shows > matters:
            return (Suggestion("more days", found.more_units_to_halve, shows / 2, unit,
                               turned=not known.last_turned),)  # fmt: skip
        return (Suggestion("keep", shows=shows, unit=unit),)
    return tuple(result[:MOST])


def _change(known: Known, strongest: Finding | None, rng: np.random.Generator) -> Suggestion | None:
    """What to do otherwise: turn, try, or vary a fact; one of them."""
    found, sides = known.found, known.sides
    if strongest is not None and strongest.kind != "centre-edge" and not sides.separable:
        days = sum(step.bakes for step in sides.plan)
        shows = sides.plan[-1].smallest_effect_80 if sides.plan else None
        return Suggestion("turn", days, shows, found.unit, turned=not known.last_turned)
    by_oven = strongest is not None and (
        strongest.kind == "centre-edge" or (sides.oven is not None and sides.oven.stands_out)
    )
    if strongest is not None and by_oven and strongest.effect is not None:
        effect = strongest.effect
        if effect.u95 is not None and found.units > 1:
            factor = float(t_distribution.ppf(0.975, found.units - 1))
            scatter = effect.u95 / factor * np.sqrt(found.units)
            pairs = pairs_needed(abs(effect.value), float(scatter), rng)
            if pairs is not None:
                return Suggestion(
                    "try", 2 * pairs, abs(effect.value), effect.unit, (strongest.kind,)
                )
    return _fact(known, rng)


def _fact(known: Known, rng: np.random.Generator) -> Suggestion | None:
    """A fact that goes along with the measure: told apart from its twin, or varied by itself."""
    own = [a for a in known.causes if a.p_adjusted <= WORTH_TRYING and not a.within]
    for a in own:
        scatter = a.smallest_80 * np.sqrt(a.units) / 2.8 * _spread(a)  # 2.8: z of 97.5 and 80 %
        pairs = pairs_needed(abs(a.effect), float(scatter), rng)
        if pairs is None:
            continue
        twins = [
            other.label
            for t in known.together
            for one, other in ((t.first, t.second), (t.second, t.first))
            if one is a.fact and other.fact != "time"
        ]
        what: What = "apart" if twins else "vary"
        about = (a.fact.label, *twins[:1])
        return Suggestion(what, 2 * pairs, abs(a.effect), a.outcome.unit, about)
    return None


def _spread(a: Association) -> float:
    """Standard deviation of a fact over its step, so that an error of its slope is one of days."""
    values = a.fact.values[np.isfinite(a.fact.values)]
    return float(values.std() / a.fact.step)


def pairs_needed(effect: float, scatter: float, rng: np.random.Generator) -> int | None:
    """Pairs of days, one with and one without, until a difference shows four times in five.

    By drawing: days of that scatter, an order by lot within each pair, the paired differences
    against Student's t at 5 %, two-sided. None beyond `MOST_PAIRS`.
    """
    if not scatter > 0:
        return LEAST_EACH
    drawn = rng.normal(effect, scatter * np.sqrt(2), (SIMULATED, MOST_PAIRS))
    for pairs in range(LEAST_EACH, MOST_PAIRS + 1):
        part = drawn[:, :pairs]
        t = part.mean(axis=1) / (part.std(axis=1, ddof=1) / np.sqrt(pairs))
        if (np.abs(t) > t_distribution.ppf(0.975, pairs - 1)).mean() >= POWER:
            return pairs
    return None
