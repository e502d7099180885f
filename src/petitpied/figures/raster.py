"""A drawing as pixels: pictures to look at on a phone, and as PNG and JPEG without header facts."""

from collections.abc import Sequence
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from petitpied.figures.drawing import (
    CAPITALS,
    HALO,
    TEXT_HALO_REL,
    Circle,
    Drawing,
    Path,
    Picture,
    Point,
    Shape,
    Text,
    plain,
    turned_shift,
)
from petitpied.figures.letters import set_line, text_width
from petitpied.figures.look import Rgb, bgr

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float64]

SUB_PX = 4  # bits below a pixel in OpenCV's drawing
FINE = 2  # a PNG is drawn at so many times its size, then reduced
JPEG_QUALITY = 88


def png_bytes(drawing: Drawing) -> bytes:
    """As PNG, a pixel a unit, its lines smoothed."""
    fine: Any = pixels(drawing, FINE)
    size = (round(drawing.width), round(drawing.height))
    return _encoded(".png", cv2.resize(fine, size, interpolation=cv2.INTER_AREA), [])


def jpeg_bytes(drawing: Drawing) -> bytes:
    """As JPEG, a pixel a unit."""
    return _encoded(".jpg", pixels(drawing), [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])


def _encoded(ending: str, picture: Any, options: list[int]) -> bytes:
    done, data = cv2.imencode(ending, picture, options)
    if not done:
        raise ValueError(f"a picture of shape {picture.shape} could not be encoded as {ending}")
    return bytes(data)


def pixels(drawing: Drawing, px_per_unit: float = 1.0) -> Pixels:
    """Pixels (H, W, 3), blue-green-red, on white."""
    size = (round(drawing.height * px_per_unit), round(drawing.width * px_per_unit))
    canvas: Pixels = np.full((*size, 3), 255, np.uint8)
    _draw(canvas, drawing.shapes, _Way(px_per_unit, (0.0, 0.0)))
    return canvas


class _Way:
    """From the drawing's frame to the canvas's, whose whole numbers are pixel middles."""

    def __init__(self, scale: float, shift: Point) -> None:
        self.scale, self.shift = scale, np.asarray(shift)

    def px(self, points: Any) -> Floats:
        return np.asarray((np.asarray(points, float) - self.shift) * self.scale - 0.5, float)

    def fixed(self, points: Any) -> NDArray[np.int32]:
        return np.asarray(np.round(self.px(points) * 2**SUB_PX), np.int32)

    def width(self, units: float) -> int:
        return max(1, round(units * self.scale))


def _draw(canvas: Pixels, shapes: Sequence[Shape], way: _Way) -> None:
    for shape in plain(shapes):
        if isinstance(shape, Path):
            _path(canvas, shape, way)
        elif isinstance(shape, Circle):
            _circle(canvas, shape, way)
        elif isinstance(shape, Text):
            _text(canvas, shape, way)
        elif isinstance(shape, Picture):
            part, size = _part(canvas, shape.at, shape.size, way)
            part[:] = _resized(shape.pixels_bgr, size)[: part.shape[0], : part.shape[1]]
        else:
            part, _ = _part(canvas, shape.at, shape.size, way)
            _draw(part, shape.shapes, _Way(way.scale, shape.shift))


def _part(canvas: Pixels, at: Point, size: Point, way: _Way) -> tuple[Pixels, tuple[int, int]]:
    """The part of the canvas, as far as it reaches, and the whole size (width, height), px."""
    left, top = np.round(way.px(at) + 0.5).astype(int)
    width, height = (max(1, round(side * way.scale)) for side in size)
    return canvas[max(0, top) : top + height, max(0, left) : left + width], (width, height)


def _resized(picture: Any, size: tuple[int, int]) -> Any:
    """In another size (width, height): halved by areas as often as fits, the rest bilinear (one
    step by areas takes five times as long)."""
    while picture.shape[1] >= 2 * size[0] and picture.shape[0] >= 2 * size[1]:
        half = (picture.shape[1] // 2, picture.shape[0] // 2)
        picture = cv2.resize(picture, half, interpolation=cv2.INTER_AREA)
    if picture.shape[1::-1] == size:
        return picture
    return cv2.resize(picture, size, interpolation=cv2.INTER_LINEAR)


def _path(canvas: Any, path: Path, way: _Way) -> None:
    lines = [way.fixed(line) for line in path.lines]
    if path.fill is not None:
        cv2.fillPoly(canvas, lines, bgr(path.fill), cv2.LINE_8, SUB_PX)
    if path.stroke is None:
        return
    closed = path.closed
    if path.dash > 0:
        pieces = [_dashes(np.asarray(one, float), path) for one in path.lines]
        lines, closed = [way.fixed(piece) for some in pieces for piece in some], False
    if path.halo is not None:  # below the line, so its own edge need not be smoothed
        wide = way.width(path.width + 2 * HALO)
        cv2.polylines(canvas, lines, closed, bgr(path.halo), wide, cv2.LINE_8, SUB_PX)
    cv2.polylines(
        canvas, lines, closed, bgr(path.stroke), way.width(path.width), cv2.LINE_AA, SUB_PX
    )


def _dashes(points: Floats, path: Path) -> Floats:
    """Dashes (count, 4, 2) along a line (N, 2), less the round ends that OpenCV gives them. A
    dash is three straight pieces: at a sharp corner it cuts across."""
    ring = np.vstack([points, points[:1]]) if path.closed else points
    along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))])
    count = max(1, round(along[-1] / (2 * path.dash)))
    step = along[-1] / (count if path.closed else count - 0.5)  # an open line ends with a dash
    end = min(path.width / 2, 0.2 * step)
    places = step * np.arange(count)[:, None] + np.linspace(end, step / 2 - end, 4)
    x, y = (np.interp(places, along, ring[:, axis]) for axis in (0, 1))
    return np.stack([x, y], axis=-1)


def _circle(canvas: Any, circle: Circle, way: _Way) -> None:
    x, y = way.fixed(circle.at).tolist()
    radius = round(circle.radius * way.scale * 2**SUB_PX)
    if circle.fill is not None:
        cv2.circle(canvas, (x, y), radius, bgr(circle.fill), cv2.FILLED, cv2.LINE_AA, SUB_PX)
    if circle.stroke is not None:
        wide = way.width(circle.width)
        cv2.circle(canvas, (x, y), radius, bgr(circle.stroke), wide, cv2.LINE_AA, SUB_PX)


def _text(canvas: Pixels, text: Text, way: _Way) -> None:
    size_px = round(text.size * way.scale)
    if not text.text or size_px < 1:
        return
    letters = _letters(text.text, size_px, text.bold)
    width = text_width(text.text, size_px, bold=text.bold)
    along, down = turned_shift(text, width / way.scale)
    middle = np.array([along * way.scale + width / 2, down * way.scale - CAPITALS * size_px / 2])
    turn = np.deg2rad(text.turn_deg)
    cos, sin = np.cos(turn), np.sin(turn)
    centre = way.px(text.at) + 0.5 + np.array([[cos, -sin], [sin, cos]]) @ middle
    rim_px = max(1, round(size_px * TEXT_HALO_REL)) if text.halo is not None else 0
    letters = np.pad(letters, rim_px + 1)
    if text.turn_deg % 360:
        letters = _turned(letters, text.turn_deg)
    if text.halo is not None:
        kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * rim_px + 1, 2 * rim_px + 1))
        _blend(canvas, cv2.dilate(letters, kernel), centre, text.halo)
    _blend(canvas, letters, centre, text.colour)


@cache
def _letters(text: str, size_px: int, bold: bool) -> Any:
    """Coverage (H, W) of the letters, 0 to 255; every line of one size has the same height, the
    middle of its capitals at the middle."""
    width = max(1, round(text_width(text, size_px, bold=bold)))
    image = Image.new("L", (width, max(1, round(size_px * 1.3))))
    set_line(ImageDraw.Draw(image), text, size_px, bold=bold)
    return np.asarray(image)


def _turned(letters: Any, turn_deg: float) -> Any:
    height, width = letters.shape
    turn: Any = cv2.getRotationMatrix2D((width / 2, height / 2), -turn_deg, 1.0)
    cos, sin = abs(turn[0, 0]), abs(turn[0, 1])
    new_width, new_height = int(height * sin + width * cos), int(height * cos + width * sin)
    turn[:, 2] += ((new_width - width) / 2, (new_height - height) / 2)
    return cv2.warpAffine(letters, turn, (new_width, new_height))


def _blend(canvas: Pixels, cover: Any, centre_px: Floats, colour: Rgb) -> None:
    """Lay a colour on the canvas where ``cover`` says, as far as the canvas reaches."""
    left, top = (round(float(c) - n / 2) for c, n in zip(centre_px, cover.shape[::-1], strict=True))
    cover = cover[max(0, -top) :, max(0, -left) :]
    part = canvas[max(0, top) :, max(0, left) :][: cover.shape[0], : cover.shape[1]]
    height, width = part.shape[:2]
    if height == 0 or width == 0:
        return
    share: Any = cv2.merge([cover[:height, :width]] * 3)
    ink: Any = cv2.multiply(share, np.array([*bgr(colour), 0.0]), scale=1 / 255)
    ground: Any = cv2.multiply(part, 255 - share, scale=1 / 255)
    part[:] = cv2.add(ink, ground)
