"""The annotated picture: what was found, drawn so that a phone and a black-and-white print show
it. Light lines lie on wider dark ones; each meaning has a shape of its own, not only a colour.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.figures.drawing import (
    TEXT_HALO_REL,
    Drawing,
    Path,
    Picture,
    Shape,
    Text,
    Window,
    rect,
)
from petitpied.figures.letters import column, text_width, wrapped
from petitpied.figures.look import AMBER, INK, PAPER, Rgb
from petitpied.figures.raster import Pixels, jpeg_bytes
from petitpied.figures.tray.crack_marks import clear_shift, ring_round
from petitpied.figures.tray.surface_marks import legend as marks_legend
from petitpied.figures.tray.surface_marks import mark_shapes, rings_px
from petitpied.statistics.tray_summary import Odd, Summary
from petitpied.text.shell_faults import crack_words, mark_words
from petitpied.text.summary_words import headline, scale_notes
from petitpied.text.wording import printable, rounded

Floats = NDArray[np.float64]

LONG_SIDE_PX = 2400

#: smallest letters: 28 px of 2400 are 4.5 px of a phone's 390, legible when zoomed in twice
MIN_LETTER_PX = 28.0
FOOTER_LETTER_PX, FOOTER_PAD_PX = 54.0, 40.0
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
    """The picture's shapes, and the way from photo pixels to them."""

    scale: float
    size: tuple[float, float]
    shapes: list[Shape] = field(default_factory=list)
    taken: list[Box] = field(default_factory=list)  # where words stand

    def points(self, photo_px: Floats) -> Floats:
        """Photo px (N, 2), whole numbers at the pixels' middles, to the picture's."""
        return (np.asarray(photo_px, float) + 0.5) * self.scale

    def line(
        self, lines: Sequence[Floats], width: float, *, closed: bool = True, ink: Rgb = PAPER,
        dash: float = 0.0,
    ) -> None:  # fmt: skip
        """Lines of ``ink`` over wider dark ones."""
        self.shapes.append(Path(lines, closed, None, ink, width, dash, INK))

    def text(
        self, text: str, centre: Floats, size: float, *, ink: Rgb = PAPER, turn_deg: float = 0.0
    ) -> None:
        """Words about a place, moved where they would leave the picture."""
        turn = np.deg2rad(turn_deg)
        half = np.array([text_width(text, size) / 2, 0.65 * size]) + TEXT_HALO_REL * size
        reach = np.abs([[np.cos(turn), np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ half
        x, y = np.maximum(np.minimum(centre, self.size - reach), reach).tolist()
        self.shapes.append(
            Text((x, y), text, size, "middle", "middle", ink, turn_deg=turn_deg, halo=INK)
        )
        if abs(turn_deg) < 45:
            self.taken.append(_box(text, size, centre))

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
    half = (text_width(text, size_px) / 2, 0.55 * size_px)
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
    return jpeg_bytes(marked_picture(pixels_bgr, record, summary))


def marked_picture(pixels_bgr: Pixels, record: Record, summary: Summary) -> Drawing:
    """The photo with shells, cards and door side marked, and a footer with the short result.

    Parameters
    ----------
    pixels_bgr : ndarray of shape (H, W, 3)
        The photo that the record describes.

    Returns
    -------
    Drawing
        In px; the photo part has a long side of `LONG_SIDE_PX`, the footer is below.
    """
    scale = LONG_SIDE_PX / max(pixels_bgr.shape)
    height, width = (max(1, round(side * scale)) for side in pixels_bgr.shape[:2])
    sheet = _Sheet(scale, (width, height))
    odd = {o.id: o for o in summary.odd}
    for card in record.cards:
        corners = sheet.points(card.corners_px)
        sheet.line([corners], 3)
        letter_px = max(MIN_LETTER_PX, 0.16 * float(np.ptp(corners[:, 0])))
        sheet.text(f"card {card.id}", corners.mean(axis=0), letter_px)
    for shell in record.shells:
        _draw_lines(sheet, shell, shell.id in odd)
    sheet.shapes.extend(mark_shapes(record, scale))
    _draw_door(sheet, record)
    letters = [_label(sheet, shell) for shell in record.shells]
    for shell, letter_px in zip(record.shells, letters, strict=True):
        _label_beside(sheet, shell, odd.get(shell.id), letter_px)
    footer, below = _footer(record, summary, sheet)
    photo = Picture(pixels_bgr, (0.0, 0.0), sheet.size)
    shown = Window((0.0, 0.0), sheet.size, [photo, *sheet.shapes])
    return Drawing(width, height + below, [shown, *footer])


def _draw_lines(sheet: _Sheet, shell: Shell, odd: bool) -> None:
    outline = sheet.points(shell.outline_px)
    if shell.not_measured is not None:
        sheet.line([outline], 4, dash=26)
        return
    if shell.cap_outline_px is not None:
        sheet.line([sheet.points(shell.cap_outline_px)], 1, dash=12)
    sheet.line([outline[::2]], 4)
    if odd:
        sheet.line(list(_brackets(outline)), 7, closed=False, ink=AMBER)
    sheet.line([ring_round(sheet.points(crack.path_px)) for crack in shell.cracks or ()], 2)


def _brackets(outline: Floats) -> Floats:
    """A square bracket left and right of an outline: lines (2, 4, 2)."""
    (x0, y0), (x1, y1) = outline.min(axis=0) - 9, outline.max(axis=0) + 9
    arm = 0.22 * (x1 - x0)
    left = [(x0 + arm, y0), (x0, y0), (x0, y1), (x0 + arm, y1)]
    right = [(x1 - arm, y0), (x1, y0), (x1, y1), (x1 - arm, y1)]
    return np.array([left, right])


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
    box = (max(text_width(line, letter_px) for line in lines), 2.2 * letter_px)
    middle = middle + clear_shift(marks, middle, box, 0.27 * float(height))
    for line, side in zip(lines, (-0.55, 0.55), strict=True):
        if line:
            sheet.text(line, np.add(middle, (0, side * letter_px)), letter_px)
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
        sheet.text(words, place, size)
    faults = ", ".join((*(odd.words[:1] if odd else ()), *mark_words(shell)))
    if faults:
        room = 1.1 * width / text_width(faults, 100)
        size = max(MIN_LETTER_PX, min(letter_px, 100 * room))
        place = sheet.clear_place(faults, size, (across, bottom + 0.5 * size), width)
        sheet.text(faults, place, size, ink=AMBER if odd else PAPER)


def _letter_size(lines: tuple[str, ...], width_px: float, most_px: float) -> float:
    widest = max(text_width(line, 100) for line in lines)
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
    limits = np.array(sheet.size)
    middle = np.clip((start + end) / 2, 60.0, limits - 60.0)  # kept in the picture
    text = "oven door" if record.tray.door == "card" else "oven door (assumed)"
    room = text_width(text, DOOR_LETTER_PX) / 2 + 30
    reach = room + 0.3 * float(np.linalg.norm(end - start))
    for side in (-1, 1):
        near, far = middle + side * room * along, middle + side * reach * along
        sheet.line([np.array([near, far])], 5, closed=False)
        tip = (near + far) / 2
        arrow = np.array([tip - 26 * along, tip + 34 * out, tip + 26 * along])
        sheet.shapes.append(Path([arrow], True, PAPER, INK, 3.0))
        pieces = near + np.linspace(0, 1, DOOR_PIECES + 1)[:, None] * (far - near)
        sheet.taken.extend(_box_round(pieces[i : i + 2]) for i in range(DOOR_PIECES))
        sheet.taken.append(_box_round(arrow))
    turn = float(np.rad2deg(np.arctan2(along[1], along[0])))
    upright = (turn + 90) % 180 - 90
    sheet.text(text, middle, DOOR_LETTER_PX, turn_deg=upright)


def _unit(vector: Floats) -> Floats:
    return vector / max(float(np.linalg.norm(vector)), 1e-9)


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


def _footer(record: Record, summary: Summary, sheet: _Sheet) -> tuple[list[Shape], float]:
    """Short result, legend, warnings and a scale bar, dark on white below the photo; its
    height."""
    width, top = sheet.size[0], sheet.size[1] + FOOTER_PAD_PX
    letter, pad = FOOTER_LETTER_PX, FOOTER_PAD_PX
    lines = [
        line
        for text in _footer_texts(record, summary)
        for line in wrapped(text, letter, width - 2 * pad)
    ]
    step = 1.3 * letter
    shapes: list[Shape] = [*column(lines, pad, top, letter, step)]
    bar_mm = _bar_length_mm(record, sheet.scale, width)
    if bar_mm is not None and record.px_per_mm is not None:
        length = bar_mm * record.px_per_mm * sheet.scale
        middle = (pad, top + step * (len(lines) + 0.5))
        shapes += _scale_bar(middle, length, f"{bar_mm} mm at the tray's middle")
    return shapes, round(2 * pad + step * (len(lines) + (bar_mm is not None)))


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


def _bar_length_mm(record: Record, scale: float, width_px: float) -> int | None:
    """The longest bar of round length within a quarter of the width; None without a scale."""
    if record.px_per_mm is None:
        return None
    fitting = [b for b in SCALE_BARS_MM if b * record.px_per_mm * scale <= width_px / 4]
    return fitting[-1] if fitting else None


def _scale_bar(start: tuple[float, float], length: float, note: str) -> list[Shape]:
    x, y = start
    parts = [
        rect((x, y - 5), (length, 10), fill=INK),
        *(rect((tick - 3, y - 20), (6, 40), fill=INK) for tick in (x, x + length)),
    ]
    return [*parts, Text((x + length + 30, y), note, FOOTER_LETTER_PX, level="middle")]
