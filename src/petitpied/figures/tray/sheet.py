"""The contact sheet: every shell of a tray, zoomed, at its place of the lattice, with its id, its
diameter and its faults in words. For a phone: few columns, large letters.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.figures import look
from petitpied.figures.lettering import (
    DARK,
    LIGHT,
    Colour,
    Lettering,
    Pixels,
    text_width_px,
    write_text,
)
from petitpied.figures.look import bgr
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
JPEG_QUALITY = 88
#: a lattice of more columns or rows than this has lost its way; shells then stand one by one
MOST_SIDE = 40
PAPER: Colour = (255, 255, 255)
GREY: Colour = bgr(look.GREY)


@dataclass(frozen=True)
class _Place:
    """Where a shell's picture goes: its top-left corner, px."""

    left: int
    top: int


def sheet_jpeg(pixels_bgr: Pixels, record: Record, summary: Summary) -> bytes:
    """`contact_sheet` as a JPEG file without any header facts of the photo."""
    options = [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY]
    done, data = cv2.imencode(".jpg", contact_sheet(pixels_bgr, record, summary), options)
    if not done:
        raise ValueError("the contact sheet could not be encoded as JPEG")
    return bytes(data)


def contact_sheet(pixels_bgr: Pixels, record: Record, summary: Summary) -> Pixels:
    """Shells in lattice order, row A on top: picture, id and diameter, and faults in words.

    Returns
    -------
    ndarray of shape (h, w, 3)
        Blue-green-red.
    """
    places, (rows, columns) = _places(record)
    step_y = PICTURE_PX + round(1.3 * (LETTER_PX + FAULT_LINES * SMALL_PX)) + 2 * GAP_PX
    head = round(3.4 * LETTER_PX)
    width = max(columns * (PICTURE_PX + GAP_PX) + GAP_PX, 1200)
    size = (head + rows * step_y + GAP_PX, width)
    canvas: Pixels = np.full((*size, 3), 255, np.uint8)
    _heading(canvas, record, summary)
    odd = {o.id: o.words for o in summary.odd}
    for shell, (row, column) in zip(record.shells, places, strict=True):
        left = GAP_PX + column * (PICTURE_PX + GAP_PX)
        _draw(
            canvas,
            _Place(left, head + row * step_y),
            _picture(pixels_bgr, shell),
            (shell, odd.get(shell.id, ())),
        )
    return canvas


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


def _heading(canvas: Pixels, record: Record, summary: Summary) -> None:
    lines = (printable(record.photo.file), headline(summary))
    for number, line in enumerate(lines):
        size = _fitting(line, LETTER_PX, canvas.shape[1] - 2 * GAP_PX)
        x = GAP_PX + text_width_px(line, size) / 2
        _write(canvas, line, (x, (0.9 + 1.3 * number) * LETTER_PX), size)


def _fitting(text: str, size_px: float, room_px: float) -> float:
    return min(size_px, size_px * room_px / max(text_width_px(text, size_px), 1.0))


def _write(canvas: Pixels, text: str, centre_px: tuple[float, float], size_px: float) -> None:
    write_text(canvas, text, centre_px, Lettering(size_px, ink=DARK, rim=LIGHT))


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
        borderValue=GREY,
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


def _draw(
    canvas: Pixels, place: _Place, picture: Pixels, said: tuple[Shell, tuple[str, ...]]
) -> None:
    shell, odd = said
    x, y = place.left, place.top
    canvas[y : y + PICTURE_PX, x : x + PICTURE_PX] = picture
    frame: Any = canvas
    middle = x + PICTURE_PX / 2
    faults = (*fault_words(shell), *odd)
    thick = 6 if faults else 1
    cv2.rectangle(frame, (x, y), (x + PICTURE_PX, y + PICTURE_PX), DARK, thick)
    line = f"{shell.id}  {_size(shell)}".strip()
    size = _fitting(line, LETTER_PX, PICTURE_PX)
    _write(canvas, line, (middle, y + PICTURE_PX + GAP_PX + 0.6 * LETTER_PX), size)
    top = y + PICTURE_PX + GAP_PX + 1.2 * LETTER_PX
    for number, text in enumerate(_lines(faults)):
        size = _fitting(text, SMALL_PX, PICTURE_PX)
        _write(canvas, text, (middle, top + (0.6 + 1.2 * number) * SMALL_PX), size)


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
