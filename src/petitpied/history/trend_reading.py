"""From what the baker typed and the history to a trend."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import cast

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.bake import Bake, BakeFacts
from petitpied.domain.errors import HistoryError, LotError
from petitpied.history.facts import as_kept
from petitpied.history.store import Store
from petitpied.patterns.trends import trend as trends
from petitpied.patterns.trends.association import Outcome
from petitpied.patterns.trends.bake_series import (
    COMPARE,
    SERIES_UNITS,
    Fault,
    bake_series,
    fault_counts,
    measured,
)
from petitpied.statistics.made_together import units_of
from petitpied.text.trend_words import Asked
from petitpied.text.wording import printable

Bools = NDArray[np.bool_]

#: chance of drawn kitchens: fixed, so that the same history gives the same answer
SEED = 20_260_310
#: bakes that limits come from where nothing is said: 20 to 25 samples are the usual advice
#: (Montgomery, Introduction to Statistical Quality Control)
USUAL_BASE = 20


@dataclass(frozen=True)
class TrendRequest:
    """As typed: names not yet checked."""

    measure: str
    of: str
    fault: str | None
    chart: str
    rules: str
    base: str | None
    change: str | None
    oven: str | None
    rack: str | None
    flavour: str | None


def read_trend(
    store: Store, request: TrendRequest
) -> tuple[trends.Trend, Asked, tuple[BakeFacts, ...]]:
    """Read the bakes and chart them: what was made together is one point, whose first bake's facts
    are given.

    Raises
    ------
    HistoryError
        If a name, rule or date is none.
    LotError
        If there are too few bakes.
    """
    fault = None if request.fault is None else fault_of(request.fault)
    measure = request.measure if fault is None else fault.measure
    check_measure(measure)
    change_at = None if request.change is None else day(request.change, "--change")
    bakes = chosen_bakes(store, request.oven, request.rack, request.flavour)
    units = units_of([b.facts for b in bakes])
    first = [bakes[int(k)].facts for k in np.unique(units, return_index=True)[1]]
    counts = bake_series(bakes, measure, units)
    known = counts.counts > 0
    if request.of == "spread":
        known = counts.counts > 1
    if not known.any():
        there = ", ".join(measured(bakes)) or "nothing"
        raise _too_few(
            f"no bake has {'two shells with ' if request.of == 'spread' else ''}the measure "
            f"{measure}; measured is {there}"
        )
    days = [f.baked_at.date() for f in first]
    after = None if change_at is None else np.array([d >= change_at for d in days])
    plan = trends.Plan(
        base=_base(request.base, days, known, after),
        chart=cast(trends.ChartName, request.chart),
        rules=cast(trends.Rules, request.rules),
        after=after,
    )
    try:
        if fault is not None:
            found = trends.trend_of_share(*fault_counts(bakes, fault, units), plan)
        elif request.chart == "xbar-s":
            found = trends.trend_of_shells(counts, cast(trends.Of, request.of), plan)
        else:
            values = counts.means if request.of == "mean" else counts.sds
            found = trends.trend_of_values(values, plan)
        found = trends.with_chance(found, plan, np.random.default_rng(SEED))
    except ValueError as error:
        raise _too_few(str(error)) from None
    asked = Asked(
        cast(trends.Of, request.of), measure, fault, plan.rules, _where(request),
        None if change_at is None else change_at.isoformat(), len(bakes),
    )  # fmt: skip
    return found, asked, tuple(first)


def chosen_bakes(
    store: Store, oven: str | None, rack: str | None, flavour: str | None
) -> tuple[Bake, ...]:
    """The history's bakes of an oven, rack and flavour, oldest first.

    Raises
    ------
    LotError
        If there are none.
    """
    bakes = store.bakes(oven, rack)
    if flavour is not None:
        bakes = tuple(b for b in bakes if b.facts.flavour == as_kept(flavour))
    if not bakes:
        ovens = ", ".join(printable(o) for o in store.ovens())
        raise LotError(
            what="there is nothing to look at",
            why="the history has no bake of that kind" if ovens else "the history has no bakes",
            next_step=f"take one of the ovens {ovens}" if ovens else "log some: petitpied log",
        )
    return bakes


def check_measure(measure: str) -> None:
    """Raise `HistoryError` where there is no such measure."""
    if measure not in SERIES_UNITS:
        raise HistoryError(
            what=f"there is no measure {printable(measure)[:60]!r}",
            why="its name is not in the list",
            next_step=f"take one of {', '.join(SERIES_UNITS)}",
        )


def fault_of(text: str) -> Fault:
    """A rule such as "cracks >= 3" or "diameter<38".

    Raises
    ------
    HistoryError
        If it is no such rule.
    """
    parts = re.fullmatch(r"\s*([a-z_]+)\s*(>=|<=|>|<)\s*([+-]?\d+(?:\.\d+)?)\s*", text)
    if parts is None or parts[1] not in SERIES_UNITS:
        raise HistoryError(
            what=f"the rule {printable(text)[:60]!r} cannot be used",
            why=f"it needs a measure, one of {' '.join(COMPARE)}, and a number",
            next_step='write it as in --fault "cracks >= 3"; measures are '
            + ", ".join(SERIES_UNITS),
        )
    return Fault(parts[1], parts[2], float(parts[3]))


def day(text: str, option: str) -> date:
    """A day such as 2026-03-08.

    Raises
    ------
    HistoryError
        If it is none.
    """
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise HistoryError(
            what=f"{option} cannot be used",
            why=f"{printable(text)[:40]!r} is no day",
            next_step="write it as 2026-03-08",
        ) from None


#: what is looked at where nothing is named, in so far as it is measured: bakes' means of these,
#: the spread of diameters, and the share of cracked shells (a crack of 3 mm shows on a counter:
#: common practice, no source)
USUAL_MEANS = ("diameter", "roundness", "foot_spread", "lean", "height", "browning", "growth")
USUAL_FAULT = Fault("cracks", ">=", 3.0)


def outcomes_of(
    bakes: Sequence[Bake], measures: Sequence[str], faults: Sequence[Fault]
) -> list[Outcome]:
    """Series of the bakes that facts are set against: those named, else the usual ones."""
    there = measured(bakes)
    usual = not measures and not faults
    names = [m for m in (USUAL_MEANS if usual else measures) if m in there]
    result = []
    for name in names:
        series, unit, words = bake_series(bakes, name), SERIES_UNITS[name], name.replace("_", " ")
        result.append(Outcome(f"mean {words}", name, unit, series.means))
        if not usual or name == "diameter":
            result.append(Outcome(f"spread of {words}", name, unit, series.sds))
    for fault in [USUAL_FAULT] if usual else faults:
        if fault.measure in there:
            faulty, counts = fault_counts(bakes, fault)
            with np.errstate(invalid="ignore", divide="ignore"):
                share = np.where(counts > 0, 100 * faulty / counts, np.nan)
            result.append(Outcome(f"share of shells with {fault}", fault.measure, "%", share))
    return result


def _base(text: str | None, days: Sequence[date], known: Bools, after: Bools | None) -> Bools:
    """The base period's bakes (N,)."""
    if text is None:
        if after is not None and (known & ~after).sum() >= 2:
            return np.asarray(~after, bool)
        return _first(known, USUAL_BASE)
    if text.strip().isdecimal():
        return _first(known, int(text))
    ends = text.split("..")
    if len(ends) != 2:
        raise HistoryError(
            what="--base cannot be used",
            why=f"{printable(text)[:40]!r} is neither a number of bakes nor two days",
            next_step="write it as 20, or as 2026-01-01..2026-02-28",
        )
    low, high = (day(end, "--base") for end in ends)
    return np.array([low <= d <= high for d in days])


def _first(known: Bools, count: int) -> Bools:
    """The first ``count`` bakes with a value, and those between them."""
    return np.asarray((np.cumsum(known) - known < count), bool)


def _where(request: TrendRequest) -> str:
    parts = [("oven", request.oven), ("rack", request.rack), ("flavour", request.flavour)]
    return ", ".join(f"{name} {value}" for name, value in parts if value is not None)


def _too_few(why: str) -> LotError:
    return LotError(
        what="there is too little to chart", why=why, next_step="log more bakes, or choose others"
    )
