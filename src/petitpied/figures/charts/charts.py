"""The report's charts, as drawings: diameters, counts, and a plan of the tray."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import floor

import numpy as np

from petitpied.figures import look
from petitpied.figures.axes import round_step, ticks
from petitpied.figures.drawing import Anchor, Drawing, Shape, Spot, Text, polyline, rect
from petitpied.figures.letters import text_width
from petitpied.text.wording import printable

WIDTH = 520.0  # on a phone of 390 px the letters are 12 px high
LETTER = 17.0
PAD = 24.0
MOST_BINS = 26  # so that a mark stays as large as a letter
LARGEST_SPOT = 20.0
PLOT_HEIGHT = 260.0


@dataclass(frozen=True, slots=True)
class Sized:
    """One shell on the diameter chart: value and verdict (a key of `look.VERDICTS`, or "")."""

    value: float
    verdict: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A limit or target on the axis, with its word."""

    value: float
    word: str


def diameter_chart(sized: Sequence[Sized], marks: Sequence[Mark], unit: str) -> Drawing:
    """One mark a shell, stacked by diameter; limits as dashed lines with their words above.

    A dot plot after Wilkinson (The American Statistician 53, 1999) with fixed bins.
    """
    shown = [s.value for s in sized] + [m.value for m in marks]
    low, high, labels = _axis(min(shown), max(shown))
    bin_mm = round_step((high - low) / MOST_BINS)[0]
    columns = [floor((s.value - low) / bin_mm + 1e-9) for s in sized]
    tallest = max(Counter(columns).values())
    across = (WIDTH - 2 * PAD) / (high - low)
    spot = min(LARGEST_SPOT, 0.92 * bin_mm * across, PLOT_HEIGHT / tallest)
    top = PAD + (LETTER * 1.3 * min(3, len(marks)) if marks else 0.0)
    floor_y = top + max(60.0, tallest * spot + 6.0)

    def x_of(value: float) -> float:
        return PAD + (value - low) * across

    shapes: list[Shape] = [polyline((PAD, floor_y), (WIDTH - PAD, floor_y), width=1.5)]
    for value, label in labels:
        shapes.append(polyline((x_of(value), floor_y), (x_of(value), floor_y + 6), width=1.0))
        shapes.append(Text((x_of(value), floor_y + 24), label, LETTER, "middle"))
    axis = f"diameter, {unit}"
    shapes.append(Text((WIDTH / 2, floor_y + 46), axis, LETTER, "middle", colour=look.QUIET))
    for row, mark in enumerate(sorted(marks, key=lambda m: m.value)):
        x, y = x_of(mark.value), PAD + LETTER * 1.3 * (row % 3)
        shapes.append(polyline((x, y + 4), (x, floor_y), width=1.5, dash=5.0))
        anchor: Anchor = "start" if x < WIDTH * 0.2 else "end" if x > WIDTH * 0.8 else "middle"
        shapes.append(Text((x, y), mark.word, LETTER * 0.88, anchor))
    seen: Counter[int] = Counter()
    order = list(look.VERDICTS)
    ranked = sorted(
        zip(columns, sized, strict=True),
        key=lambda pair: (order.index(pair[1].verdict) if pair[1].verdict in order else -1),
    )
    for column, shell in ranked:
        kind = look.VERDICTS.get(shell.verdict, look.PLAIN)
        x = x_of(low + (column + 0.5) * bin_mm)
        y = floor_y - spot * (seen[column] + 0.5) - 2
        shapes.append(Spot((x, y), spot - 1.0, kind.mark, kind.colour))
        seen[column] += 1
    y = floor_y + 74
    kinds = [k for k in look.VERDICTS if any(s.verdict == k for s in sized)]
    shapes += _legend(kinds, y)
    height = y + 14 if kinds else floor_y + 58
    return Drawing(WIDTH, height, shapes, _alt(sized, marks, unit))


def _legend(kinds: Sequence[str], y: float) -> list[Shape]:
    shapes: list[Shape] = []
    x = PAD
    for kind in kinds:
        verdict = look.VERDICTS[kind]
        shapes.append(Spot((x + 8, y - 6), 16, verdict.mark, verdict.colour))
        shapes.append(Text((x + 22, y), verdict.word, LETTER))
        x += 40 + text_width(verdict.word, LETTER)
    return shapes


def _alt(sized: Sequence[Sized], marks: Sequence[Mark], unit: str) -> str:
    values = np.array([s.value for s in sized])
    words = (
        f"Distribution of {len(values)} diameters, from {values.min():.1f} to "
        f"{values.max():.1f} {unit}, median {np.median(values):.1f} {unit}."
    )
    if marks:
        words += " Marked: " + ", ".join(f"{m.word}" for m in marks) + "."
    return words


def _axis(low: float, high: float) -> tuple[float, float, list[tuple[float, str]]]:
    """Ends of an axis of about eight ticks, and its labels."""
    step, places = round_step(max(high - low, 0.4) / 8)
    first = floor(low / step) * step
    last = (floor(high / step) + 1) * step
    return first, last, [(tick, f"{tick:.{places}f}") for tick in ticks(first, last, step)]


def count_chart(counts: Sequence[tuple[str, int]], of: int) -> Drawing:
    """Bars of counts with their words at the left and the number at the end."""
    step = 34.0
    room = 0.42 * WIDTH
    longest = max((n for _, n in counts), default=1) or 1
    shapes: list[Shape] = []
    for row, (word, count) in enumerate(counts):
        y = 8 + row * step
        length = (WIDTH - room - 90) * count / longest
        shapes.append(Text((room - 10, y + 20), _short(word), LETTER, "end"))
        shapes.append(rect((room, y + 4), (max(1.0, length), step - 12), fill=look.BLUE))
        shapes.append(Text((room + length + 8, y + 20), f"{count} of {of}", LETTER))
    alt = "; ".join(f"{word}: {count} of {of}" for word, count in counts) + "."
    return Drawing(WIDTH, 16 + step * len(counts), shapes, alt)


def _short(word: str) -> str:
    return word if len(word) <= 34 else word[:33] + "…"


@dataclass(frozen=True, slots=True)
class Planned:
    """A shell on the plan: id, middle and diameter in mm, verdict as in `Sized`."""

    id: str
    x_mm: float
    y_mm: float
    diameter_mm: float
    verdict: str = ""


def tray_plan(shells: Sequence[Planned]) -> Drawing:
    """Shells as circles in the tray frame, door at the bottom; each with its id and mark."""
    reach = max(s.diameter_mm for s in shells) / 2 + 4
    left, top = min(s.x_mm for s in shells) - reach, min(s.y_mm for s in shells) - reach
    right, bottom = max(s.x_mm for s in shells) + reach, max(s.y_mm for s in shells) + reach
    scale = min(WIDTH / (right - left), WIDTH / (bottom - top))
    shapes: list[Shape] = []
    for shell in shells:
        x, y = (shell.x_mm - left) * scale, (shell.y_mm - top) * scale
        kind = look.VERDICTS.get(shell.verdict, look.PLAIN)
        shapes.append(Spot((x, y), shell.diameter_mm * scale, "ring"))
        shapes.append(Text((x, y + 2), printable(shell.id), LETTER, "middle", bold=True))
        if shell.verdict:
            shapes.append(Spot((x, y + 18), 14, kind.mark, kind.colour))
        else:
            size = f"{shell.diameter_mm:.1f}"
            shapes.append(Text((x, y + 20), size, LETTER * 0.88, "middle"))
    height = (bottom - top) * scale
    middle = (right - left) * scale / 2
    door = Text((middle, height + 20), "oven door", LETTER, "middle", colour=look.QUIET)
    alt = f"Plan of the tray with {len(shells)} shells, the oven door at the bottom."
    return Drawing((right - left) * scale, height + 30, [*shapes, door], alt)
