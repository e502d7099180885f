"""Every pair as a picture: both halves side by side, turned as they will meet.

The first shell lies as on its tray. The second is shown turned as told and folded over sideways,
like a page: as it will come to lie on the first. So the two outlines of a pair look alike.
"""

from collections.abc import Mapping
from typing import Any

import cv2
import numpy as np

from petitpied.figures.drawing import Circle, Drawing, Picture, Point, Shape, Text, rect
from petitpied.figures.letters import fitting, wrapped
from petitpied.figures.look import FAINT, INK, PALE
from petitpied.figures.raster import Pixels, jpeg_bytes
from petitpied.figures.tray.box_pages import Shown
from petitpied.figures.tray.shell_cutouts import cutout
from petitpied.figures.tray.tray_sheet import (
    LETTER_PX,
    PAD_PX,
    ROOM_PX,
    TITLE_PX,
    WIDTH_PX,
    text_lines,
)
from petitpied.sorting.lot import LotShell
from petitpied.sorting.pairing import Pair, Pairing
from petitpied.text.lots.pairing_words import code_of, shells_text, turn_text
from petitpied.text.wording import printable

#: pairs on a page, beside each other and below: three rows are a phone's height
COLUMNS, ROWS = 2, 6
#: mm of plan view that a half's square shows, beyond the larger diameter
MARGIN_MM = 3.0
LABEL_PX = 130.0
MOST_PAGES = 20
HOW = (
    "Left the first shell as it lies, right the second as it comes to lie on it: turned as told, "
    "then folded over sideways. Scale is the same for all."
)


def pair_pictures(pairing: Pairing, shown: Shown) -> dict[str, bytes]:
    """Pages of pairs by their file names; none where no photo is there."""
    if not shown.photos:
        return {}
    numbered = list(enumerate(pairing.pairs, 1))
    each = COLUMNS * ROWS
    pages = [numbered[i : i + each] for i in range(0, len(numbered), each)][:MOST_PAGES]
    widest = max((p.a.diameter_mm.value for p in pairing.pairs), default=0.0)
    widest = max([widest, *(p.b.diameter_mm.value for p in pairing.pairs)])
    return {
        f"pairs_{n:02d}.jpg": jpeg_bytes(_page(page, shown, widest + MARGIN_MM))
        for n, page in enumerate(pages, 1)
    }


def _page(pairs: list[tuple[int, Pair]], shown: Shown, side_mm: float) -> Drawing:
    title = f"Pairs {pairs[0][0]} to {pairs[-1][0]}" if len(pairs) > 1 else f"Pair {pairs[0][0]}"
    head, top = text_lines(wrapped(title, TITLE_PX, ROOM_PX), 0.0, TITLE_PX)
    width = ROOM_PX / COLUMNS
    half = width / 2
    shapes: list[Shape] = []
    for place, (number, pair) in enumerate(pairs):
        row, column = divmod(place, COLUMNS)
        corner = (PAD_PX + column * width, top + row * (half + LABEL_PX))
        first = _half(pair.a, shown, side_mm, half)
        second = _half(pair.b, shown, side_mm, half, pair.turn_deg if pair.turn_helps else 0.0)
        shapes += _placed(first, corner, half, pair.a.diameter_mm.value / side_mm)
        beside = (corner[0] + half, corner[1])
        shapes += _placed(second, beside, half, pair.b.diameter_mm.value / side_mm)
        shapes += _words(number, pair, shown.trays, (corner[0] + half, corner[1] + half), width)
        shapes.append(rect(corner, (width, half + LABEL_PX), stroke=FAINT, width=3.0))
    rows = -(-len(pairs) // COLUMNS)
    foot, end = text_lines(
        wrapped(HOW, LETTER_PX, ROOM_PX), top + rows * (half + LABEL_PX), LETTER_PX
    )
    return Drawing(WIDTH_PX, end, [*head, *shapes, *foot], f"{title}, both halves side by side")


def _half(
    shell: LotShell, shown: Shown, side_mm: float, side: float, turn_deg: float | None = None
) -> Pixels | None:
    """One half's square (S, S, 3); ``turn_deg``: turned by it (clockwise as seen from above), then
    folded over to the side. None where its photo is missing."""
    tray, photo = shown.trays.get(shell.record), shown.photos.get(shell.record)
    view = None if tray is None else tray.record.view
    if tray is None or photo is None or view is None:
        return None
    own = next(s for s in tray.record.shells if s.id == shell.id)
    pixels = cutout(photo, view, own, side / side_mm, side_mm / 2)
    return pixels if turn_deg is None else _turned(pixels, turn_deg)


def _turned(pixels: Pixels, turn_deg: float) -> Pixels:
    """Turned clockwise about the middle, then mirrored left to right."""
    size = pixels.shape[0]
    middle = ((size - 1) / 2, (size - 1) / 2)
    matrix: Any = cv2.getRotationMatrix2D(middle, -turn_deg, 1.0)  # OpenCV counts the other way
    white = (255, 255, 255)
    turned: Any = cv2.warpAffine(pixels, matrix, (size, size), borderValue=white)
    return np.ascontiguousarray(turned[:, ::-1])


def _placed(pixels: Pixels | None, corner: Point, side: float, rel: float) -> list[Shape]:
    if pixels is None:
        middle = (corner[0] + side / 2, corner[1] + side / 2)
        return [Circle(middle, rel * side / 2, PALE, INK, 5.0)]
    return [Picture(pixels, corner, (side, side))]


def _words(
    number: int, pair: Pair, trays: Mapping[str, Any], at: Point, width: float
) -> list[Shape]:
    """The pair's number, its shells with their trays, and the turn where it helps."""
    names = {key: tray.name for key, tray in trays.items()}
    turn = turn_text(pair)
    shells = shells_text(pair, names, several=len(names) > 1)
    first = printable(f"{code_of(number, pair)}:  {shells}")
    second = f"{turn} and fold over" if turn else "fold over, no turn needed"
    room = 0.94 * width
    upper, lower = (at[0], at[1] + 0.3 * LABEL_PX), (at[0], at[1] + 0.72 * LABEL_PX)
    return [
        Text(upper, first, fitting(first, 48.0, room), "middle", "middle", bold=True),
        Text(lower, second, fitting(second, 40.0, room), "middle", "middle"),
    ]
