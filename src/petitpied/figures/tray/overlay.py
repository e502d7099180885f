"""The annotated picture: what was found, drawn so that a phone and a black-and-white print show
it. Light lines lie on wider dark ones; each meaning has a shape of its own, not only a colour.
"""

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.figures.lettering import (
    DARK,
    LIGHT,
    Colour,
    Lettering,
    Pixels,
    text_width_px,
    wrapped,
    write_text,
)
from petitpied.figures.look import AMBER, bgr
from petitpied.figures.tray.crack_marks import clear_shift, ring_round
from petitpied.figures.tray.surface_marks import draw_marks, rings_px
from petitpied.figures.tray.surface_marks import legend as marks_legend
from petitpied.statistics.tray_summary import Odd, Summary
from petitpied.text.shell_faults import crack_words, mark_words
from petitpied.text.summary_words import headline, scale_notes
from petitpied.text.wording import printable, rounded

Floats = NDArray[np.float64]

LONG_SIDE_PX = 2400
JPEG_QUALITY = 88
ODD_INK: Colour = bgr(AMBER)  # the bracket says the same without colour
SUB_PX = 4  # bits below a pixel in OpenCV's drawing

#: smallest letters: 28 px of 2400 are 4.5 px of a phone's 390, legible when zoomed in twice
MIN_LETTER_PX = 28.0
FOOTER_LETTER_PX = 54.0
DOOR_LETTER_PX = 62.0
DOOR_PIECES, RIM_PX = 12, 5.0  # in which words keep clear of each half of its line; half its width
DOOR_GAP_MM = 12.0  # from the shells nearest to the door, where the tray's rim is not known
MAX_WARNINGS = 4
#: no short reason ends with one of these
LITTLE_WORDS = frozenset({"a", "and", "at", "by", "in", "is", "its", "of", "the", "to", "with"})
SCALE_BARS_MM = (10, 20, 50, 100, 200)
#: left, top, right, bottom, px
Box = tuple[float, float, float, float]
#: where words beside a shell may move: relative to its width, and to the letters' size
SIDEWAYS_REL, UP_DOWN_REL = (0.0, -0.25, 0.25, -0.5, 0.5), (0.0, -0.5, 0.5, -1.0, 1.0)


@dataclass(frozen=True)
class _Sheet:
    """The picture being drawn, and the way from photo pixels to its own."""

    canvas: Pixels
    scale: float
    taken: list[Box] = field(default_factory=list)  # where words stand

    def points(self, photo_px: Floats) -> Floats:
        """Photo px (N, 2) to canvas px; pixel centres at whole numbers in both."""
        return (np.asarray(photo_px, float) + 0.5) * self.scale - 0.5

    def line(self, lines_px: Floats, ink: Colour, width_px: int, closed: bool) -> None:
        """Lines (count, N, 2) of canvas px: ``ink`` over a wider dark one."""
        fixed = list(np.round(lines_px * 2**SUB_PX).astype(np.int32))
        canvas: Any = self.canvas
        cv2.polylines(canvas, fixed, closed, DARK, width_px + 4, cv2.LINE_8, SUB_PX)
        cv2.polylines(canvas, fixed, closed, ink, width_px, cv2.LINE_AA, SUB_PX)

    def dashes(self, outline_px: Floats, ink: Colour, width_px: int, dash_px: float) -> None:
        self.line(_dashes(outline_px, dash_px), ink, width_px, closed=False)

    def text(self, text: str, centre_px: Floats, style: Lettering) -> None:
        write_text(self.canvas, text, (float(centre_px[0]), float(centre_px[1])), style)
        if abs(style.turn_deg) < 45:
            self.taken.append(_box(text, style.size_px, centre_px))

    def clear_place(
        self, text: str, size_px: float, wanted_px: tuple[float, float], room_px: float
    ) -> Floats:
        """The place nearest to the wanted one, within a letter up or down and half the room to a
        side, at which words cover the least of other words."""
        steps = sorted(
            ((dx * room_px, dy * size_px) for dx in SIDEWAYS_REL for dy in UP_DOWN_REL),
            key=lambda step: abs(step[0]) + 2 * abs(step[1]),
        )
        places = [np.add(wanted_px, step) for step in steps]
        covered = [
            sum(_shared_area(_box(text, size_px, place), other) for other in self.taken)
            for place in places
        ]
        return np.asarray(places[int(np.argmin(covered))], float)


def _box(text: str, size_px: float, centre_px: Floats) -> Box:
    """Left, top, right, bottom of upright words, px."""
    half = (text_width_px(text, size_px) / 2, 0.55 * size_px)
    (x, y), (across, up) = centre_px, half
    return float(x) - across, float(y) - up, float(x) + across, float(y) + up


def _box_round(points_px: Floats) -> Box:
    """Left, top, right, bottom of a line drawn through points (N, 2), px, and of its dark rim."""
    low, high = points_px.min(axis=0) - RIM_PX, points_px.max(axis=0) + RIM_PX
    (left, top), (right, bottom) = low, high
    return float(left), float(top), float(right), float(bottom)


def _shared_area(a: Box, b: Box) -> float:
    across, down = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
    return max(across, 0.0) * max(down, 0.0)


def marked_jpeg(pixels_bgr: Pixels, record: Record, summary: Summary) -> bytes:
    """`marked_picture` as a JPEG file without any header facts of the photo."""
    options = [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY]
    done, data = cv2.imencode(".jpg", marked_picture(pixels_bgr, record, summary), options)
    if not done:
        raise ValueError("the annotated picture could not be encoded as JPEG")
    return bytes(data)


def marked_picture(pixels_bgr: Pixels, record: Record, summary: Summary) -> Pixels:
    """The photo with shells, cards and door side marked, and a footer with the short result.

    Parameters
    ----------
    pixels_bgr : ndarray of shape (H, W, 3)
        The photo that the record describes.

    Returns
    -------
    ndarray of shape (h, w, 3)
        Blue-green-red; the photo part has a long side of `LONG_SIDE_PX`, the footer is below.
    """
    scale = LONG_SIDE_PX / max(pixels_bgr.shape)
    sheet = _Sheet(_resized(pixels_bgr, scale), scale)
    odd = {o.id: o for o in summary.odd}
    for card in record.cards:
        corners = sheet.points(card.corners_px)
        sheet.line(corners[None], LIGHT, 3, closed=True)
        letter_px = max(MIN_LETTER_PX, 0.16 * float(np.ptp(corners[:, 0])))
        sheet.text(f"card {card.id}", corners.mean(axis=0), Lettering(letter_px))
    for shell in record.shells:
        _draw_lines(sheet, shell, shell.id in odd)
    draw_marks(sheet.canvas, scale, record)
    _draw_door(sheet, record)
    letters = [_label(sheet, shell) for shell in record.shells]
    for shell, letter_px in zip(record.shells, letters, strict=True):
        _label_beside(sheet, shell, odd.get(shell.id), letter_px)
    return np.vstack([sheet.canvas, _footer(record, summary, scale, sheet.canvas.shape[1])])


def _resized(pixels_bgr: Pixels, scale: float) -> Pixels:
    """Copy in ``scale`` times the size: halved by areas as often as fits, the rest bilinear
    (one step by areas takes five times as long)."""
    height, width = pixels_bgr.shape[:2]
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    picture: Any = pixels_bgr
    while picture.shape[1] >= 2 * size[0] and picture.shape[0] >= 2 * size[1]:
        half = (picture.shape[1] // 2, picture.shape[0] // 2)
        picture = cv2.resize(picture, half, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_LINEAR), np.uint8).copy()


def _draw_lines(sheet: _Sheet, shell: Shell, odd: bool) -> None:
    outline = sheet.points(shell.outline_px)
    if shell.not_measured is not None:
        sheet.dashes(outline, LIGHT, 4, dash_px=26)
        return
    if shell.cap_outline_px is not None:
        sheet.dashes(sheet.points(shell.cap_outline_px), LIGHT, 1, dash_px=12)
    sheet.line(outline[None, ::2], LIGHT, 4, closed=True)
    if odd:
        sheet.line(_brackets(outline), ODD_INK, 7, closed=False)
    for crack in shell.cracks or ():
        ring = ring_round(sheet.points(crack.path_px))
        sheet.line(ring[None], LIGHT, 2, closed=True)


def _brackets(outline: Floats) -> Floats:
    """A square bracket left and right of an outline: lines (2, 4, 2)."""
    (x0, y0), (x1, y1) = outline.min(axis=0) - 9, outline.max(axis=0) + 9
    arm = 0.22 * (x1 - x0)
    left = [(x0 + arm, y0), (x0, y0), (x0, y1), (x0 + arm, y1)]
    right = [(x1 - arm, y0), (x1, y0), (x1, y1), (x1 - arm, y1)]
    return np.array([left, right])


def _dashes(outline: Floats, dash_px: float) -> Floats:
    """Dashes (count, 4, 2) of a closed outline (N, 2), they and the gaps about ``dash_px`` long."""
    closed = np.vstack([outline, outline[:1]])
    along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    count = max(3, round(along[-1] / (2 * dash_px)))
    starts = np.arange(count) * along[-1] / count
    places = starts[:, None] + np.linspace(0, along[-1] / count / 2, 4)
    x, y = (np.interp(places, along, closed[:, axis]) for axis in (0, 1))
    return np.stack([x, y], axis=-1)


def _label(sheet: _Sheet, shell: Shell) -> float:
    """Id and diameter in the shell; the size of their letters, px."""
    outline = sheet.points(shell.outline_px)
    middle = (outline.min(axis=0) + outline.max(axis=0)) / 2
    width, height = np.ptp(outline, axis=0)
    lines = (shell.id, _size_text(shell))
    cracks = [sheet.points(crack.path_px) for crack in shell.cracks or ()]
    marks = [*cracks, *rings_px(shell, sheet.scale)]
    most = 0.27 if not marks else 0.2  # smaller, to be moved off a crack or dimple
    letter_px = _letter_size(lines, 0.82 * float(width), most * float(width))
    box = (max(text_width_px(line, letter_px) for line in lines), 2.2 * letter_px)
    middle = middle + clear_shift(marks, middle, box, 0.27 * float(height))
    for line, side in zip(lines, (-0.55, 0.55), strict=True):
        if line:
            sheet.text(line, np.add(middle, (0, side * letter_px)), Lettering(letter_px))
    return letter_px


def _label_beside(sheet: _Sheet, shell: Shell, odd: Odd | None, letter_px: float) -> None:
    """How long its cracks are above a shell, what is odd below it, clear of other words."""
    outline = sheet.points(shell.outline_px)
    top, bottom = float(outline[:, 1].min()), float(outline[:, 1].max())
    across = float((outline[:, 0].min() + outline[:, 0].max()) / 2)
    width = float(np.ptp(outline[:, 0]))
    if shell.cracks and shell.crack_length_mm is not None:
        words = crack_words(len(shell.cracks), shell.crack_length_mm.value)
        size = max(MIN_LETTER_PX, 0.85 * letter_px)
        place = sheet.clear_place(words, size, (across, top - 0.5 * letter_px), width)
        sheet.text(words, place, Lettering(size))
    faults = ", ".join((*(odd.words[:1] if odd else ()), *mark_words(shell)))
    if faults:
        room = 1.1 * width / text_width_px(faults, 100)
        size = max(MIN_LETTER_PX, min(letter_px, 100 * room))
        place = sheet.clear_place(faults, size, (across, bottom + 0.5 * size), width)
        sheet.text(faults, place, Lettering(size, ink=ODD_INK if odd else LIGHT))


def _letter_size(lines: tuple[str, ...], width_px: float, most_px: float) -> float:
    widest = max(text_width_px(line, 100) for line in lines)
    return max(MIN_LETTER_PX, min(most_px, 100 * width_px / max(widest, 1.0)))


def _size_text(shell: Shell) -> str:
    if shell.not_measured is not None:
        return short_reason(shell.not_measured)
    if shell.diameter_mm is not None:
        return f"{rounded(shell.diameter_mm)} mm"
    return "" if shell.diameter_rel is None else f"{100 * shell.diameter_rel:.0f} %"


def short_reason(reason: str) -> str:
    """The first words of a reason, up to 18 letters, ending before a comma, colon or bracket."""
    clause = printable(reason)
    for mark in (",", ";", ":", "("):
        clause = clause.split(mark)[0]
    words = clause.split()
    while len(words) > 1 and (len(" ".join(words)) > 18 or words[-1] in LITTLE_WORDS):
        words.pop()
    return " ".join(words)[:18]


def _draw_door(sheet: _Sheet, record: Record) -> None:
    """The tray's edge towards the oven door: a line with arrow heads and the words."""
    edge_mm = _door_edge_mm(record)
    if edge_mm is None or record.view is None or record.tray is None:
        return
    start, end = sheet.points(record.view.project(edge_mm))
    inner = sheet.points(record.view.project(edge_mm - [0.0, 10.0]))
    out = _unit(start + end - inner.sum(axis=0))
    along = _unit(end - start)
    limits = np.array(sheet.canvas.shape[1::-1], float)
    middle = np.clip((start + end) / 2, 60.0, limits - 60.0)  # kept in the picture
    text = "oven door" if record.tray.door == "card" else "oven door (assumed)"
    room = text_width_px(text, DOOR_LETTER_PX) / 2 + 30
    reach = room + 0.3 * float(np.linalg.norm(end - start))
    for side in (-1, 1):
        near, far = middle + side * room * along, middle + side * reach * along
        sheet.line(np.array([[near, far]]), LIGHT, 5, closed=False)
        tip = (near + far) / 2
        arrow = np.array([tip - 26 * along, tip + 34 * out, tip + 26 * along])
        _fill(sheet, arrow)
        pieces = near + np.linspace(0, 1, DOOR_PIECES + 1)[:, None] * (far - near)
        sheet.taken.extend(_box_round(pieces[i : i + 2]) for i in range(DOOR_PIECES))
        sheet.taken.append(_box_round(arrow))
    turn = float(np.rad2deg(np.arctan2(along[1], along[0])))
    upright = (turn + 90) % 180 - 90
    sheet.text(text, middle, Lettering(DOOR_LETTER_PX, upright))


def _unit(vector: Floats) -> Floats:
    return vector / max(float(np.linalg.norm(vector)), 1e-9)


def _fill(sheet: _Sheet, polygon: Floats) -> None:
    fixed = [np.round(polygon * 2**SUB_PX).astype(np.int32)]
    canvas: Any = sheet.canvas
    cv2.fillPoly(canvas, fixed, LIGHT, cv2.LINE_AA, SUB_PX)
    cv2.polylines(canvas, fixed, True, DARK, 3, cv2.LINE_AA, SUB_PX)


def _door_edge_mm(record: Record) -> Floats | None:
    """Ends (2, 2) of the door-side edge, tray frame: of the tray where its rim was found, else
    beside the outermost shells."""
    if record.tray is None:
        return None
    if record.tray.width_mm is not None and record.tray.depth_mm is not None:
        half, y = record.tray.width_mm / 2, record.tray.depth_mm / 2
        return np.array([(-half, y), (half, y)])
    centres = np.array([s.centre_mm for s in record.shells if s.centre_mm is not None])
    sizes = [s.diameter_mm.value for s in record.shells if s.diameter_mm is not None]
    if len(centres) == 0 or not sizes:
        return None
    y = float(centres[:, 1].max()) + float(np.median(sizes)) / 2 + DOOR_GAP_MM
    return np.array([(centres[:, 0].min(), y), (centres[:, 0].max(), y)])


def _footer(record: Record, summary: Summary, scale: float, width_px: int) -> Pixels:
    """Short result, legend, warnings and a scale bar, dark on white."""
    pad, letter = 40, FOOTER_LETTER_PX
    room = width_px - 2 * pad
    lines = [
        line for text in _footer_texts(record, summary) for line in wrapped(text, letter, room)
    ]
    step = 1.3 * letter
    bar_mm = _bar_length_mm(record, scale, width_px)
    height = round(2 * pad + step * (len(lines) + (bar_mm is not None)))
    canvas: Pixels = np.full((height, width_px, 3), 255, np.uint8)
    style = Lettering(letter, ink=DARK, rim=LIGHT)
    for i, line in enumerate(lines):
        centre = (pad + text_width_px(line, letter) / 2, pad + (i + 0.5) * step)
        write_text(canvas, line, centre, style)
    if bar_mm is not None and record.px_per_mm is not None:
        length = bar_mm * record.px_per_mm * scale
        _scale_bar(canvas, (pad, round(height - pad - step / 2)), length, f"{bar_mm} mm")
    return canvas


def _footer_texts(record: Record, summary: Summary) -> list[str]:
    size = "diameter in mm" if record.view is not None else "diameter in % of the median"
    legend = f"In each shell: id, {size}. Thin dashes: cap."
    if summary.diameter_mm is not None:
        legend = f"± holds 95 %. {legend}"
    if summary.odd:
        legend += " [ ]: odd one out."
    if any(shell.cracks for shell in record.shells):
        legend += " Loop: a crack runs inside it."
    if summary.measured < summary.found:
        legend += " Dashed outline: not measured."
    legend = f"{legend} {marks_legend(record.shells)}".strip()
    notes = [f"{note[:1].upper()}{printable(note[1:])}." for note in scale_notes(record)]
    notes += [f"Warning: {printable(w)}" for w in record.warnings[:MAX_WARNINGS]]
    if len(record.warnings) > MAX_WARNINGS:
        notes.append(f"{len(record.warnings) - MAX_WARNINGS} more warnings in the record.")
    return [headline(summary), legend, *notes]


def _bar_length_mm(record: Record, scale: float, width_px: int) -> int | None:
    """The longest bar of round length within a quarter of the width; None without a scale."""
    if record.px_per_mm is None:
        return None
    fitting = [b for b in SCALE_BARS_MM if b * record.px_per_mm * scale <= width_px / 4]
    return fitting[-1] if fitting else None


def _scale_bar(canvas: Pixels, start_px: tuple[int, int], length_px: float, text: str) -> None:
    x, y = start_px
    end = round(x + length_px)
    drawn: Any = canvas
    cv2.rectangle(drawn, (x, y - 5), (end, y + 5), DARK, cv2.FILLED)
    for tick in (x, end):
        cv2.rectangle(drawn, (tick - 3, y - 20), (tick + 3, y + 20), DARK, cv2.FILLED)
    note = f"{text} at the tray's middle"
    centre = (end + 30 + text_width_px(note, FOOTER_LETTER_PX) / 2, float(y))
    write_text(canvas, note, centre, Lettering(FOOTER_LETTER_PX, ink=DARK, rim=LIGHT))
