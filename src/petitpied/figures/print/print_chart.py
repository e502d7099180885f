"""The printable lens chart as vector PDF at true scale, and as a picture for a tablet."""

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain import card
from petitpied.figures.drawing import Drawing, Path, Text
from petitpied.figures.paper import BAR_MM, BLACK, PAPER_NAMES, PAPERS_MM, scale_bar
from petitpied.figures.pdf import pages_pdf
from petitpied.figures.print.marker_shapes import black_outlines_mm, marker_modules

CHART_PAPERS = ("a4", "letter")
#: white that the markers' finder needs round the board; common practice: a quarter of a square
QUIET_MM = 5.5
#: 14: every module of a marker (16 mm / 7) is then 32 whole pixels, finer than a tablet's screen
SCREEN_PX_PER_MM = 14

ABOVE = (
    'Lens chart ({paper}). Print at 100 %, not "fit to page", on matt paper; glue it on a board.',
    "Take 8 or more sharp photos from all sides, tilted by up to 40 degrees, the chart also in "
    "each corner of the picture.",
)
BELOW = (
    "The bar must measure 100 mm; if not, give a square's measured side with --square-mm (22 mm "
    "is true).",
    "Same lens, zoom and picture size as for the trays. Then: petitpied lens PHOTO...",
)


def chart_pdf(paper: str) -> bytes:
    """The chart on a landscape page; the same bytes at every call.

    Parameters
    ----------
    paper : {"a4", "letter"}

    Raises
    ------
    ValueError
        If the paper is unknown.
    """
    if paper not in CHART_PAPERS:
        raise ValueError(f"paper must be one of {sorted(CHART_PAPERS)}, got {paper!r}")
    height_mm, width_mm = PAPERS_MM[paper]
    left, top = chart_place_mm(paper)
    board = [np.add(outline, (left, top)) for outline in black_outlines_mm(card.LENS_CHART)]
    page = Drawing(width_mm, height_mm, [Path(board, True, BLACK, None)], unit="mm")
    for i, line in enumerate(ABOVE):
        y = top - QUIET_MM - 4.6 * (len(ABOVE) - 1 - i)
        page.add(Text((left, y), line.format(paper=PAPER_NAMES[paper]), 3.2, colour=BLACK))
    bottom = height_mm - top + QUIET_MM + 3.0
    for i, line in enumerate(BELOW):
        page.add(Text((left + BAR_MM + 6.0, bottom + 4.4 * i - 0.6), line, 2.6, colour=BLACK))
    page.add(*scale_bar(left, bottom + 1.6))
    return pages_pdf([page], "petitpied lens chart, revision 1")


def chart_place_mm(paper: str) -> tuple[float, float]:
    """The board's top-left corner on the landscape page, mm: centred."""
    height_mm, width_mm = PAPERS_MM[paper]
    columns, rows = card.LENS_CHART.squares
    side = card.LENS_CHART.square_mm
    return (width_mm - columns * side) / 2, (height_mm - rows * side) / 2


def chart_png() -> bytes:
    """The chart for a tablet's full screen: white round it, no text, not to any scale."""
    chart, scale = card.LENS_CHART, SCREEN_PX_PER_MM
    side, margin = round(chart.square_mm * scale), round(chart.square_mm * scale / 2)
    inset = round((chart.square_mm - chart.marker_mm) / 2 * scale)
    columns, rows = chart.squares
    picture: NDArray[np.uint8] = np.full(
        (rows * side + 2 * margin, columns * side + 2 * margin), 255, np.uint8
    )
    marker = chart.first_marker
    for row in range(rows):
        for column in range(columns):
            y, x = margin + row * side, margin + column * side
            if (row + column) % 2 == 0:
                picture[y : y + side, x : x + side] = 0
                continue
            black = marker_modules(marker)
            module = round(chart.marker_mm * scale / len(black))
            face = np.kron(~black, np.full((module, module), 255, np.uint8))
            size = len(face)
            picture[y + inset : y + inset + size, x + inset : x + inset + size] = face
            marker += 1
    done, data = cv2.imencode(".png", picture)
    if not done:
        raise ValueError("the chart could not be encoded as PNG")
    return bytes(data)
