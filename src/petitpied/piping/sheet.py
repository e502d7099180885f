"""Where each form lies on a piping sheet, and how a large sheet is cut into pages.

Frame: mm from the sheet's upper left corner, x right, y down; the lower edge is the door side.
"""

from dataclasses import dataclass
from math import ceil, floor, sqrt

from petitpied.domain import card

#: bare border of a sheet: printers do not reach the edge, and lattice letters stand in it
MARGIN_MM = 16.0
#: free space round the card: a hand's slack, and no shell touches it
CARD_ROOM_MM = 6.0
#: pages of a large sheet overlap by this, to be glued
OVERLAP_MM = 10.0
#: what common printers leave bare at each edge of a page, mm
PAGE_BORDER_MM = 10.0

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Place:
    """A place of the lattice: id as the record names it, and the middle, mm."""

    id: str
    row: int
    column: int
    centre_mm: Point


@dataclass(frozen=True, slots=True)
class Sheet:
    """A piping sheet: its size, the places to pipe, and the card's upper left corner.

    ``staggered``: every other row is shifted by half of ``pitch_mm[0]``."""

    width_mm: float
    height_mm: float
    pitch_mm: tuple[float, float]
    places: tuple[Place, ...]
    card_mm: Point | None
    staggered: bool = False

    @property
    def rows(self) -> int:
        return 1 + max((p.row for p in self.places), default=-1)

    @property
    def columns(self) -> int:
        return 1 + max((p.column for p in self.places), default=-1)


@dataclass(frozen=True, slots=True)
class Tile:
    """One page of a large sheet: which part of it the page shows, mm of the sheet."""

    row: int
    column: int
    left_mm: float
    top_mm: float


def lay_out(
    size_mm: tuple[float, float],
    form_mm: tuple[float, float],
    pitch_mm: tuple[float, float],
    *,
    with_card: bool | None = True,
) -> Sheet:
    """As many places as fit: in a square lattice, or with every other row shifted by half a pitch
    where the form is round and more fit so.

    Parameters
    ----------
    size_mm, form_mm, pitch_mm : (across, down)
        Of the sheet, of one baked form, and between neighbours. The baked form must not reach
        into `MARGIN_MM`.
    with_card : bool, optional
        Keep the lower right corner free for the card, its strip edge down, to the door; None:
        only where that costs no place.

    Raises
    ------
    ValueError
        If not one form fits.
    """
    if min(s - 2 * MARGIN_MM - f for s, f in zip(size_mm, form_mm, strict=True)) < 0:
        raise ValueError("not one form fits on the sheet")
    bare = _fullest(size_mm, form_mm, pitch_mm, None)
    if with_card is False:
        return bare
    sheet = _fullest(size_mm, form_mm, pitch_mm, _card_corner(size_mm))
    if with_card is None and len(sheet.places) < len(bare.places):
        return bare
    if not sheet.places:
        raise ValueError("not one form fits beside the card")
    return sheet


def _fullest(
    size_mm: Point, form_mm: Point, pitch_mm: Point, corner: Point | None
) -> Sheet:
    """The lattice with most places; in the middle of the sheet, or, beside a card, from its upper
    left. Of equals the first."""
    round_form = abs(form_mm[0] - form_mm[1]) < 1e-6 and pitch_mm[0] == pitch_mm[1]
    found = []
    for staggered in (False, True) if round_form else (False,):
        for at_corner in (False, True) if corner else (False,):
            places, pitch = _lattice(size_mm, form_mm, pitch_mm, staggered, at_corner)
            free = tuple(
                p for p in places if corner is None or not _reaches(p.centre_mm, form_mm, corner)
            )
            found.append(Sheet(*size_mm, pitch, free, corner, staggered))
    return max(found, key=lambda sheet: len(sheet.places))


def _lattice(
    size_mm: Point, form_mm: Point, pitch_mm: Point, staggered: bool, at_corner: bool
) -> tuple[list[Place], Point]:
    """Every place, and the pitch: of staggered rows so close that neighbours of two rows are as
    far apart as those of one."""
    across, down = pitch_mm
    if staggered:
        down = ceil(10 * across * sqrt(3) / 2 - 1e-9) / 10
    room = [s - 2 * MARGIN_MM - f for s, f in zip(size_mm, form_mm, strict=True)]
    rows = floor(room[1] / down + 1e-9) + 1
    shift = across / 2 if staggered and rows > 1 else 0.0
    counts = [floor((room[0] - s) / across + 1e-9) + 1 for s in (0.0, shift)]
    width = max((counts[0] - 1) * across, shift + (counts[1] - 1) * across)
    left, top = (size_mm[0] - width) / 2, (size_mm[1] - (rows - 1) * down) / 2
    if at_corner:
        left, top = (MARGIN_MM + f / 2 for f in form_mm)
    places = [
        Place(
            place_id(row, column), row, column,
            (left + column * across + shift * (row % 2), top + row * down),
        )
        for row in range(rows)
        for column in range(counts[row % 2])
    ]  # fmt: skip
    return places, (across, down)


def _card_corner(size_mm: tuple[float, float]) -> Point:
    return (
        size_mm[0] - MARGIN_MM - card.WIDTH_MM,
        size_mm[1] - MARGIN_MM - card.HEIGHT_MM,
    )


def _reaches(centre: Point, form_mm: tuple[float, float], corner: Point) -> bool:
    """Whether a form lies over the card or its free space."""
    reach = [c + f / 2 + CARD_ROOM_MM for c, f in zip(centre, form_mm, strict=True)]
    return reach[0] > corner[0] and reach[1] > corner[1]


def place_id(row: int, column: int) -> str:
    """As in the record: letter of the row from the far side, number of the column."""
    letters = ""
    row += 1
    while row:
        row, digit = divmod(row - 1, 26)
        letters = chr(ord("A") + digit) + letters
    return f"{letters}{column + 1}"


def tiles(size_mm: tuple[float, float], page_mm: tuple[float, float]) -> tuple[Tile, ...]:
    """Pages that together show the whole sheet, each overlapping the next by `OVERLAP_MM`.

    A page shows its paper less `PAGE_BORDER_MM` on all sides.
    """
    shown = [p - 2 * PAGE_BORDER_MM for p in page_mm]
    step = [s - OVERLAP_MM for s in shown]
    counts = [
        max(1, ceil((total - OVERLAP_MM) / s)) for total, s in zip(size_mm, step, strict=True)
    ]
    return tuple(
        Tile(row, column, column * step[0], row * step[1])
        for row in range(counts[1])
        for column in range(counts[0])
    )
