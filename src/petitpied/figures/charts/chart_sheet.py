"""A sheet of lines, marks and words, written as SVG or as PNG: black on white, for a phone."""

import io
from dataclasses import dataclass, field
from html import escape
from typing import Literal

from PIL import Image, ImageDraw

from petitpied.figures import look
from petitpied.figures.look import css
from petitpied.figures.script_fonts import line_width_px, set_line
from petitpied.text.wording import printable

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]

FINE = 2  # the PNG is drawn at so many times its size, then reduced
INK, GREY, PAPER = css(look.INK), css(look.GREY), css(look.PAPER)
_SHIFT = {"start": 0.0, "middle": 0.5, "end": 1.0}  # of the text's width


@dataclass(frozen=True, slots=True)
class Line:
    points: tuple[Point, ...]
    width: float = 2.0
    dash: tuple[float, float] | None = None  # drawn, left out
    ink: str = INK


@dataclass(frozen=True, slots=True)
class Dot:
    """A round mark; hollow: a ring."""

    at: Point
    radius: float
    hollow: bool = False
    width: float = 3.0


@dataclass(frozen=True, slots=True)
class Words:
    """One line of text on its base line."""

    at: Point
    text: str
    size: float = 28.0
    anchor: Anchor = "start"


@dataclass(frozen=True)
class Sheet:
    """Shapes in the order in which they are drawn, in units of the finished picture."""

    width: int
    height: int
    shapes: list[Line | Dot | Words] = field(default_factory=list)

    def add(self, *shapes: Line | Dot | Words) -> None:
        self.shapes.extend(shapes)


def svg_bytes(sheet: Sheet) -> bytes:
    """The sheet as SVG."""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {sheet.width} {sheet.height}" '
        f'width="{sheet.width}" height="{sheet.height}" '
        'font-family="Noto Sans, Helvetica, Arial, sans-serif">',
        f'<rect width="100%" height="100%" fill="{PAPER}"/>',
        *map(_svg, sheet.shapes),
        "</svg>\n",
    ]
    return "\n".join(parts).encode()


def _svg(shape: Line | Dot | Words) -> str:
    if isinstance(shape, Line):
        points = " ".join(f"{x:.1f},{y:.1f}" for x, y in shape.points)
        dash = "" if shape.dash is None else f' stroke-dasharray="{shape.dash[0]} {shape.dash[1]}"'
        return (
            f'<polyline points="{points}" fill="none" stroke="{shape.ink}" '
            f'stroke-width="{shape.width}"{dash}/>'
        )
    x, y = shape.at
    if isinstance(shape, Dot):
        fill = PAPER if shape.hollow else INK
        opacity = ' fill-opacity="0"' if shape.hollow else ""
        return (
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{shape.radius}" fill="{fill}"{opacity} '
            f'stroke="{INK}" stroke-width="{shape.width if shape.hollow else 0}"/>'
        )
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{shape.size}" text-anchor="{shape.anchor}" '
        f'fill="{INK}">{escape(printable(shape.text))}</text>'
    )


def png_bytes(sheet: Sheet) -> bytes:
    """The sheet as PNG."""
    image = Image.new("L", (sheet.width * FINE, sheet.height * FINE), 255)
    draw = ImageDraw.Draw(image)
    for shape in sheet.shapes:
        _draw(draw, shape)
    stream = io.BytesIO()
    image.resize((sheet.width, sheet.height), Image.Resampling.LANCZOS).save(stream, "PNG")
    return stream.getvalue()


def _draw(draw: ImageDraw.ImageDraw, shape: Line | Dot | Words) -> None:
    if isinstance(shape, Line):
        for piece in _dashes(shape):
            scaled = [(x * FINE, y * FINE) for x, y in piece]
            draw.line(scaled, shape.ink, max(1, round(shape.width * FINE)))
        return
    x, y = shape.at[0] * FINE, shape.at[1] * FINE
    if isinstance(shape, Dot):
        r = shape.radius * FINE
        if shape.hollow:
            draw.ellipse((x - r, y - r, x + r, y + r), None, INK, round(shape.width * FINE))
        else:
            draw.ellipse((x - r, y - r, x + r, y + r), INK)
        return
    words, size = printable(shape.text), round(shape.size * FINE)
    x -= _SHIFT[shape.anchor] * line_width_px(words, size)
    set_line(draw, (x, y), words, size, INK)


def _dashes(line: Line) -> list[tuple[Point, ...]]:
    """The drawn pieces of a line; dashes follow each straight part."""
    if line.dash is None:
        return [line.points]
    drawn, gap = line.dash
    pieces: list[tuple[Point, ...]] = []
    for (x0, y0), (x1, y1) in zip(line.points, line.points[1:], strict=False):
        length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
        start = 0.0
        while start < length:
            a, b = start / length, min(start + drawn, length) / length
            pieces.append(
                ((x0 + a * (x1 - x0), y0 + a * (y1 - y0)), (x0 + b * (x1 - x0), y0 + b * (y1 - y0)))
            )
            start += drawn + gap
    return pieces
