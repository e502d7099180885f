"""Where each form lies on a piping sheet, and how a large sheet is cut into pages.

Frame: mm from the sheet's upper left corner, x right, y down; the lower edge is the door side.
"""

from dataclasses import dataclass
from math import ceil, floor

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
    """A piping sheet: its size, the places to pipe, and the card's upper left corner."""

    width_mm: float
    height_mm: float
    pitch_mm: tuple[float, float]
    places: tuple[Place, ...]
    card_mm: Point | None

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
    with_card: bool = True,
) -> Sheet:
    """As many places as fit, in a square lattice in the middle of the sheet.

    Parameters
    ----------
    size_mm, form_mm, pitch_mm : (across, down)
        Of the sheet, of one baked form, and between neighbours. The baked form must not reach
        into `MARGIN_MM`.
    with_card : bool
        Keep the lower right corner free for the card, its strip edge down, to the door.

    Raises
    ------
    ValueError
        If not one form fits.
    """
    room = [s - 2 * MARGIN_MM - f for s, f in zip(size_mm, form_mm, strict=True)]
    if min(room) < 0:
        raise ValueError("not one form fits on the sheet")
    columns, rows = (floor(r / p + 1e-9) + 1 for r, p in zip(room, pitch_mm, strict=True))
    left, top = (
        (s - (n - 1) * p) / 2 for s, n, p in zip(size_mm, (columns, rows), pitch_mm, strict=True)
    )
    corner = _card_corner(size_mm) if with_card else None
    places = []
    for row in range(rows):
        for column in range(columns):
            centre = (left + column * pitch_mm[0], top + row * pitch_mm[1])
            if corner is None or not _reaches(centre, form_mm, corner):
                places.append(Place(place_id(row, column), row, column, centre))
    if not places:
        raise ValueError("not one form fits beside the card")
    return Sheet(*size_mm, pitch_mm, tuple(places), corner)


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
