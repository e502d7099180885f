"""A drawing: shapes, text and pictures in true units, the same for every way to show it.

x right, y down; (0, 0) is the upper left corner of the drawing, so that a picture's first pixel has
its middle at (0.5, 0.5).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from petitpied.figures.look import INK, PAPER, Mark, Rgb

Anchor = Literal["start", "middle", "end"]
Level = Literal["base", "middle"]
Point = tuple[float, float]

#: height of capitals as part of the font size (Noto Sans, its OS/2 table: 714 of 1000)
CAPITALS = 0.714
#: a line's halo reaches so far beyond it on each side, in the drawing's units
HALO = 2.0
#: the halo of letters, as part of their size
TEXT_HALO_REL = 0.09


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """Lines or outlines (N, 2), filled as one by the even-odd rule, then stroked.

    ``dash``: dashes, and the gaps between them, of this length. ``halo``: a wider stroke of this
    colour lies below, so that the line shows on any photo.
    """

    lines: Sequence[ArrayLike]
    closed: bool = False
    fill: Rgb | None = None
    stroke: Rgb | None = INK
    width: float = 2.0
    dash: float = 0.0
    halo: Rgb | None = None


@dataclass(frozen=True, slots=True)
class Circle:
    """A disc or ring; the stroke's middle is on the radius."""

    at: Point
    radius: float
    fill: Rgb | None = INK
    stroke: Rgb | None = None
    width: float = 1.5


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text. ``level``: ``at`` is on the base line, or amid the capitals' height.

    ``turn_deg``: clockwise about ``at``. ``halo``: a rim of this colour round the letters.
    """

    at: Point
    text: str
    size: float = 28.0
    anchor: Anchor = "start"
    level: Level = "base"
    colour: Rgb = INK
    bold: bool = False
    turn_deg: float = 0.0
    halo: Rgb | None = None


@dataclass(frozen=True, slots=True)
class Spot:
    """A mark about a point, as wide as ``size``."""

    at: Point
    size: float
    mark: Mark
    colour: Rgb = INK


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """Pixels (H, W, 3), blue-green-red, stretched to ``size`` from the upper left corner ``at``."""

    pixels_bgr: NDArray[np.uint8]
    at: Point
    size: Point


@dataclass(frozen=True, slots=True)
class Window:
    """Shapes seen through a window: what lies at ``shift`` of their own frame comes to the
    window's upper left corner, and nothing shows outside."""

    at: Point
    size: Point
    shapes: "Sequence[Shape]"
    shift: Point = (0.0, 0.0)


Shape = Path | Circle | Text | Spot | Picture | Window


@dataclass(frozen=True)
class Drawing:
    """Shapes in the order in which they are drawn; ``alt`` says in words what they show."""

    width: float
    height: float
    shapes: list[Shape] = field(default_factory=list)
    alt: str = ""
    unit: Literal["px", "mm"] = "px"

    def add(self, *shapes: Shape) -> None:
        self.shapes.extend(shapes)


def polyline(
    *points: Point, width: float = 2.0, dash: float = 0.0, colour: Rgb = INK
) -> Path:
    """A line through points."""
    return Path((points,), stroke=colour, width=width, dash=dash)


def rect(
    corner: Point, size: Point, *, fill: Rgb | None = None, stroke: Rgb | None = None,
    width: float = 1.0,
) -> Path:  # fmt: skip
    """A rectangle."""
    return Path((corners(corner, size),), True, fill, stroke, width)


def corners(corner: Point, size: Point) -> NDArray[np.float64]:
    """Its corners (4, 2)."""
    unit = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], float)
    return np.asarray(unit * size + corner)


def turned_shift(text: Text, width: float) -> tuple[float, float]:
    """From ``text.at`` to the left end of its base line, along its lines and down, before the
    turn; ``width``: of the text."""
    along = {"start": 0.0, "middle": -width / 2, "end": -width}[text.anchor]
    return along, CAPITALS * text.size / 2 if text.level == "middle" else 0.0


def plain(shapes: Sequence[Shape]) -> Iterator[Path | Circle | Text | Picture | Window]:
    """The shapes with every mark as the paths and circles that it consists of."""
    for shape in shapes:
        if isinstance(shape, Spot):
            yield _of_mark(shape)
        else:
            yield shape


#: corners of a mark's outline for half of its size
_OUTLINES: dict[Mark, tuple[Point, ...]] = {
    "triangle": ((0, -1), (1, 0.8), (-1, 0.8)),
    "square": ((-0.85, -0.85), (0.85, -0.85), (0.85, 0.85), (-0.85, 0.85)),
    "diamond": ((0, -1.1), (1.1, 0), (0, 1.1), (-1.1, 0)),
}


def _of_mark(spot: Spot) -> Path | Circle:
    half, ink = spot.size / 2, spot.colour
    if spot.mark in ("disc", "ring"):
        return Circle(spot.at, half - 0.75, ink if spot.mark == "disc" else PAPER, ink)
    at = np.asarray(spot.at)
    if spot.mark == "cross":
        arms = (((-1, -1), (1, 1)), ((-1, 1), (1, -1)))
        return Path([at + half * np.array(arm) for arm in arms], stroke=ink)
    outline = at + half * np.array(_OUTLINES[spot.mark])
    return Path((outline,), True, PAPER if spot.mark == "square" else ink, ink)
