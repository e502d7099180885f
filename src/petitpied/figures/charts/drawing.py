"""Charts as a few kinds of shapes, shown alike as SVG in the page and as vectors in the PDF.

Unit: a hundredth of the drawing's width stands for nothing physical; x right, y down.
"""

from dataclasses import dataclass
from html import escape
from typing import Literal

from petitpied.figures.look import INK, Mark, Rgb, css

Anchor = Literal["start", "middle", "end"]
#: of the font size: height of capitals (Noto Sans, and near it for the usual page fonts)
CAPITALS = 0.714


@dataclass(frozen=True, slots=True)
class Line:
    """A polyline; dashed where ``dash`` is positive."""

    points: tuple[tuple[float, float], ...]
    colour: Rgb = INK
    width: float = 1.0
    dash: float = 0.0


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle: fill and stroke may be None."""

    x: float
    y: float
    width: float
    height: float
    fill: Rgb | None = None
    stroke: Rgb | None = None


@dataclass(frozen=True, slots=True)
class Spot:
    """A mark about a point, as wide as ``size``."""

    x: float
    y: float
    size: float
    mark: Mark
    colour: Rgb


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text; ``y`` is its base line."""

    x: float
    y: float
    text: str
    size: float = 14.0
    anchor: Anchor = "start"
    colour: Rgb = INK
    bold: bool = False


Shape = Line | Box | Spot | Text


@dataclass(frozen=True)
class Drawing:
    """Shapes on a ground of ``width`` x ``height``; ``alt`` says in words what they show."""

    width: float
    height: float
    shapes: tuple[Shape, ...]
    alt: str


def svg(drawing: Drawing) -> str:
    """Inline SVG; every text escaped."""
    inner = "".join(_element(shape) for shape in drawing.shapes)
    return (
        f'<svg viewBox="0 0 {drawing.width:g} {drawing.height:g}" width="{drawing.width:.0f}" '
        f'height="{drawing.height:.0f}" role="img" aria-label="{escape(drawing.alt)}">{inner}</svg>'
    )


def polyline_of(spot: Spot) -> tuple[tuple[tuple[float, float], ...], ...]:
    """The strokes of a cross, or the outline of a triangle or square."""
    x, y, r = spot.x, spot.y, spot.size / 2
    if spot.mark == "cross":
        return (((x - r, y - r), (x + r, y + r)), ((x - r, y + r), (x + r, y - r)))
    if spot.mark == "triangle":
        return (((x, y - r), (x + r, y + 0.8 * r), (x - r, y + 0.8 * r), (x, y - r)),)
    a = 0.85 * r
    return (((x - a, y - a), (x + a, y - a), (x + a, y + a), (x - a, y + a), (x - a, y - a)),)


def _element(shape: Shape) -> str:
    if isinstance(shape, Line):
        dash = f' stroke-dasharray="{shape.dash:g}"' if shape.dash > 0 else ""
        return (
            f'<polyline points="{_points(shape.points)}" fill="none" stroke="{css(shape.colour)}" '
            f'stroke-width="{shape.width:g}"{dash}/>'
        )
    if isinstance(shape, Box):
        fill = "none" if shape.fill is None else css(shape.fill)
        stroke = "none" if shape.stroke is None else css(shape.stroke)
        return (
            f'<rect x="{shape.x:.1f}" y="{shape.y:.1f}" width="{shape.width:.1f}" '
            f'height="{shape.height:.1f}" fill="{fill}" stroke="{stroke}"/>'
        )
    if isinstance(shape, Spot):
        return _spot(shape)
    weight = ' font-weight="700"' if shape.bold else ""
    return (
        f'<text x="{shape.x:.1f}" y="{shape.y:.1f}" font-size="{shape.size:g}" '
        f'text-anchor="{shape.anchor}" fill="{css(shape.colour)}"{weight}>'
        f"{escape(shape.text)}</text>"
    )


def _spot(spot: Spot) -> str:
    colour = css(spot.colour)
    if spot.mark in ("disc", "ring"):
        fill = colour if spot.mark == "disc" else "#ffffff"
        r = spot.size / 2
        return (
            f'<circle cx="{spot.x:.1f}" cy="{spot.y:.1f}" r="{r - 0.75:.2f}" fill="{fill}" '
            f'stroke="{colour}" stroke-width="1.5"/>'
        )
    fill = colour if spot.mark == "triangle" else "#ffffff" if spot.mark == "square" else "none"
    return "".join(
        f'<polyline points="{_points(line)}" fill="{fill}" stroke="{colour}" stroke-width="2"/>'
        for line in polyline_of(spot)
    )


def _points(points: tuple[tuple[float, float], ...]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
