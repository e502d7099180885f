"""A shell with one fault, drawn from above and from the side: pictures of the handbook's words."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.figures.drawing import Circle, Drawing, Path, Shape, Text
from petitpied.figures.look import INK, Rgb

WIDTH, HEIGHT = 420.0, 204.0
CAP_RADIUS, FOOT_RADIUS = 62.0, 69.0
ABOVE, BESIDE = (105.0, 92.0), (310.0, 122.0)  # middles of the two views
DOME, FOOT_HEIGHT = 42.0, 16.0
CAP: Rgb = (233, 214, 214)
FOOT: Rgb = (202, 172, 166)
BROWN: Rgb = (196, 160, 120)
DEEP: Rgb = (150, 110, 105)


@dataclass(frozen=True, slots=True)
class Drawn:
    """How a shell departs from a good one; lengths in the drawing's units, the cap's radius is
    `CAP_RADIUS`. ``foot_at``: how far the foot's middle is off the cap's."""

    name: str
    says: str
    foot_radius: float = FOOT_RADIUS
    foot_at: float = 0.0
    wide: float = 1.0
    marks: str = ""
    edge: Rgb = CAP


FAULTS: tuple[Drawn, ...] = (
    Drawn("good", "A good shell: a smooth round cap, a foot of the same width all round."),
    Drawn("crack", "A crack: an open line across the cap.", marks="crack"),
    Drawn("dimple", "A dimple: a hollow in the cap.", marks="dimple"),
    Drawn("peak", "A peak, or nipple: a point at the cap's middle.", marks="peak"),
    Drawn("lumps", "Lumps: a cap that is not smooth.", marks="lumps"),
    Drawn("pinholes", "Pinholes: small dark spots and open bubbles.", marks="pinholes"),
    Drawn("foot_missing", "A missing foot: the cap sits on the mat or paper.", foot_radius=0.0),
    Drawn("foot_hidden", "A hidden foot: it ends under the cap.", foot_radius=54.0),
    Drawn("foot_splayed", "A splayed foot: it reaches far out beyond the cap.", foot_radius=80.0),
    Drawn("foot_lopsided", "A lopsided foot: it is off the middle of the cap.",
          foot_radius=72.0, foot_at=7.0),
    Drawn("foot_one_sided", "A one-sided foot: wide on one side, none on the other.",
          foot_radius=64.0, foot_at=12.0),
    Drawn("oval", "Out of round: longer one way than the other.", wide=1.16),
    Drawn("browner", "Browner: darker than the others, most at the edge.", edge=BROWN),
    Drawn("hollow", "A hollow shell, cut open: no photo from above shows it.", marks="hollow"),
)  # fmt: skip


def fault_picture(drawn: Drawn) -> Drawing:
    """One fault from above and from the side."""
    shapes: list[Shape] = [*_from_above(drawn), *_from_beside(drawn)]
    for x, words in ((ABOVE[0], "from above"), (BESIDE[0], "from the side")):
        shown = "cut open" if drawn.marks == "hollow" and x == BESIDE[0] else words
        shapes.append(Text((x, HEIGHT - 10.0), shown, 15.0, "middle"))
    return Drawing(WIDTH, HEIGHT, shapes, drawn.says)


def _oval(middle: tuple[float, float], across: float, down: float) -> NDArray[np.float64]:
    angle = np.linspace(0, 2 * np.pi, 73)[:-1]
    return np.column_stack([middle[0] + across * np.cos(angle), middle[1] + down * np.sin(angle)])


def _ruffled(middle: tuple[float, float], radius: float, wide: float) -> NDArray[np.float64]:
    """A foot's outer edge."""
    angle = np.linspace(0, 2 * np.pi, 361)[:-1]
    reach = radius + 1.6 * np.sin(23 * angle)
    x = middle[0] + wide * reach * np.cos(angle)
    return np.column_stack([x, middle[1] + reach * np.sin(angle)])


def _from_above(drawn: Drawn) -> list[Shape]:
    x, y = ABOVE
    shapes: list[Shape] = []
    if drawn.foot_radius > 0:
        foot = _ruffled((x + drawn.foot_at, y), drawn.foot_radius, drawn.wide)
        shapes.append(Path([foot], True, FOOT, INK, 1.2))
    shapes.append(Path([_oval(ABOVE, CAP_RADIUS * drawn.wide, CAP_RADIUS)], True, drawn.edge))
    if drawn.edge != CAP:
        shapes.append(Path([_oval(ABOVE, 0.72 * CAP_RADIUS, 0.72 * CAP_RADIUS)], True, CAP, None))
    return [*shapes, *_marks_above(drawn.marks)]


def _marks_above(marks: str) -> list[Shape]:
    x, y = ABOVE
    if marks == "crack":
        line = [(-38, 20), (-22, 6), (-10, 10), (4, -6), (20, -4), (34, -22)]
        return [Path([np.add(line, ABOVE)], width=4.0)]
    if marks == "dimple":
        return [
            Path([_oval((x + 12, y - 6), 17, 14)], True, (205, 178, 178), INK, 1.2),
            Path([_arc((x + 12, y - 6), 12, 9, 180, 300)], width=1.2),
        ]
    if marks == "peak":
        return [Circle(ABOVE, 9.0, (247, 238, 238), INK, 1.5), Circle(ABOVE, 2.5)]
    if marks == "lumps":
        spots = [(-26, -18), (6, -30), (28, -4), (-6, 4), (-30, 18), (16, 26), (-8, 36)]
        return [Path([_arc((x + a, y + b), 12, 9, 150, 330)], width=1.4) for a, b in spots]
    if marks == "pinholes":
        spots = [(-30, -10), (-8, -26), (14, -14), (30, 8), (-14, 14), (6, 30), (-2, 2)]
        return [Circle((x + a, y + b), 2.4) for a, b in spots]
    return []


def _arc(
    middle: tuple[float, float], across: float, down: float, start_deg: float, end_deg: float
) -> NDArray[np.float64]:
    angle = np.deg2rad(np.linspace(start_deg, end_deg, 25))
    return np.column_stack([middle[0] + across * np.cos(angle), middle[1] + down * np.sin(angle)])


def _from_beside(drawn: Drawn) -> list[Shape]:
    x, y = BESIDE
    half, foot = 0.95 * CAP_RADIUS * drawn.wide, 0.95 * drawn.foot_radius * drawn.wide
    lift = FOOT_HEIGHT if drawn.foot_radius > 0 else 0.0
    floor_y = y + FOOT_HEIGHT
    rim_y = floor_y - lift
    shapes: list[Shape] = [
        Path([((x - 92, floor_y), (x + 92, floor_y))], width=1.0, dash=4.0),
    ]
    if lift:
        left, right = x + drawn.foot_at - foot, x + drawn.foot_at + foot
        shapes.append(Path([_ruffles(left, right, rim_y, floor_y)], True, FOOT, INK, 1.2))
    dome = _dome(drawn.marks, x, rim_y, half)
    shapes.append(Path([dome], True, drawn.edge))
    if drawn.marks == "hollow":
        hollow = _oval((x, rim_y - 14), 0.6 * half, 13)
        shapes.append(Path([hollow], True, (255, 255, 255), INK, 1.5))
    if drawn.marks == "crack":
        shapes.append(Path([((x + 6, rim_y - DOME), (x + 9, rim_y - DOME + 14))], width=4.0))
    return shapes


def _ruffles(left: float, right: float, top: float, bottom: float) -> Sequence[tuple[float, float]]:
    """A foot from the side: upright, its edges a little bulged."""
    bulge = 3.0
    middle = (top + bottom) / 2
    return [
        (left, top), (right, top), (right + bulge, middle), (right, bottom), (left, bottom),
        (left - bulge, middle),
    ]  # fmt: skip


def _dome(marks: str, x: float, rim_y: float, half: float) -> NDArray[np.float64]:
    t = np.linspace(-1, 1, 121)
    height = DOME * np.sqrt(np.clip(1 - t**2, 0, None)) ** 0.9
    if marks == "dimple":
        height -= 11.0 * np.exp(-(((t - 0.2) / 0.16) ** 2))
    if marks == "peak":
        height += 15.0 * np.exp(-((t / 0.07) ** 2))
    if marks == "lumps":
        height += 2.6 * np.sin(17 * t) * (1 - t**2)
    return np.column_stack([x + half * t, rim_y - height])
