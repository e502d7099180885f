"""Text on pictures: light letters with a dark rim, legible on any ground and without colour."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from petitpied.figures.look import INK, PAPER, bgr
from petitpied.figures.script_fonts import line_width_px, set_line

Pixels = NDArray[np.uint8]
Colour = tuple[int, int, int]  # blue, green, red

DARK: Colour = bgr(INK)
LIGHT: Colour = bgr(PAPER)
#: dark rim around letters and light lines, as part of the letter's size
RIM_REL = 0.09


@dataclass(frozen=True, slots=True)
class Lettering:
    """How a text is set: font size in px, turn in degrees clockwise, colours."""

    size_px: float
    turn_deg: float = 0.0
    ink: Colour = LIGHT
    rim: Colour = DARK


def text_width_px(text: str, size_px: float) -> float:
    """Width of one line."""
    return line_width_px(text, round(size_px))


def wrapped(text: str, size_px: float, width_px: float) -> Iterator[str]:
    """Lines of whole words that fit into the width; a longer word stands alone."""
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if line and text_width_px(longer, size_px) > width_px:
            yield line
            longer = word
        line = longer
    if line:
        yield line


def write_text(canvas: Pixels, text: str, centre_px: tuple[float, float], style: Lettering) -> None:
    """Set one line, its middle at ``centre_px`` (x, y), moved where it would leave the canvas."""
    letters = _letters(text, round(style.size_px))
    rim_px = max(1, round(style.size_px * RIM_REL))
    letters = np.pad(letters, rim_px + 1)
    if style.turn_deg % 360:
        letters = _turned(letters, style.turn_deg)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * rim_px + 1, 2 * rim_px + 1))
    rim = np.asarray(cv2.dilate(letters, kernel), np.uint8)
    _blend(canvas, rim, centre_px, style.rim)
    _blend(canvas, letters, centre_px, style.ink)


@cache
def _letters(text: str, size_px: int) -> Any:
    """Coverage (H, W) of the letters, 0 to 255; every line of one size has the same height."""
    width = max(1, round(text_width_px(text, size_px)))
    image = Image.new("L", (width, round(size_px * 1.3)))
    # the middle of the capitals, 0.71 high, at the middle of the line
    set_line(ImageDraw.Draw(image), (0.0, size_px * 1.005), text, size_px, 255)
    return np.asarray(image)


def _turned(letters: Any, turn_deg: float) -> Any:
    height, width = letters.shape
    turn: Any = cv2.getRotationMatrix2D((width / 2, height / 2), -turn_deg, 1.0)
    cos, sin = abs(turn[0, 0]), abs(turn[0, 1])
    new_width, new_height = int(height * sin + width * cos), int(height * cos + width * sin)
    turn[:, 2] += ((new_width - width) / 2, (new_height - height) / 2)
    return cv2.warpAffine(letters, turn, (new_width, new_height))


def _blend(canvas: Pixels, cover: Any, centre_px: tuple[float, float], colour: Colour) -> None:
    """Lay a colour on the canvas where ``cover`` says, as far as the canvas reaches."""
    height, width = cover.shape
    left = _kept_inside(round(centre_px[0] - width / 2), width, canvas.shape[1])
    top = _kept_inside(round(centre_px[1] - height / 2), height, canvas.shape[0])
    part = canvas[top : top + height, left : left + width]
    height, width = part.shape[:2]
    share: Any = cv2.merge([cover[:height, :width]] * 3)
    ink: Any = cv2.multiply(share, np.array([*colour, 0.0]), scale=1 / 255)
    ground: Any = cv2.multiply(part, 255 - share, scale=1 / 255)
    part[:] = cv2.add(ink, ground)


def _kept_inside(start: int, length: int, limit: int) -> int:
    return max(0, min(start, limit - length))
