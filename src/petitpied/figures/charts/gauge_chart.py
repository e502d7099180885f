"""The chart of a repeatability study: every reading of every shell, and where spread comes from.

Drawn at twice the size and reduced; persons are told apart by the shape of their marks.
"""

import io
from typing import Any

import numpy as np
from PIL import Image, ImageDraw

from petitpied.figures.look import FAINT, INK, PAPER
from petitpied.figures.script_fonts import font
from petitpied.statistics.gauge_study import Gauge, Readings
from petitpied.text.wording import printable

WIDTH, HEIGHT = 1080, 1500  # a phone held upright
FINE = 2
LETTER = 30
MARKS = ("circle", "square", "triangle", "diamond", "cross", "ring")
#: component to the words under its bar
WORDS = {
    "shell": "shells themselves",
    "person": "person",
    "interaction": "person and shell",
    "photo": "photo to photo",
    "rest": "within a photo",
}


class _Sheet:
    """A drawing surface in units of the finished picture."""

    def __init__(self) -> None:
        self.image = Image.new("RGB", (WIDTH * FINE, HEIGHT * FINE), PAPER)
        self.draw = ImageDraw.Draw(self.image)

    def line(self, *points: tuple[float, float], width: float = 2, colour: Any = INK) -> None:
        self.draw.line([(x * FINE, y * FINE) for x, y in points], colour, round(width * FINE))

    def box(self, x0: float, y0: float, x1: float, y1: float, *, fill: Any = INK) -> None:
        self.draw.rectangle([v * FINE for v in (x0, y0, x1, y1)], fill, INK, 2 * FINE)

    def text(
        self, x: float, y: float, words: str, *, anchor: str = "lm", size: int = LETTER
    ) -> None:
        letters = font(size * FINE)
        self.draw.text((x * FINE, y * FINE), words, INK, font=letters, anchor=anchor)

    def mark(self, x: float, y: float, kind: str, size: float = 7) -> None:
        a, b = x - size, x + size
        if kind in ("circle", "ring"):
            fill = INK if kind == "circle" else PAPER
            edges = [v * FINE for v in (a, y - size, b, y + size)]
            self.draw.ellipse(edges, fill, INK, 2 * FINE)
        elif kind == "square":
            self.box(a + 1, y - size + 1, b - 1, y + size - 1, fill=PAPER)
        elif kind == "cross":
            self.line((a, y - size), (b, y + size), width=3)
            self.line((a, y + size), (b, y - size), width=3)
        else:
            corners = [(x, y - size - 2), (b + 2, y + size), (a - 2, y + size)]
            if kind == "diamond":
                corners = [(x, y - size - 3), (b + 3, y), (x, y + size + 3), (a - 3, y)]
            points = [(u * FINE, v * FINE) for u, v in corners]
            self.draw.polygon(points, PAPER if kind == "triangle" else INK, INK, 2 * FINE)

    def png(self) -> bytes:
        stream = io.BytesIO()
        small = self.image.resize((WIDTH, HEIGHT), Image.Resampling.LANCZOS)
        small.save(stream, "PNG", optimize=True)
        return stream.getvalue()


def _round_step(span: float, most: int) -> float:
    """A step of 1, 2 or 5 times a power of ten, at most ``most`` of them in ``span``."""
    rough = max(span, 1e-9) / most
    power = 10.0 ** np.floor(np.log10(rough))
    return float(next(f * power for f in (1, 2, 5, 10) if f * power >= rough * (1 - 1e-9)))


def gauge_chart(
    readings: Readings, gauge: Gauge, persons: tuple[str, ...], title: str, unit: str
) -> bytes:
    """PNG of one quantity's study."""
    sheet = _Sheet()
    sheet.text(40, 50, f"{title}, {unit}: every reading of every shell", size=34)
    _readings(sheet, readings, (130.0, 120.0, WIDTH - 40.0, 800.0))
    _legend(sheet, persons, 905.0)
    _bars(sheet, gauge, 1020.0, unit)
    return sheet.png()


def _readings(sheet: _Sheet, readings: Readings, frame: tuple[float, float, float, float]) -> None:
    left, top, right, bottom = frame
    low, high = float(readings.values.min()), float(readings.values.max())
    step = _round_step(high - low, 8)
    low, high = np.floor(low / step) * step, np.ceil(high / step) * step
    high = max(high, low + step)
    places = max(0, -int(np.floor(np.log10(step) + 1e-9)))

    def y(value: float) -> float:
        return float(bottom - (value - low) / (high - low) * (bottom - top))

    for tick in np.arange(low, high + step / 2, step):
        sheet.line((left, y(tick)), (right, y(tick)), colour=FAINT)
        sheet.text(left - 12, y(tick), f"{tick:.{places}f}", anchor="rm")
    shells = np.unique(readings.shell)
    mean = {s: float(readings.values[readings.shell == s].mean()) for s in shells}
    order = sorted(shells, key=lambda s: mean[s])
    gap = (right - left) / len(order)
    for place, shell in enumerate(order):
        x = left + (place + 0.5) * gap
        mine = readings.shell == shell
        values = readings.values[mine]
        sheet.line((x, y(values.min())), (x, y(values.max())), colour=FAINT, width=4)
        for value, person in zip(values, readings.person[mine], strict=True):
            sheet.mark(x, y(value), MARKS[person % len(MARKS)], min(7.0, 0.3 * gap + 2))
    sheet.text((left + right) / 2, bottom + 40, "shells, from small to large", anchor="mm")


def _legend(sheet: _Sheet, persons: tuple[str, ...], y: float) -> None:
    if len(persons) < 2:
        return
    x = 130.0
    for number, person in enumerate(persons[: len(MARKS)]):
        words = printable(person or "not told")[:18]
        width = float(font(LETTER).getlength(words)) + 60
        if x + width > WIDTH - 40:
            x, y = 130.0, y + 44
        sheet.mark(x, y, MARKS[number], 9)
        sheet.text(x + 22, y, words)
        x += width
    if len(persons) > len(MARKS):
        sheet.text(130, y + 44, f"and {len(persons) - len(MARKS)} more, marked as these again")


def _bars(sheet: _Sheet, gauge: Gauge, top: float, unit: str) -> None:
    sheet.text(40, top, f"Where the spread comes from (standard deviation, {unit})", size=34)
    components = gauge.components
    sds = np.sqrt(np.maximum(components.variance, 0))
    room = WIDTH - 340 - 150
    for row, (term, sd) in enumerate(zip(components.terms, sds, strict=True)):
        y = top + 80 + 66 * row
        sheet.text(320, y, WORDS[term], anchor="rm")
        sheet.box(340, y - 20, 340 + max(2.0, room * sd / max(sds.max(), 1e-12)), y + 20)
        sheet.text(355 + room * sd / max(sds.max(), 1e-12), y, f"{sd:.3f}")
