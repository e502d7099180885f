"""The chart of a repeatability study: every reading of every shell, and where spread comes from.

Persons are told apart by the shape of their marks.
"""

import numpy as np

from petitpied.figures.axes import round_step, ticks
from petitpied.figures.drawing import Anchor, Drawing, Spot, Text, polyline, rect
from petitpied.figures.letters import text_width
from petitpied.figures.look import FAINT, INK, Mark
from petitpied.statistics.gauge_study import Gauge, Readings
from petitpied.text.wording import printable

WIDTH, HEIGHT = 1080, 1500  # a phone held upright
TITLE, LETTER = 34.0, 30.0
MARKS: tuple[Mark, ...] = ("disc", "square", "triangle", "diamond", "cross", "ring")
#: component to the words under its bar
WORDS = {
    "shell": "shells themselves",
    "person": "person",
    "interaction": "person and shell",
    "photo": "photo to photo",
    "rest": "within a photo",
}


def gauge_chart(
    readings: Readings, gauge: Gauge, persons: tuple[str, ...], title: str, unit: str
) -> Drawing:
    """One quantity's study."""
    heading = f"{title}, {unit}: every reading of every shell"
    sheet = Drawing(WIDTH, HEIGHT, [_amid(40, 50, heading, size=TITLE)], heading)
    _readings(sheet, readings, (130.0, 120.0, WIDTH - 40.0, 800.0))
    _legend(sheet, persons, 905.0)
    _bars(sheet, gauge, 1020.0, unit)
    return sheet


def _amid(x: float, y: float, words: str, anchor: Anchor = "start", size: float = LETTER) -> Text:
    return Text((x, y), words, size, anchor, "middle")


def _readings(sheet: Drawing, readings: Readings, frame: tuple[float, float, float, float]) -> None:
    left, top, right, bottom = frame
    low, high = float(readings.values.min()), float(readings.values.max())
    step, places = round_step(max(high - low, 1e-9) / 8)
    low, high = np.floor(low / step) * step, np.ceil(high / step) * step
    high = max(high, low + step)

    def y(value: float) -> float:
        return float(bottom - (value - low) / (high - low) * (bottom - top))

    for tick in ticks(low, high, step):
        sheet.add(polyline((left, y(tick)), (right, y(tick)), colour=FAINT))
        sheet.add(_amid(left - 12, y(tick), f"{tick:.{places}f}", "end"))
    shells = np.unique(readings.shell)
    mean = {s: float(readings.values[readings.shell == s].mean()) for s in shells}
    order = sorted(shells, key=lambda s: mean[s])
    gap = (right - left) / len(order)
    for place, shell in enumerate(order):
        x = left + (place + 0.5) * gap
        mine = readings.shell == shell
        values = readings.values[mine]
        sheet.add(polyline((x, y(values.min())), (x, y(values.max())), colour=FAINT, width=4))
        for value, person in zip(values, readings.person[mine], strict=True):
            sheet.add(Spot((x, y(value)), min(14.0, 0.6 * gap + 4), MARKS[person % len(MARKS)]))
    sheet.add(_amid((left + right) / 2, bottom + 40, "shells, from small to large", "middle"))


def _legend(sheet: Drawing, persons: tuple[str, ...], y: float) -> None:
    if len(persons) < 2:
        return
    x = 130.0
    for number, person in enumerate(persons[: len(MARKS)]):
        words = printable(person or "not told")[:18]
        width = text_width(words, LETTER) + 60
        if x + width > WIDTH - 40:
            x, y = 130.0, y + 44
        sheet.add(Spot((x, y), 18, MARKS[number]), _amid(x + 22, y, words))
        x += width
    if len(persons) > len(MARKS):
        more = f"and {len(persons) - len(MARKS)} more, marked as these again"
        sheet.add(_amid(130, y + 44, more))


def _bars(sheet: Drawing, gauge: Gauge, top: float, unit: str) -> None:
    heading = f"Where the spread comes from (standard deviation, {unit})"
    sheet.add(_amid(40, top, heading, size=TITLE))
    components = gauge.components
    sds = np.sqrt(np.maximum(components.variance, 0))
    room = WIDTH - 340 - 150
    for row, (term, sd) in enumerate(zip(components.terms, sds, strict=True)):
        y = top + 80 + 66 * row
        length = float(room * sd / max(sds.max(), 1e-12))
        sheet.add(
            _amid(320, y, WORDS[term], "end"),
            rect((340, y - 20), (max(2.0, length), 40), fill=INK),
            _amid(355 + length, y, f"{sd:.3f}"),
        )
