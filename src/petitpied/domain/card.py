"""The reference card as printed, revision 1. Lengths in mm, frame ``card``.

Frame ``card``: origin at the top-left corner of the card's outline, x to the right, y down.
The outline is ID-1 (ISO/IEC 7810: 85.60 x 53.98 mm, corner radius 3.18 mm nominal). The board
is a ChArUco board of OpenCV's current (not legacy) pattern. The edge with the grey strip, the
card's lower edge, points at the oven door.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

WIDTH_MM = 85.60
HEIGHT_MM = 53.98
CORNER_RADIUS_MM = 3.18

DICTIONARY_NAME = "DICT_5X5_100"  # ArUco dictionary, by OpenCV's name
SQUARES = (7, 4)  # columns, rows
SQUARE_MM = 11.0
MARKER_MM = 8.0
BOARD_TOP_LEFT_MM = (4.3, 2.5)
MARKERS_PER_CARD = 14
LETTERS = ("A", "B", "C", "D")

STRIP_TOP_LEFT_MM = (4.3, 48.0)
PATCH_MM = (15.4, 5.0)
PATCHES_SRGB = (255, 200, 150, 100, 50)  # left to right, nominal before printing; 255: paper

#: thickness of a card printed on office paper and laminated, or on thin board; an option
DEFAULT_THICKNESS_MM = 0.3


@dataclass(frozen=True, slots=True)
class Board:
    """Size and marker numbers of a ChArUco board."""

    squares: tuple[int, int]
    square_mm: float
    marker_mm: float
    first_marker: int
    marker_count: int


LENS_CHART = Board((11, 8), 22.0, 16.0, 56, 44)


def card_board(letter: str) -> Board:
    """The board of card ``letter``; marker numbers follow each other from card A on."""
    first = LETTERS.index(letter) * MARKERS_PER_CARD
    return Board(SQUARES, SQUARE_MM, MARKER_MM, first, MARKERS_PER_CARD)


def inner_corners_mm() -> NDArray[np.float64]:
    """The 18 inner corners of a card's board (18, 2), frame card, in ChArUco order."""
    columns, rows = SQUARES
    x0, y0 = BOARD_TOP_LEFT_MM
    return np.array(
        [
            (x0 + SQUARE_MM * column, y0 + SQUARE_MM * row)
            for row in range(1, rows)
            for column in range(1, columns)
        ]
    )


def outline_corners_mm() -> NDArray[np.float64]:
    """Corners of the card's outline before rounding (4, 2), frame card: top-left, top-right,
    bottom-right, bottom-left."""
    return np.array([(0, 0), (WIDTH_MM, 0), (WIDTH_MM, HEIGHT_MM), (0, HEIGHT_MM)], float)
