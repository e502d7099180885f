"""One look: the colours and marks of pictures, charts, sheets and reports.

Colours differ in lightness, so that a black-and-white print keeps them apart, and in hue as
the common kinds of colour blindness see it (Okabe & Ito 2008: blue against orange). Every
meaning has a mark or a word besides.
"""

from dataclasses import dataclass
from typing import Literal

Rgb = tuple[int, int, int]
Mark = Literal["disc", "ring", "cross", "square", "triangle", "diamond"]

INK: Rgb = (28, 36, 46)  # text and axes
QUIET: Rgb = (88, 98, 110)  # notes; 6:1 on white (WCAG 2.2 asks 4.5:1)
FAINT: Rgb = (214, 220, 226)  # grids and borders
PALE: Rgb = (243, 239, 233)  # grounds: the colour of an almond
PAPER: Rgb = (255, 255, 255)
BLUE: Rgb = (10, 84, 140)  # good, ours, main
ORANGE: Rgb = (196, 98, 16)  # to look at
PLUM: Rgb = (92, 24, 66)  # bad
AMBER: Rgb = (255, 215, 80)  # an odd one out on a photo, over a dark line
GREY: Rgb = (140, 140, 140)  # lines of charts that only lead the eye


@dataclass(frozen=True, slots=True)
class Verdict:
    """How a verdict is shown: word, colour, mark."""

    word: str
    colour: Rgb
    mark: Mark


VERDICTS = {
    "pass": Verdict("pass", BLUE, "disc"),
    "check by eye": Verdict("check by eye", QUIET, "ring"),
    "second": Verdict("second", ORANGE, "triangle"),
    "reject": Verdict("reject", PLUM, "cross"),
    "not measured": Verdict("not measured", QUIET, "square"),
}
PLAIN = Verdict("shell", BLUE, "disc")


def css(colour: Rgb) -> str:
    """As "#0a548c"."""
    return "#{:02x}{:02x}{:02x}".format(*colour)


def bgr(colour: Rgb) -> tuple[int, int, int]:
    """For OpenCV's drawing."""
    return colour[2], colour[1], colour[0]
