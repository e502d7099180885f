"""The printable reference cards: one page with cards A to D, vector PDF at true scale."""

import numpy as np

from petitpied.domain import card
from petitpied.figures.drawing import Drawing, Path, Shape, Text, rect
from petitpied.figures.paper import (
    BAR_MM,
    BLACK,
    PAPER_NAMES,
    PAPERS_MM,
    grey,
    hairlines,
    scale_bar,
)
from petitpied.figures.pdf import pages_pdf
from petitpied.figures.print.marker_shapes import black_outlines_mm

CARD_PAPERS = ("a4", "letter")
CARD_GAP_MM = 12.0  # between two cards: room for the cut marks of both
TOP_MM = 64.0  # from the paper's upper edge to the upper cards
CUT_MARK_MM = (1.0, 4.5)  # from, to: distance from the card's outline

INSTRUCTIONS = (
    '1. Print at 100 % (actual size), not "fit to page", on matt white paper.',
    "2. Check the print: a ruler on the bar below must read 100 mm. Or lay an ID-1 card, such as a",
    "    bank card (85.60 x 53.98 mm), on a card: its edges must meet the cut marks on all sides.",
    "3. Cut along the marks. Laminate matt or glue on thin board, so that the card lies flat.",
    "4. Lay one card or more flat on the liner, the grey strip towards the oven door.",
    "    Then take the photo, standing back and zooming in.",
)
CAUTIONS = (
    "Not for contact with food: lay the card where no shell touches it; wipe it after use.",
    "Photograph a cooled tray. Never reach into a hot oven for a photo.",
    "Use each letter once in a photo: two cards of the same letter cannot be told apart.",
)


def card_places_mm(paper: str) -> dict[str, tuple[float, float]]:
    """Letter to top-left corner (x, y) of each card on the page, mm from the paper's top left."""
    width, _ = PAPERS_MM[paper]
    left = (width - 2 * card.WIDTH_MM - CARD_GAP_MM) / 2
    step_x, step_y = card.WIDTH_MM + CARD_GAP_MM, card.HEIGHT_MM + CARD_GAP_MM
    return {
        letter: (left + step_x * (i % 2), TOP_MM + step_y * (i // 2))
        for i, letter in enumerate(card.LETTERS)
    }


def card_pdf(paper: str) -> bytes:
    """The page as PDF; the same bytes at every call.

    Parameters
    ----------
    paper : {"a4", "letter"}

    Raises
    ------
    ValueError
        If the paper is unknown.
    """
    if paper not in CARD_PAPERS:
        raise ValueError(f"paper must be one of {sorted(CARD_PAPERS)}, got {paper!r}")
    width_mm, height_mm = PAPERS_MM[paper]
    page = Drawing(width_mm, height_mm, unit="mm")
    title = f"Reference cards A to D ({PAPER_NAMES[paper]})"
    page.add(Text((16.0, 18.0), title, 5.6, colour=BLACK))
    page.add(*_paragraph(26.0, INSTRUCTIONS))
    for letter, place in card_places_mm(paper).items():
        page.add(*_card(letter, place))
    below = TOP_MM + 2 * card.HEIGHT_MM + CARD_GAP_MM
    left = (width_mm - BAR_MM) / 2
    note = "Check bar: exactly 100 mm from the first tick to the last."
    page.add(*scale_bar(left, below + 22.0, numbered=True))
    page.add(Text((left, below + 26.5), note, 3.2, colour=BLACK))
    page.add(*_paragraph(below + 44.0, CAUTIONS))
    return pages_pdf([page], "petitpied reference cards A to D, revision 1")


def _card(letter: str, place_mm: tuple[float, float]) -> list[Shape]:
    """One card: board, grey strip, letter and door arrow in the free margins, cut marks."""
    origin = np.array(place_mm)
    x, y = place_mm
    board = black_outlines_mm(card.card_board(letter))
    shapes: list[Shape] = [
        # one path, so that no seam shows between its parts
        Path([o + origin + card.BOARD_TOP_LEFT_MM for o in board], True, BLACK, None)
    ]
    for i, level in enumerate(card.PATCHES_SRGB):
        if level < 255:  # 255 is unprinted paper
            corner = origin + card.STRIP_TOP_LEFT_MM + (i * card.PATCH_MM[0], 0.0)
            shapes.append(rect((corner[0], corner[1]), card.PATCH_MM, fill=(level, level, level)))
    # the margins beside the content are 4.3 mm wide; about 1 mm of them stays free at the board
    arrow = np.array([(0.8, 48.0), (3.0, 48.0), (1.9, 50.4)]) + origin
    way = Text((x + 2.5, y + 46.5), "oven door this way", 1.8, colour=grey(0.35), turn_deg=-90)
    return [
        *shapes,
        Text((x + 82.5, y + 50.9), letter, 3.3, colour=BLACK),
        way,
        Path([arrow], True, grey(0.35), None),
        _cut_marks(place_mm),
    ]


def _cut_marks(place_mm: tuple[float, float]) -> Path:
    """Two short lines at each corner, on the prolonged edges, outside the outline."""
    near, far = CUT_MARK_MM
    x0, y0 = place_mm
    marks = []
    for x, out_x in ((x0, -1), (x0 + card.WIDTH_MM, 1)):
        for y, out_y in ((y0, -1), (y0 + card.HEIGHT_MM, 1)):
            marks.append(((x + out_x * near, y), (x + out_x * far, y)))
            marks.append(((x, y + out_y * near), (x, y + out_y * far)))
    return hairlines(*marks)


def _paragraph(y_mm: float, lines: tuple[str, ...]) -> list[Text]:
    return [
        Text((16.0, y_mm + i * 5.2), line, 3.4, colour=BLACK) for i, line in enumerate(lines)
    ]
