"""A tray's picture with a code on every shell, and a list below: to sort or pair by, on a phone."""

import hashlib
from collections.abc import Iterable, Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Shell
from petitpied.figures.drawing import Drawing, Picture, Shape, Text, Window, rect
from petitpied.figures.drawing import Path as Line
from petitpied.figures.letters import column, fitting, wrapped
from petitpied.figures.look import INK, PAPER, Rgb
from petitpied.figures.raster import Pixels
from petitpied.files.photo_files import read_photo
from petitpied.sorting.lot_trays import LotTray
from petitpied.text.sheet_words import Code, Listing

Floats = NDArray[np.float64]

WIDTH_PX = 2000
#: letters of the list: 54 of 2000 px are 10 of a phone's 390
LETTER_PX = 54.0
TITLE_PX = 70.0
PAD_PX = 40.0
ROOM_PX = WIDTH_PX - 2 * PAD_PX
STEP = 1.32  # of a letter, from line to line
GROUND: Rgb = (168, 168, 168)  # without a photo
DASH_PX = 16.0
NOTCH_MM = (0.5, 5.0)  # a notch's tip and base outside the outline
NOTCH_HALF_DEG = 7.0


def photo_of(tray: LotTray, folder: Path | None) -> Pixels | None:
    """The tray's photo, from beside the record or from ``folder``, known by its SHA-256.

    Only the last part of the name in the record is used: it is never a path. None where no such
    file is there or it cannot be read.
    """
    from petitpied.domain.errors import PhotoError
    from petitpied.photo.decode import decode_photo

    name = Path(tray.record.photo.file.replace("\\", "/")).name
    beside = Path(tray.key).parent
    folders = [beside] if folder is None else [folder, beside]
    for place in folders:
        path = place / name
        try:
            if not name or not path.is_file():
                continue
            data = read_photo(path)
            if hashlib.sha256(data).hexdigest() == tray.record.photo.sha256:
                return decode_photo(data, path.name).pixels_bgr
        except (PhotoError, OSError, ValueError):
            continue
    return None


def tray_sheet(
    tray: LotTray, photo_bgr: Pixels | None, codes: Mapping[str, Code], listing: Listing
) -> Drawing:
    """The sheet of one tray, in px; without a photo the outlines stand on grey."""
    photo = tray.record.photo
    scale = WIDTH_PX / photo.width
    size = (WIDTH_PX, max(1, round(photo.height * scale)))
    shapes: list[Shape] = [
        rect((0.0, 0.0), size, fill=GROUND)
        if photo_bgr is None
        else Picture(photo_bgr, (0.0, 0.0), size)
    ]
    coded = [(shell, codes.get(shell.id)) for shell in tray.record.shells]
    for shell, code in coded:
        shapes += _outline(tray, shell, code, scale)
    for shell, code in coded:  # letters over all lines
        if code is not None:
            shapes += _code((shell.outline_px + 0.5) * scale, code)
    title, top = text_lines(wrapped(listing.title, TITLE_PX, ROOM_PX), 0.0, TITLE_PX)
    below, end = _list(listing, top + size[1])
    return Drawing(WIDTH_PX, end, [*title, Window((0.0, top), size, shapes), *below])


def _outline(tray: LotTray, shell: Shell, code: Code | None, scale: float) -> list[Shape]:
    shapes: list[Shape] = []
    outline = (shell.outline_px + 0.5) * scale
    if len(outline) >= 3:
        dash = 0.0 if code is not None and code.taken else DASH_PX
        shapes.append(Line([outline], True, None, PAPER, 4, dash, INK))
    if code is not None and code.notch_deg is not None:
        notch = _notch_px(tray, shell, code.notch_deg)
        shapes += [Line([(n + 0.5) * scale], True, PAPER, INK, 3) for n in notch]
    return shapes


def _notch_px(tray: LotTray, shell: Shell, direction_deg: float) -> list[Floats]:
    """A triangle outside the rim, its tip at the outline, photo px (3, 2); none without mm."""
    view = tray.record.view
    if view is None or shell.diameter_mm is None or shell.centre_mm is None:
        return []
    radius = shell.diameter_mm.value / 2
    angle = np.deg2rad(direction_deg + np.array([0.0, -NOTCH_HALF_DEG, NOTCH_HALF_DEG]))
    reach = radius + np.array([NOTCH_MM[0], NOTCH_MM[1], NOTCH_MM[1]])
    offset = np.column_stack([np.cos(angle), np.sin(angle)]) * reach[:, None]
    return [view.project(np.asarray(shell.centre_mm) + offset)]


def _code(outline: Floats, code: Code) -> list[Shape]:
    low, high = outline.min(axis=0), outline.max(axis=0)
    (x, y), width = (low + high) / 2, float(high[0] - low[0])
    lines = [(code.text, 0.7 * width, 0.42 * width, y - (0.16 * width if code.below else 0.0))]
    if code.below:
        lines.append((code.below, 0.72 * width, 0.22 * width, y + 0.24 * width))
    return [
        Text((x, at), text, max(20.0, fitting(text, most, room)), "middle", "middle", PAPER,
             halo=INK)
        for text, room, most, at in lines
    ]  # fmt: skip


def _list(listing: Listing, top: float) -> tuple[list[Shape], float]:
    """The lines in columns and the notes across, and where they end."""
    room = (WIDTH_PX - (listing.columns + 1) * PAD_PX) / listing.columns
    lines = [part for line in listing.lines for part in _indented(line, room)]
    rows = -(-len(lines) // listing.columns)
    shapes: list[Shape] = []
    end = top
    for first in range(0, len(lines), max(1, rows)):
        left = PAD_PX + first // rows * (room + PAD_PX)
        some, low = text_lines(lines[first : first + rows], top, LETTER_PX, left)
        shapes, end = [*shapes, *some], max(end, low)
    notes = [part for note in listing.notes for part in wrapped(note, LETTER_PX, ROOM_PX)]
    if notes or not rows:
        some, end = text_lines(notes, end, LETTER_PX)
        shapes += some
    return shapes, end


def _indented(line: str, room: float) -> list[str]:
    first, *rest = list(wrapped(line, LETTER_PX, room)) or [""]
    return [first, *(f"      {part}" for part in rest)]


def text_lines(
    lines: Iterable[str], top: float, size: float, left: float = PAD_PX
) -> tuple[list[Shape], float]:
    """Lines, dark on white, and where the room for them ends."""
    every = list(lines)
    shapes: list[Shape] = [*column(every, left, top + PAD_PX, size, STEP * size)]
    return shapes, round(top + 2 * PAD_PX + len(every) * STEP * size)
