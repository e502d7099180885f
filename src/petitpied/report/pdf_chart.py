"""A chart's shapes as vectors of the PDF."""

from collections.abc import Callable
from typing import Any

from petitpied.figures import look
from petitpied.figures.charts.drawing import Box, Drawing, Line, Spot, Text, polyline_of

PT_MM = 25.4 / 72


def draw_chart(pdf: Any, drawing: Drawing, scale: float, clean: Callable[[str], str]) -> None:
    """At the pen's place, ``scale`` mm for each unit of the drawing; the pen moves below it."""
    left, top = pdf.l_margin, pdf.get_y()
    for shape in drawing.shapes:
        if isinstance(shape, Line):
            points = [(left + scale * x, top + scale * y) for x, y in shape.points]
            _polyline(pdf, points, shape, scale)
        elif isinstance(shape, Box):
            _box(pdf, shape, (left, top), scale)
        elif isinstance(shape, Spot):
            _spot(pdf, shape, (left, top), scale)
        else:
            _text(pdf, shape, (left, top), scale, clean)
    pdf.set_dash_pattern()
    pdf.set_xy(left, top + scale * drawing.height + 1.0)


def _polyline(pdf: Any, points: list[tuple[float, float]], line: Line, scale: float) -> None:
    pdf.set_draw_color(*line.colour)
    pdf.set_line_width(max(0.1, scale * line.width))
    pdf.set_dash_pattern(*((scale * line.dash,) * 2 if line.dash > 0 else ()))
    pdf.polyline(points)
    pdf.set_dash_pattern()


def _box(pdf: Any, box: Box, origin: tuple[float, float], scale: float) -> None:
    style = ("D" if box.stroke is not None else "") + ("F" if box.fill is not None else "")
    if not style:
        return
    pdf.set_draw_color(*(box.stroke or look.INK))
    pdf.set_fill_color(*(box.fill or look.PAPER))
    pdf.set_line_width(max(0.1, scale))
    x, y = origin[0] + scale * box.x, origin[1] + scale * box.y
    pdf.rect(x, y, scale * box.width, scale * box.height, style=style)


def _spot(pdf: Any, spot: Spot, origin: tuple[float, float], scale: float) -> None:
    pdf.set_draw_color(*spot.colour)
    pdf.set_line_width(scale * 1.5)
    if spot.mark in ("disc", "ring"):
        pdf.set_fill_color(*(spot.colour if spot.mark == "disc" else look.PAPER))
        radius = scale * (spot.size / 2 - 0.75)
        pdf.circle(origin[0] + scale * spot.x, origin[1] + scale * spot.y, radius, style="DF")
        return
    filled = spot.mark in ("triangle", "square")
    pdf.set_fill_color(*(spot.colour if spot.mark == "triangle" else look.PAPER))
    for stroke in polyline_of(spot):
        points = [(origin[0] + scale * x, origin[1] + scale * y) for x, y in stroke]
        pdf.polyline(points, polygon=filled, style="DF" if filled else "D")


def _text(
    pdf: Any, text: Text, origin: tuple[float, float], scale: float, clean: Callable[[str], str]
) -> None:
    words = clean(text.text)
    pdf.set_font("Base", "B" if text.bold else "", scale * text.size / PT_MM)
    pdf.set_text_color(*text.colour)
    width = pdf.get_string_width(words)
    shift = {"start": 0.0, "middle": width / 2, "end": width}[text.anchor]
    pdf.text(origin[0] + scale * text.x - shift, origin[1] + scale * text.y, words)
