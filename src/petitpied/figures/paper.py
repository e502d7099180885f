"""Paper: the sizes of pages, and the bar that shows whether they were printed true."""

from petitpied.figures.drawing import Path, Point, Shape, Text
from petitpied.figures.look import Rgb

#: width and height, mm; A4 and A3 by ISO 216, US Letter by ANSI/ASME Y14.1 (8.5 x 11 inch)
PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a3": (297.0, 420.0)}
PAPER_NAMES = {"a4": "A4", "letter": "US Letter", "a3": "A3"}
#: printed black, not the ink of screens: a printer sets it without colour
BLACK: Rgb = (0, 0, 0)
HAIRLINE_MM = 0.15
BAR_MM = 100


def grey(level: float) -> Rgb:
    """A grey from 0, black, to 1, the paper."""
    tone = round(255 * level)
    return tone, tone, tone


def hairlines(*lines: tuple[Point, Point]) -> Path:
    """Straight lines from point to point, mm."""
    return Path(lines, stroke=BLACK, width=HAIRLINE_MM)


def scale_bar(left_mm: float, y_mm: float, *, numbered: bool = False) -> list[Shape]:
    """A bar of 100 mm on its ticks, one every 10 mm; ``numbered``: with numbers, and short ticks
    every 5 mm."""
    lines = [((left_mm, y_mm), (left_mm + BAR_MM, y_mm))]
    shapes: list[Shape] = []
    for mm in range(0, BAR_MM + 1, 5 if numbered else 10):
        x, tick = left_mm + mm, 2.4 if mm % 50 == 0 else 1.8 if mm % 10 == 0 else 1.2
        lines.append(((x, y_mm), (x, y_mm - tick)))
        if numbered and mm % 10 == 0:
            shapes.append(Text((x, y_mm - 3.6), str(mm), 3.2, "middle", colour=BLACK))
    return [hairlines(*lines), *shapes]
