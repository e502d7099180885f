"""The contact sheet: every shell of a tray, zoomed, at its place of the lattice, with its id, its
diameter and its faults in words. For a phone: few columns, large letters.
"""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.figures.drawing import Drawing, Picture, Text, rect
from petitpied.figures.letters import fitting
from petitpied.figures.look import GREY, INK, bgr
from petitpied.figures.raster import Pixels
from petitpied.figures.tray.overlay import short_reason
from petitpied.statistics.tray_summary import Summary
from petitpied.text.shell_faults import fault_words
from petitpied.text.summary_words import headline
from petitpied.text.wording import printable, rounded

Floats = NDArray[np.float64]

#: width of one shell's picture: seven beside each other fill a phone when it is zoomed in twice
PICTURE_PX = 340
GAP_PX = 14
LETTER_PX = 44.0
SMALL_PX = 34.0
#: lines of faults below each picture
FAULT_LINES = 2
#: seen of the photo beyond the outline, relative to its size
MARGIN_REL = 0.06
#: a lattice of more columns or rows than this has lost its way; shells then stand one by one
MOST_SIDE = 40
def contact_sheet(pixels_bgr: Pixels, record: Record, summary: Summary) -> Drawing:
    """Shells in lattice order, row A on top: picture, id and diameter, and faults in words; in
    px."""
    places, (rows, columns) = _places(record)
    step_y = PICTURE_PX + round(1.3 * (LETTER_PX + FAULT_LINES * SMALL_PX)) + 2 * GAP_PX
    head = round(3.4 * LETTER_PX)
    width = max(columns * (PICTURE_PX + GAP_PX) + GAP_PX, 1200)
    sheet = Drawing(width, head + rows * step_y + GAP_PX)
    for number, line in enumerate((printable(record.photo.file), headline(summary))):
        place = (GAP_PX, (0.9 + 1.3 * number) * LETTER_PX)
        size = fitting(line, LETTER_PX, width - 2 * GAP_PX)
        sheet.add(Text(place, line, size, level="middle"))
    odd = {o.id: o.words for o in summary.odd}
    for shell, (row, column) in zip(record.shells, places, strict=True):
        corner = (GAP_PX + column * (PICTURE_PX + GAP_PX), head + row * step_y)
        side = (PICTURE_PX, PICTURE_PX)
        sheet.add(Picture(_picture(pixels_bgr, shell), corner, side))
        _describe(sheet, corner, shell, (*fault_words(shell), *odd.get(shell.id, ())))
    return sheet


def _places(record: Record) -> tuple[list[tuple[int, int]], tuple[int, int]]:
    """Row and column on the sheet of every shell, and how many there are; empty rows are left out.

    Two shells of one place (a damaged record) stand on each other's picture.
    """
    shells = record.shells
    rows = sorted({shell.row for shell in shells})
    first = min((shell.column for shell in shells), default=0)
    places = [(rows.index(shell.row), shell.column - first) for shell in shells]
    size = (len(rows), max((column for _, column in places), default=0) + 1)
    if max(size) > MOST_SIDE:
        side = max(1, int(np.ceil(np.sqrt(len(shells)))))
        places = [divmod(number, side) for number in range(len(shells))]
        size = (-(-len(shells) // side), side)
    return places, size


def _picture(pixels_bgr: Pixels, shell: Shell) -> Pixels:
    """The shell cut out square from the photo, upright, to `PICTURE_PX`."""
    outline = shell.outline_px
    low, high = outline.min(axis=0), outline.max(axis=0)
    side = float((high - low).max()) * (1 + 2 * MARGIN_REL)
    middle = (low + high) / 2
    step = side / PICTURE_PX
    start = middle - step * (PICTURE_PX - 1) / 2
    way = np.array([[step, 0, start[0]], [0, step, start[1]]])
    photo: Any = pixels_bgr
    if step > 1.5:  # mean of what a pixel covers, taken of the shell's surroundings only
        photo, way = _reduced(pixels_bgr, way, step)
    cut = cv2.warpAffine(
        photo,
        way,
        (PICTURE_PX, PICTURE_PX),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=bgr(GREY),
    )
    return np.asarray(cut, np.uint8)


def _reduced(pixels_bgr: Pixels, way: Floats, step: float) -> tuple[Any, Floats]:
    """The part of the photo that ``way`` looks at, smoothed, and the way into it."""
    height, width = pixels_bgr.shape[:2]
    x0, y0 = (
        int(np.clip(v - 8, 0, n - 1)) for v, n in zip(way[:, 2], (width, height), strict=True)
    )
    reach = int(step * PICTURE_PX) + 16
    part = pixels_bgr[y0 : y0 + reach, x0 : x0 + reach]
    moved = way.copy()
    moved[:, 2] -= (x0, y0)
    return cv2.blur(part, (round(step), round(step))), moved


def _describe(
    sheet: Drawing, corner: tuple[int, int], shell: Shell, faults: tuple[str, ...]
) -> None:
    """Frame, id, diameter and faults of the shell whose picture is at this corner."""
    x, y = corner
    sheet.add(rect(corner, (PICTURE_PX, PICTURE_PX), stroke=INK, width=6 if faults else 1))
    line = f"{shell.id}  {_size(shell)}".strip()
    top = y + PICTURE_PX + GAP_PX + 1.2 * LETTER_PX
    lines = [(line, LETTER_PX, top - 0.6 * LETTER_PX)]
    for number, text in enumerate(_lines(faults)):
        lines.append((text, SMALL_PX, top + (0.6 + 1.2 * number) * SMALL_PX))
    for text, size, middle in lines:
        place = (x + PICTURE_PX / 2, middle)
        sheet.add(Text(place, text, fitting(text, size, PICTURE_PX), "middle", "middle"))


def _size(shell: Shell) -> str:
    if shell.not_measured is not None:
        return short_reason(shell.not_measured)
    if shell.diameter_mm is not None:
        return f"{rounded(shell.diameter_mm)} mm"
    return "" if shell.diameter_rel is None else f"{100 * shell.diameter_rel:.0f} %"


def _lines(faults: tuple[str, ...]) -> list[str]:
    """Faults in at most `FAULT_LINES` lines; the last one takes all that is left."""
    if len(faults) <= FAULT_LINES:
        return list(faults)
    return [*faults[: FAULT_LINES - 1], ", ".join(faults[FAULT_LINES - 1 :])]
