"""The printable reference cards: one page with cards A to D, vector PDF at true scale."""

import numpy as np
from numpy.typing import NDArray

from petitpied.domain import card
from petitpied.figures.print.marker_shapes import black_outlines_mm
from petitpied.figures.print.pdf_page import PAPER_NAMES, PAPERS_MM, Page

CARD_PAPERS = ("a4", "letter")
CARD_GAP_MM = 12.0  # between two cards: room for the cut marks of both
TOP_MM = 64.0  # from the paper's upper edge to the upper cards
CUT_MARK_MM = (1.0, 4.5)  # from, to: distance from the card's outline
BAR_MM = 100.0

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
    page = Page(PAPERS_MM[paper], "petitpied reference cards A to D, revision 1")
    page.text((16.0, 18.0), f"Reference cards A to D ({PAPER_NAMES[paper]})", size_mm=6.0)
    _paragraph(page, 26.0, INSTRUCTIONS)
    for letter, place in card_places_mm(paper).items():
        _card(page, letter, place)
    _check_bar(page, TOP_MM + 2 * card.HEIGHT_MM + CARD_GAP_MM + 22.0)
    _paragraph(page, TOP_MM + 2 * card.HEIGHT_MM + CARD_GAP_MM + 44.0, CAUTIONS)
    return page.finish()


def _box(x: float, y: float, width: float, height: float) -> NDArray[np.float64]:
    return np.array([(x, y), (x + width, y), (x + width, y + height), (x, y + height)])


def _card(page: Page, letter: str, place_mm: tuple[float, float]) -> None:
    """One card: board, grey strip, letter and door arrow in the free margins, cut marks."""
    origin = np.array(place_mm)
    board = card.card_board(letter)
    outlines = black_outlines_mm(board)
    page.shapes([p + origin + card.BOARD_TOP_LEFT_MM for p in outlines], grey=0.0)
    x, y = origin + card.STRIP_TOP_LEFT_MM
    width, height = card.PATCH_MM
    for i, level in enumerate(card.PATCHES_SRGB):
        if level < 255:  # 255 is unprinted paper
            page.shapes([_box(x + i * width, y, width, height)], grey=level / 255)
    # the margins beside the content are 4.3 mm wide; about 1 mm of them stays free at the board
    page.text((origin[0] + 82.5, origin[1] + 50.9), letter, size_mm=3.4)
    page.text_upward((origin[0] + 2.5, origin[1] + 46.5), "oven door this way", size_mm=1.9)
    arrow = np.array([(0.8, 48.0), (3.0, 48.0), (1.9, 50.4)])
    page.shapes([arrow + origin], grey=0.35)
    _cut_marks(page, place_mm)


def _cut_marks(page: Page, place_mm: tuple[float, float]) -> None:
    """Two short lines at each corner, on the prolonged edges, outside the outline."""
    near, far = CUT_MARK_MM
    x0, y0 = place_mm
    x1, y1 = x0 + card.WIDTH_MM, y0 + card.HEIGHT_MM
    for x, out_x in ((x0, -1), (x1, 1)):
        for y, out_y in ((y0, -1), (y1, 1)):
            page.line((x + out_x * near, y), (x + out_x * far, y))
            page.line((x, y + out_y * near), (x, y + out_y * far))


def _check_bar(page: Page, y_mm: float) -> None:
    """A bar of 100 mm with a tick every 10 mm (short ones every 5 mm)."""
    left = (page.width_mm - BAR_MM) / 2
    page.line((left, y_mm), (left + BAR_MM, y_mm))
    for mm in range(0, 101, 5):
        page.line((left + mm, y_mm), (left + mm, y_mm - (3.0 if mm % 10 == 0 else 1.8)))
        if mm % 10 == 0:
            page.text((left + mm - 0.9 * len(str(mm)), y_mm - 4.2), str(mm), size_mm=3.2)
    note = "Check bar: exactly 100 mm from the first tick to the last."
    page.text((left, y_mm + 4.5), note, size_mm=3.4)


def _paragraph(page: Page, y_mm: float, lines: tuple[str, ...]) -> None:
    for i, line in enumerate(lines):
        page.text((16.0, y_mm + i * 5.2), line, size_mm=3.6)
