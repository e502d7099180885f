"""The picture of a trend: charts under each other, for a phone held upright, without colour.

Filled dots: bakes. Ring around a dot: a signal. Solid line: centre. Dashes: limits. Dotted
upright: the change. Bar along the foot: the base period.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.bake import BakeFacts
from petitpied.figures.axes import round_step, ticks
from petitpied.figures.drawing import Circle, Drawing, Text, polyline, rect
from petitpied.figures.letters import wrapped
from petitpied.figures.look import GREY, INK
from petitpied.patterns.trends.trend import Panel, Trend
from petitpied.text.trend_words import PANEL_NAMES, Asked

Floats = NDArray[np.float64]

WIDTH = 1080
LEFT, RIGHT = 130.0, 1040.0
TITLE, LETTER, SMALL = 38.0, 28.0, 25.0
PANEL_HEIGHT, PANEL_GAP, FOOT = 470.0, 130.0, 150.0
#: more dots than this cannot be told apart on a phone: the last ones are shown
MOST_BAKES = 80
#: up to so many, dots are large
FEW_BAKES = 40
KEY = "Dot: a bake. Ring: a signal. Solid line: centre. Dashes: limits."


@dataclass(frozen=True)
class _Frame:
    """Where a panel lies on the sheet and which values it spans."""

    top: float
    low: float
    high: float
    count: int

    def x(self, i: float) -> float:
        return LEFT + 30 + (RIGHT - LEFT - 60) * (i + 0.5) / max(1, self.count)

    def y(self, value: float) -> float:
        rel = (value - self.low) / (self.high - self.low)
        return self.top + PANEL_HEIGHT * (1 - rel)


def trend_chart(trend: Trend, asked: Asked, bakes: Sequence[BakeFacts]) -> Drawing:
    """Draw a trend's charts."""
    total = len(bakes)
    shown = range(max(0, total - MOST_BAKES), total)
    title = f"{asked.name[:1].upper()}{asked.name[1:]}, {asked.unit}"
    heads = [*wrapped(title, TITLE, WIDTH - 80)]
    if asked.where:
        heads += wrapped(asked.where, TITLE, WIDTH - 80)
    if len(shown) < total:
        heads.append(f"the last {len(shown)} of {total} bakes")
    top = 30 + 52.0 * len(heads) + 70
    height = top + len(trend.panels) * (PANEL_HEIGHT + PANEL_GAP) + FOOT - 60
    sheet = Drawing(WIDTH, round(height))
    for i, head in enumerate(heads):
        sheet.add(Text((40, 60 + 52.0 * i), head, TITLE if i == 0 else LETTER))
    for panel in trend.panels:
        frame = _frame(panel, asked, shown, top)
        _draw_axes(sheet, panel, frame, asked)
        _draw_points(sheet, panel, frame, (asked.factor, shown))
        _draw_times(sheet, trend, frame, (bakes, shown))
        _draw_change(sheet, asked, frame, (bakes, shown))
        top += PANEL_HEIGHT + PANEL_GAP
    inside = any(trend.base[k] for k in shown)
    key = KEY if total == asked.trays else KEY.replace("a bake.", "a day or batter, all its trays.")
    key += (
        " Bar below: bakes that the limits come from."
        if inside
        else " The limits come from bakes before those shown."
    )
    key += f" Dotted upright: {asked.change_at}." if asked.change_at else ""
    for i, foot in enumerate(wrapped(key, SMALL, WIDTH - 80)):
        sheet.add(Text((40, top + 10 + 36 * i), foot, SMALL))
    return sheet


def _frame(panel: Panel, asked: Asked, shown: range, top: float) -> _Frame:
    chart = panel.chart
    parts = [v[shown.start :] for v in (chart.points, chart.lower, chart.upper, chart.centre)]
    values = asked.factor * np.concatenate(parts)
    values = values[np.isfinite(values)]
    low, high = (float(values.min()), float(values.max())) if len(values) else (0.0, 1.0)
    margin = 0.08 * (high - low) if high > low else max(0.05, 0.01 * abs(high))
    bottom = 0.0 if low >= 0 and low - margin < 0 else low - margin
    return _Frame(top, bottom, high + margin, len(shown))


def _draw_axes(sheet: Drawing, panel: Panel, frame: _Frame, asked: Asked) -> None:
    bottom = frame.top + PANEL_HEIGHT
    name = PANEL_NAMES[panel.chart.kind]
    sheet.add(Text((LEFT, frame.top - 20), f"{name[:1].upper()}{name[1:]}, {asked.unit}", LETTER))
    sheet.add(polyline((LEFT, frame.top), (LEFT, bottom), (RIGHT, bottom)))
    step, places = round_step((frame.high - frame.low) / 5)
    for tick in ticks(frame.low, frame.high, step):
        y = frame.y(tick)
        sheet.add(polyline((LEFT - 10, y), (LEFT, y)))
        sheet.add(Text((LEFT - 18, y), f"{tick:.{places}f}", SMALL, "end", "middle"))


def _draw_points(sheet: Drawing, panel: Panel, frame: _Frame, view: tuple[float, range]) -> None:
    factor, shown = view
    chart = panel.chart
    for values, dash in ((chart.centre, 0.0), (chart.lower, 12.0), (chart.upper, 12.0)):
        stairs = _stairs(factor * values[shown.start :], frame)
        for piece in stairs:
            sheet.add(polyline(*piece, width=2.5 if dash else 3.0, dash=dash))
    places = [
        (frame.x(i), frame.y(factor * float(chart.points[k])))
        for i, k in enumerate(shown)
        if np.isfinite(chart.points[k])
    ]
    if len(places) > 1:
        sheet.add(polyline(*places, width=1.5, colour=GREY))
    dot, ring = (7.0, 15.0) if len(shown) <= FEW_BAKES else (5.0, 10.0)
    sheet.add(*(Circle(place, dot) for place in places))
    for k in sorted({s.index for s in panel.signals if s.index in shown}):
        at = (frame.x(k - shown.start), frame.y(factor * float(chart.points[k])))
        sheet.add(Circle(at, ring, None, INK, 3.0))


def _stairs(values: Floats, frame: _Frame) -> list[tuple[tuple[float, float], ...]]:
    """A limit as steps, one a bake; broken where it is unknown."""
    pieces: list[list[tuple[float, float]]] = [[]]
    for i, value in enumerate(values):
        if not np.isfinite(value):
            pieces.append([])
            continue
        y = frame.y(float(value))
        pieces[-1] += [(frame.x(i - 0.5), y), (frame.x(i + 0.5), y)]
    merged = []
    for piece in pieces:
        if piece:
            flat = max(y for _, y in piece) - min(y for _, y in piece) < 0.01
            merged.append((piece[0], piece[-1]) if flat else tuple(piece))
    return merged


def _draw_times(
    sheet: Drawing, trend: Trend, frame: _Frame, view: tuple[Sequence[BakeFacts], range]
) -> None:
    """Dates of the first and last bake shown, bake numbers, and the bar of the base period."""
    bakes, shown = view
    bottom = frame.top + PANEL_HEIGHT
    first, last = bakes[shown.start], bakes[shown.stop - 1]
    left = f"bake {shown.start + 1}, {first.baked_at:%Y-%m-%d}"
    sheet.add(Text((LEFT, bottom + 52), left, SMALL))
    if len(shown) > 1:
        right = f"bake {shown.stop}, {last.baked_at:%Y-%m-%d}"
        sheet.add(Text((RIGHT, bottom + 52), right, SMALL, "end"))
    base = [k - shown.start for k in np.flatnonzero(trend.base) if k in shown]
    if base:
        start, end = frame.x(base[0] - 0.4), frame.x(base[-1] + 0.4)
        sheet.add(rect((start, bottom + 10), (end - start, 8.0), fill=INK))


def _draw_change(
    sheet: Drawing, asked: Asked, frame: _Frame, view: tuple[Sequence[BakeFacts], range]
) -> None:
    bakes, shown = view
    if asked.change_at is None:
        return
    before = sum(f"{bakes[k].baked_at:%Y-%m-%d}" < asked.change_at for k in shown)
    if 0 < before < len(shown):
        x = frame.x(before - 0.5)
        sheet.add(polyline((x, frame.top), (x, frame.top + PANEL_HEIGHT), width=3.0, dash=5.0))
