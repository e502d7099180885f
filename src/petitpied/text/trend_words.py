"""A trend in plain sentences, and as JSON."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from petitpied.domain.bake import BakeFacts
from petitpied.patterns.trends.bake_series import SERIES_UNITS, Fault
from petitpied.patterns.trends.change import Change
from petitpied.patterns.trends.control_charts import FIRM_BASE, Chart
from petitpied.patterns.trends.trend import LIMITS, STEADY_POINTS, Of, Panel, Rules, Trend
from petitpied.text.oven_map_words import unit_words
from petitpied.text.wording import decimals, printable

#: bakes with a signal that are told one by one; more are counted
MOST_TOLD = 4
PANEL_NAMES = {
    "individuals": "single bakes",
    "moving range": "step from bake to bake",
    "mean": "means of bakes, limits from the shells",
    "spread": "spread within bakes",
    "share": "share of faults",
    "ewma": "smoothed over bakes (EWMA)",
}


@dataclass(frozen=True)
class Asked:
    """What the baker asked for: which series, of which bakes, and the change's time."""

    of: Of
    measure: str
    fault: Fault | None
    rules: Rules
    where: str  # as in "oven Deck, rack top", or ""
    change_at: str | None  # a date
    trays: int  # of which those made together are one point


    @property
    def unit(self) -> str:
        return "%" if self.of == "share" else SERIES_UNITS[self.measure]

    @property
    def factor(self) -> float:
        """From the series' numbers to those shown."""
        return 100.0 if self.of == "share" else 1.0

    @property
    def name(self) -> str:
        if self.of == "share":
            return f"share of shells with {self.fault}"
        words = self.measure.replace("_", " ").replace("lean x", "lean to the right")
        words = words.replace("lean y", "lean to the door")
        return f"{'mean' if self.of == 'mean' else 'spread of'} {words}"


def lines(trend: Trend, asked: Asked, bakes: Sequence[BakeFacts]) -> list[str]:
    """What the charts say."""
    known = np.flatnonzero(np.isfinite(trend.values))
    first, last = bakes[0].baked_at, bakes[-1].baked_at
    where = f", {asked.where}" if asked.where else ""
    counted = unit_words(asked.trays, len(bakes))
    result = [
        printable(f"{asked.name[:1].upper()}{asked.name[1:]}{where}: {counted}, "
                  f"{first:%Y-%m-%d} to {last:%Y-%m-%d}."),
    ]  # fmt: skip
    if len(bakes) < asked.trays:
        result.append("Trays of one day or batter are one point below: they share its chances.")
    if len(known) < len(bakes):
        result.append(f"Passed over, having no value: {len(bakes) - len(known)}.")
    result += _base_lines(trend, asked, bakes)
    result += [line for panel in trend.panels for line in _panel_lines(panel, bakes)]
    result.append(_false_alarms(trend))
    if asked.change_at is not None:
        result += _change_lines(trend.change, asked)
    return result


def _base_lines(trend: Trend, asked: Asked, bakes: Sequence[BakeFacts]) -> list[str]:
    where = np.flatnonzero(trend.base & np.isfinite(trend.values))
    start, end = bakes[where[0]].baked_at, bakes[where[-1]].baked_at
    chart = trend.panels[0].chart
    result = [
        f"Base period: {trend.base_bakes} bakes, {start:%Y-%m-%d} to {end:%Y-%m-%d}; "
        f"{_limits(chart, asked)}."
    ]
    if trend.base_bakes < FIRM_BASE:
        doubt = ""
        if trend.sigma_doubt_rel is not None:
            doubt = f": their width is known to about {100 * 1.96 * trend.sigma_doubt_rel:.0f} %"
        result.append(f"With fewer than {FIRM_BASE} bakes the limits are provisional{doubt}.")
    return result


def _limits(chart: Chart, asked: Asked) -> str:
    """Centre and limits; where they differ from bake to bake, those of the last one."""
    there = np.flatnonzero(np.isfinite(chart.upper))
    i = int(there[-1]) if len(there) else -1
    low, high = (asked.factor * float(v[i]) for v in (chart.lower, chart.upper))
    centre = asked.factor * float(chart.centre[i])
    places = decimals(max(high - low, 1e-9))
    varying = len(there) > 0 and float(np.ptp(chart.upper[there])) > 1e-9 * max(1.0, abs(high))
    of_last = ", at the last bake" if varying else ""
    unit = asked.unit
    return (
        f"centre {centre:.{places}f} {unit}, limits {low:.{places}f} to {high:.{places}f} {unit}"
        f"{of_last}"
    )


def _panel_lines(panel: Panel, bakes: Sequence[BakeFacts]) -> list[str]:
    """The chart's name and what it found, then a line for each bake with a signal."""
    name = PANEL_NAMES[panel.chart.kind]
    name = name[:1].upper() + name[1:]
    found = sorted({s.index for s in panel.signals})
    if not found:
        return [f"{name}: nothing out of the ordinary."]
    result = [f"{name}: {len(found)} bake{'' if len(found) == 1 else 's'} with a signal."]
    result += [f"  {_signal(panel, index, bakes)}" for index in found[:MOST_TOLD]]
    if len(found) > MOST_TOLD:
        result.append(f"  and {len(found) - MOST_TOLD} more")
    return result


def _signal(panel: Panel, index: int, bakes: Sequence[BakeFacts]) -> str:
    rules = [s for s in panel.signals if s.index == index]
    what = ", ".join(s.meaning if s.rule == LIMITS else f"{s.meaning} ({s.rule})" for s in rules)
    return f"bake {index + 1} of {bakes[index].baked_at:%Y-%m-%d}: {what}"


def _false_alarms(trend: Trend) -> str:
    if trend.by_chance is None:
        return (
            "These limits come from the shells within a bake. Days differ by more than that in any "
            "kitchen, so a signal here is no alarm: see the chart of single bakes."
        )
    count = min(int(np.isfinite(trend.values).sum()), STEADY_POINTS)
    alike = ""
    if trend.correlation > 0:
        alike = (
            f" Bakes are like those before them (correlation {trend.correlation:.1f}), so each is "
            "compared with what the one before makes likely."
        )
    steady = f"{100 * trend.by_chance:.0f} of 100 steady kitchens"
    return (
        f"By chance alone about {steady} show a signal in the first chart within {count} bakes."
        f"{alike}"
    )


def _change_lines(found: Change | None, asked: Asked) -> list[str]:
    if found is None:
        return [f"Before and after {asked.change_at}: too few bakes to compare."]
    f, unit = asked.factor, asked.unit
    places = decimals(max(f * (found.high - found.low) / 2, 1e-9))
    low, high, diff = (f"{f * v:+.{places}f}" for v in (found.low, found.high, found.step))
    before = found.units_before
    bakes = f"{before} day{'s' if before > 1 else ''} or batter{'s' if before > 1 else ''} before, "
    bakes += f"{found.units_after} after"
    if found.shows:
        word = "larger" if found.step > 0 else "smaller"
        text = (
            f"From {asked.change_at} on, the {asked.name} is {word}: {diff} {unit} "
            f"(95 %: {low} to {high} {unit}; {bakes}). Whether the change did it, the dates "
            "alone cannot say."
        )
    else:
        smallest = f * found.smallest_80
        text = (
            f"From {asked.change_at} on, no difference is shown: {diff} {unit} (95 %: {low} to "
            f"{high} {unit}; {bakes}). Such bakes find a step of {smallest:.{places}f} "
            f"{unit} four times in five."
        )
    lines = [text]
    if abs(found.drifted) > max(abs(found.step), found.high - found.low) / 4:
        plain = f * (found.after - found.before)
        lines.append(
            f"The means differ by {plain:+.{places}f} {unit}, but bakes drift over the whole time: "
            "only what is a step at the change counts here."
        )
    return lines


def trend_json(
    trend: Trend, asked: Asked, bakes: Sequence[BakeFacts], text: list[str]
) -> dict[str, Any]:
    """The same for programs: numbers in the measure's unit, shares as fractions."""
    unit = "share" if asked.of == "share" else asked.unit
    return {
        "measure": asked.measure,
        "of": asked.of,
        "fault": None if asked.fault is None else str(asked.fault),
        "unit": unit,
        "bakes": [
            {"bake": b.photo_sha256, "at": b.baked_at.isoformat(), "value": _number(v)}
            for b, v in zip(bakes, trend.values, strict=True)
        ],
        "trays": asked.trays,
        "base_bakes": trend.base_bakes,
        "correlation": _number(trend.correlation),
        "signal_by_chance": _number(trend.by_chance),
        "sigma_u_rel": _number(trend.sigma_doubt_rel),
        "charts": [_panel_json(panel) for panel in trend.panels],
        "change": None if trend.change is None else _change_json(trend.change, asked),
        "text": " ".join(text),
    }


def _panel_json(panel: Panel) -> dict[str, Any]:
    chart = panel.chart
    return {
        "kind": chart.kind,
        "points": [_number(v) for v in chart.points],
        "centre": [_number(v) for v in chart.centre],
        "lower": [_number(v) for v in chart.lower],
        "upper": [_number(v) for v in chart.upper],
        "signals": [
            {"bake_number": s.index + 1, "rule": s.rule, "meaning": s.meaning}
            for s in panel.signals
        ],
    }


def _change_json(found: Change, asked: Asked) -> dict[str, Any]:
    return {
        "at": asked.change_at,
        "before": _number(found.before),
        "after": _number(found.after),
        "units_before": found.units_before,
        "units_after": found.units_after,
        "step": _number(found.step),
        "correlation": _number(found.correlation),
        "low95": _number(found.low),
        "high95": _number(found.high),
        "p": _number(found.p),
        "shows": found.shows,
        "smallest_effect_80": _number(found.smallest_80),
    }


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), 6)
