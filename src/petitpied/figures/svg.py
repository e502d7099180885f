"""A drawing as SVG: a file of its own, or inside a page. Every text is escaped."""

import base64
from collections.abc import Sequence
from html import escape

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.figures.drawing import (
    CAPITALS,
    HALO,
    TEXT_HALO_REL,
    Circle,
    Drawing,
    Path,
    Picture,
    Shape,
    Text,
    Window,
    plain,
)
from petitpied.figures.look import Rgb, css
from petitpied.text.wording import printable

FONTS = "Noto Sans, Helvetica, Arial, sans-serif"


def svg_bytes(drawing: Drawing) -> bytes:
    """A file, on white."""
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" {_size(drawing)} font-family="{FONTS}">'
        '<rect width="100%" height="100%" fill="#ffffff"/>'
    )
    return "\n".join([head, *_elements(drawing.shapes), "</svg>\n"]).encode()


def inline_svg(drawing: Drawing) -> str:
    """An element of a page, with its words for those who do not see it."""
    inner = "".join(_elements(drawing.shapes))
    return f'<svg {_size(drawing)} role="img" aria-label="{escape(drawing.alt)}">{inner}</svg>'


def _size(drawing: Drawing) -> str:
    unit = "" if drawing.unit == "px" else drawing.unit
    width, height = _n(drawing.width), _n(drawing.height)
    return f'viewBox="0 0 {width} {height}" width="{width}{unit}" height="{height}{unit}"'


def _elements(shapes: Sequence[Shape]) -> list[str]:
    return [_element(shape) for shape in plain(shapes)]


def _element(shape: Path | Circle | Text | Picture | Window) -> str:
    if isinstance(shape, Path):
        return _path(shape)
    if isinstance(shape, Circle):
        x, y = map(_n, shape.at)
        paint = _paint(shape.fill, shape.stroke, shape.width)
        return f'<circle cx="{x}" cy="{y}" r="{_n(shape.radius)}" {paint}/>'
    if isinstance(shape, Text):
        return _text(shape)
    place = " ".join(
        f'{name}="{_n(value)}"'
        for name, value in zip(
            ("x", "y", "width", "height"), (*shape.at, *shape.size), strict=True
        )
    )
    if isinstance(shape, Picture):
        data = base64.b64encode(cv2.imencode(".png", shape.pixels_bgr)[1].tobytes()).decode()
        return (
            f'<image {place} preserveAspectRatio="none" href="data:image/png;base64,{data}"/>'
        )
    view = " ".join(map(_n, (*shape.shift, *shape.size)))
    return f'<svg {place} viewBox="{view}">{"".join(_elements(shape.shapes))}</svg>'


def _path(path: Path) -> str:
    way = "".join(_way(np.asarray(line, float), path.closed) for line in path.lines)
    paint = _paint(path.fill, path.stroke, path.width)
    dash = f' stroke-dasharray="{_n(path.dash)}"' if path.dash > 0 else ""
    below = ""
    if path.halo is not None:
        below = f'<path d="{way}" {_paint(None, path.halo, path.width + 2 * HALO)}{dash}/>'
    return f'{below}<path d="{way}" fill-rule="evenodd" {paint}{dash}/>'


def _way(points: NDArray[np.float64], closed: bool) -> str:
    places = " ".join(f"{_n(x)},{_n(y)}" for x, y in points)
    return f"M{places}" + ("z" if closed else "")


def _text(text: Text) -> str:
    x, y = text.at
    down = CAPITALS * text.size / 2 if text.level == "middle" else 0.0
    more = ' font-weight="700"' if text.bold else ""
    if text.turn_deg % 360:
        more += f' transform="rotate({_n(text.turn_deg)} {_n(x)} {_n(y)})"'
    if text.halo is not None:
        width = _n(2 * TEXT_HALO_REL * text.size)
        more += f' stroke="{css(text.halo)}" stroke-width="{width}" paint-order="stroke"'
    return (
        f'<text x="{_n(x)}" y="{_n(y + down)}" font-size="{_n(text.size)}" '
        f'text-anchor="{text.anchor}" fill="{css(text.colour)}"{more}>'
        f"{escape(printable(text.text))}</text>"
    )


def _paint(fill: Rgb | None, stroke: Rgb | None, width: float) -> str:
    inside = "none" if fill is None else css(fill)
    if stroke is None:
        return f'fill="{inside}"'
    return f'fill="{inside}" stroke="{css(stroke)}" stroke-width="{_n(width)}"'


def _n(value: float) -> str:
    """A number to a thousandth of a unit, without zeros behind."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
