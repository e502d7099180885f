"""Letters: how wide a line is, where it breaks, and setting it with Pillow."""

from collections.abc import Iterator, Sequence
from functools import cache
from typing import Any

from petitpied.figures.drawing import Text
from petitpied.figures.script_fonts import BASE, BOLD, font_path, font_runs


@cache
def font(size_px: int, name: str = BASE) -> Any:
    """One of our fonts at a size, for Pillow."""
    from PIL import ImageFont

    return ImageFont.truetype(font_path(name), size_px)


def _runs(text: str, size_px: int, bold: bool) -> Iterator[tuple[str, Any]]:
    for part, name in font_runs(text):
        yield part, font(size_px, BOLD if bold and name == BASE else name)


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Width of one line, every script in its font; of whole sizes, as pictures set it."""
    return float(sum(f.getlength(part) for part, f in _runs(text, round(size), bold)))


def set_line(draw: Any, text: str, size_px: int, *, bold: bool) -> None:
    """Set one line in white with Pillow, its base line's left end at (0, 1.005 of its size):
    amid a line of 1.3 times the size, by the height of its capitals."""
    x = 0.0
    for part, letters in _runs(text, size_px, bold):
        draw.text((x, size_px * 1.005), part, fill=255, font=letters, anchor="ls")
        x += letters.getlength(part)


def wrapped(text: str, size: float, width: float) -> Iterator[str]:
    """Lines of whole words that fit into the width; a longer word stands alone."""
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if line and text_width(longer, size) > width:
            yield line
            longer = word
        line = longer
    if line:
        yield line


def fitting(text: str, size: float, width: float) -> float:
    """The size, made smaller where the text would be wider than ``width``."""
    return min(size, size * width / max(text_width(text, size), 1.0))


def column(lines: Sequence[str], left: float, top: float, size: float, pitch: float) -> list[Text]:
    """Lines under each other, the first in the middle of the first ``pitch``."""
    return [
        Text((left, top + (n + 0.5) * pitch), line, size, level="middle")
        for n, line in enumerate(lines)
    ]
