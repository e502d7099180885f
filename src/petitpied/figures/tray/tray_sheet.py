"""A tray's picture with a code on every shell, and a list below: to sort or pair by, on a phone."""

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.figures.lettering import (
    DARK,
    LIGHT,
    Lettering,
    Pixels,
    text_width_px,
    wrapped,
    write_text,
)
from petitpied.files.photo_files import read_photo
from petitpied.sorting.lot_trays import LotTray
from petitpied.text.sheet_words import Code, Listing

Floats = NDArray[np.float64]

WIDTH_PX = 2000
#: letters of the list: 54 of 2000 px are 10 of a phone's 390
LETTER_PX = 54.0
TITLE_PX = 70.0
PAD_PX = 40
STEP = 1.32  # of a letter, from line to line
JPEG_QUALITY = 88
SUB_PX = 4  # bits below a pixel in OpenCV's drawing
GROUND = 168  # grey level without a photo
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


def sheet_jpeg(
    tray: LotTray, photo_bgr: Pixels | None, codes: Mapping[str, Code], listing: Listing
) -> bytes:
    """The sheet of one tray as JPEG; without a photo the outlines stand on grey."""
    canvas, scale = _ground(tray, photo_bgr)
    for shell in tray.record.shells:
        code = codes.get(shell.id)
        outline = (shell.outline_px + 0.5) * scale - 0.5
        if len(outline) >= 3:
            _outline(canvas, outline, dashed=code is None or not code.taken)
        if code is not None and code.notch_deg is not None:
            _notch(canvas, tray, shell.id, code.notch_deg, scale)
    for shell in tray.record.shells:  # letters over all lines
        code = codes.get(shell.id)
        if code is not None:
            _write_code(canvas, (shell.outline_px + 0.5) * scale - 0.5, code)
    page = np.vstack([_title(listing.title), canvas, _list(listing)])
    return jpeg(page)


def jpeg(page: Pixels) -> bytes:
    """A picture as JPEG without any header facts."""
    done, data = cv2.imencode(".jpg", page, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    if not done:
        raise ValueError("the sheet could not be encoded as JPEG")
    return bytes(data)


def _ground(tray: LotTray, photo_bgr: Pixels | None) -> tuple[Pixels, float]:
    photo = tray.record.photo
    scale = WIDTH_PX / photo.width
    size = (WIDTH_PX, max(1, round(photo.height * scale)))
    if photo_bgr is None:
        return np.full((size[1], size[0], 3), GROUND, np.uint8), scale
    resized: Any = cv2.resize(photo_bgr, size, interpolation=cv2.INTER_AREA)
    return np.asarray(resized, np.uint8).copy(), scale


def _outline(canvas: Any, outline: Floats, *, dashed: bool) -> None:
    dashes = [outline[i : i + 5] for i in range(0, len(outline) - 4, 9)]
    parts = dashes if dashed else [outline]
    fixed = [np.round(p * 2**SUB_PX).astype(np.int32) for p in parts]
    cv2.polylines(canvas, fixed, not dashed, DARK, 8, cv2.LINE_AA, SUB_PX)
    cv2.polylines(canvas, fixed, not dashed, LIGHT, 4, cv2.LINE_AA, SUB_PX)


def _notch(canvas: Any, tray: LotTray, shell_id: str, direction_deg: float, scale: float) -> None:
    """A triangle outside the rim, its tip at the outline."""
    view = tray.record.view
    shell = next(s for s in tray.record.shells if s.id == shell_id)
    if view is None or shell.diameter_mm is None or shell.centre_mm is None:
        return
    radius = shell.diameter_mm.value / 2
    angle = np.deg2rad(direction_deg + np.array([0.0, -NOTCH_HALF_DEG, NOTCH_HALF_DEG]))
    reach = radius + np.array([NOTCH_MM[0], NOTCH_MM[1], NOTCH_MM[1]])
    offset = np.column_stack([np.cos(angle), np.sin(angle)]) * reach[:, None]
    corners = (view.project(np.asarray(shell.centre_mm) + offset) + 0.5) * scale - 0.5
    fixed = [np.round(corners * 2**SUB_PX).astype(np.int32)]
    cv2.fillPoly(canvas, fixed, LIGHT, cv2.LINE_AA, SUB_PX)
    cv2.polylines(canvas, fixed, True, DARK, 3, cv2.LINE_AA, SUB_PX)


def _write_code(canvas: Pixels, outline: Floats, code: Code) -> None:
    low, high = outline.min(axis=0), outline.max(axis=0)
    middle, width = (low + high) / 2, float(high[0] - low[0])
    size = _fitting(code.text, 0.7 * width, 0.42 * width)
    shift = 0.16 * width if code.below else 0.0
    write_text(canvas, code.text, (float(middle[0]), float(middle[1] - shift)), Lettering(size))
    if code.below:
        small = _fitting(code.below, 0.72 * width, 0.22 * width)
        place = (float(middle[0]), float(middle[1] + 0.24 * width))
        write_text(canvas, code.below, place, Lettering(small))


def _fitting(text: str, width_px: float, most_px: float) -> float:
    natural = text_width_px(text, 100)
    return max(20.0, min(most_px, 100 * width_px / max(natural, 1.0)))


def _title(title: str) -> Pixels:
    return text_page(list(wrapped(title, TITLE_PX, WIDTH_PX - 2 * PAD_PX)), TITLE_PX)


def _list(listing: Listing) -> Pixels:
    room = (WIDTH_PX - (listing.columns + 1) * PAD_PX) / listing.columns
    lines = [part for line in listing.lines for part in _indented(line, room)]
    rows = -(-len(lines) // listing.columns) if lines else 0
    parts = []
    if rows:
        canvas = _blank(rows)
        for number, line in enumerate(lines):
            x = PAD_PX + (number // rows) * (room + PAD_PX)
            _left(canvas, line, x, PAD_PX + (number % rows + 0.5) * STEP * LETTER_PX)
        parts.append(canvas)
    notes = [p for note in listing.notes for p in wrapped(note, LETTER_PX, WIDTH_PX - 2 * PAD_PX)]
    if notes or not parts:
        parts.append(text_page(notes, LETTER_PX))
    return np.vstack(parts)


def _indented(line: str, room: float) -> list[str]:
    first, *rest = list(wrapped(line, LETTER_PX, room)) or [""]
    return [first, *(f"      {part}" for part in rest)]


def _blank(rows: int, letter_px: float = LETTER_PX) -> Pixels:
    return np.full((round(2 * PAD_PX + rows * STEP * letter_px), WIDTH_PX, 3), 255, np.uint8)


def text_page(lines: Sequence[str], letter_px: float) -> Pixels:
    """Lines, dark on white, as wide as a sheet."""
    canvas = _blank(len(lines), letter_px)
    for number, line in enumerate(lines):
        _left(canvas, line, PAD_PX, PAD_PX + (number + 0.5) * STEP * letter_px, letter_px)
    return canvas


def _left(canvas: Pixels, line: str, x: float, y: float, letter_px: float = LETTER_PX) -> None:
    centre = (x + text_width_px(line, letter_px) / 2, y)
    write_text(canvas, line, centre, Lettering(letter_px, ink=DARK, rim=LIGHT))
