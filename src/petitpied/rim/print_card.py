"""The printable reference cards: one page with cards A to D, vector PDF at true scale."""

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray

from petitpied.domain import card
from petitpied.rim.marker_shapes import black_outlines_mm

MM = 72.0 / 25.4  # PDF points in a millimetre

#: width and height, mm; A4 by ISO 216, US Letter by ANSI/ASME Y14.1 (8.5 x 11 inch)
PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
PAPER_NAMES = {"a4": "A4", "letter": "US Letter"}

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
    if paper not in PAPERS_MM:
        raise ValueError(f"paper must be one of {sorted(PAPERS_MM)}, got {paper!r}")
    page = _Page(*PAPERS_MM[paper])
    page.text((16.0, 18.0), f"Reference cards A to D ({PAPER_NAMES[paper]})", size_mm=6.0)
    _paragraph(page, 26.0, INSTRUCTIONS)
    for letter, place in card_places_mm(paper).items():
        _card(page, letter, place)
    _check_bar(page, TOP_MM + 2 * card.HEIGHT_MM + CARD_GAP_MM + 22.0)
    _paragraph(page, TOP_MM + 2 * card.HEIGHT_MM + CARD_GAP_MM + 44.0, CAUTIONS)
    return page.finish()


class _Page:
    """A PDF page in millimetres, origin at the paper's top left, y down."""

    def __init__(self, width_mm: float, height_mm: float) -> None:
        from reportlab.pdfgen.canvas import Canvas

        self.width_mm, self.height_mm = width_mm, height_mm
        self._buffer = io.BytesIO()
        self._canvas: Any = Canvas(
            self._buffer,
            pagesize=(width_mm * MM, height_mm * MM),
            invariant=1,  # no date, no random file number
            pageCompression=0,  # compressed bytes would differ between versions of zlib
        )
        self._canvas.setTitle("petitpied reference cards A to D, revision 1")
        self._canvas.setCreator("petitpied")
        self._canvas.setViewerPreference("PrintScaling", "None")  # asks viewers for 100 %

    def _at(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        return x_mm * MM, (self.height_mm - y_mm) * MM

    def shapes(self, polygons_mm: list[NDArray[np.float64]], grey: float) -> None:
        """Fill closed polygons as one path (even-odd), so that no seam shows between them."""
        path = self._canvas.beginPath()
        for polygon in polygons_mm:
            path.moveTo(*self._at(*polygon[0]))
            for x, y in polygon[1:]:
                path.lineTo(*self._at(x, y))
            path.close()
        self._canvas.setFillGray(grey)
        self._canvas.drawPath(path, stroke=0, fill=1, fillMode=0)

    def line(self, start_mm: tuple[float, float], end_mm: tuple[float, float]) -> None:
        self._canvas.setStrokeGray(0.0)
        self._canvas.setLineWidth(0.15 * MM)
        self._canvas.line(*self._at(*start_mm), *self._at(*end_mm))

    def text(self, place_mm: tuple[float, float], text: str, *, size_mm: float) -> None:
        """A line of text; ``place_mm`` is its base line's left end, ``size_mm`` the font size."""
        self._canvas.setFillGray(0.0)
        self._canvas.setFont("Helvetica", size_mm * MM)
        self._canvas.drawString(*self._at(*place_mm), text)

    def text_upward(self, place_mm: tuple[float, float], text: str, *, size_mm: float) -> None:
        """As `text`, turned to run upwards from ``place_mm``."""
        self._canvas.saveState()
        self._canvas.translate(*self._at(*place_mm))
        self._canvas.rotate(90)
        self._canvas.setFillGray(0.35)
        self._canvas.setFont("Helvetica", size_mm * MM)
        self._canvas.drawString(0, 0, text)
        self._canvas.restoreState()

    def finish(self) -> bytes:
        self._canvas.showPage()
        self._canvas.save()
        return self._buffer.getvalue()


def _box(x: float, y: float, width: float, height: float) -> NDArray[np.float64]:
    return np.array([(x, y), (x + width, y), (x + width, y + height), (x, y + height)])


def _card(page: _Page, letter: str, place_mm: tuple[float, float]) -> None:
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


def _cut_marks(page: _Page, place_mm: tuple[float, float]) -> None:
    """Two short lines at each corner, on the prolonged edges, outside the outline."""
    near, far = CUT_MARK_MM
    x0, y0 = place_mm
    x1, y1 = x0 + card.WIDTH_MM, y0 + card.HEIGHT_MM
    for x, out_x in ((x0, -1), (x1, 1)):
        for y, out_y in ((y0, -1), (y1, 1)):
            page.line((x + out_x * near, y), (x + out_x * far, y))
            page.line((x, y + out_y * near), (x, y + out_y * far))


def _check_bar(page: _Page, y_mm: float) -> None:
    """A bar of 100 mm with a tick every 10 mm (short ones every 5 mm)."""
    left = (page.width_mm - BAR_MM) / 2
    page.line((left, y_mm), (left + BAR_MM, y_mm))
    for mm in range(0, 101, 5):
        page.line((left + mm, y_mm), (left + mm, y_mm - (3.0 if mm % 10 == 0 else 1.8)))
        if mm % 10 == 0:
            page.text((left + mm - 0.9 * len(str(mm)), y_mm - 4.2), str(mm), size_mm=3.2)
    note = "Check bar: exactly 100 mm from the first tick to the last."
    page.text((left, y_mm + 4.5), note, size_mm=3.4)


def _paragraph(page: _Page, y_mm: float, lines: tuple[str, ...]) -> None:
    for i, line in enumerate(lines):
        page.text((16.0, y_mm + i * 5.2), line, size_mm=3.6)
