"""The printed card: rasterised by an independent renderer, its corners are where they must be."""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest

from petitpied.camera.find_card import find_cards
from petitpied.domain import card
from petitpied.figures.print.marker_shapes import cell_outlines
from petitpied.figures.print.print_card import CARD_PAPERS, TOP_MM, card_pdf, card_places_mm

CALIBRATION = Path(__file__).parents[3] / "calibration"
DPI = 400
PAPERS = sorted(CARD_PAPERS)
SIZES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; 8.5 x 11 inch
FIRST_MARKER = {"A": 0, "B": 14, "C": 28, "D": 42}


@dataclass(frozen=True)
class Raster:
    """A page rendered in grey. The renderer stretches the page to whole pixels, so the scale is
    the raster's size over the paper's (which has a test of its own), by axis."""

    paper: str
    grey: np.ndarray

    @property
    def px_per_mm(self):
        return np.array(self.grey.shape[::-1]) / SIZES_MM[self.paper]

    def crop(self, place_mm, size_mm):
        """Grey values of a box given in mm, and the px of its corner."""
        x, y = (np.asarray(place_mm) * self.px_per_mm).astype(int)
        width, height = (np.asarray(size_mm) * self.px_per_mm).astype(int)
        return self.grey[y : y + height, x : x + width], np.array([x, y])


@pytest.fixture(scope="module", params=PAPERS)
def page(request):
    document = pypdfium2.PdfDocument(card_pdf(request.param))
    grey = document[0].render(scale=DPI / 72, grayscale=True).to_numpy()
    document.close()
    return Raster(request.param, np.ascontiguousarray(grey.reshape(grey.shape[0], -1)))


@pytest.mark.parametrize("paper", PAPERS)
def test_one_page_of_the_papers_true_size(paper):
    document = pypdfium2.PdfDocument(card_pdf(paper))
    assert len(document) == 1
    # the page's size is written in hundredths of a point: half of one is 0.0018 mm
    assert np.array(document[0].get_size()) / 72 * 25.4 == pytest.approx(SIZES_MM[paper], abs=2e-3)
    document.close()


def test_all_18_inner_corners_of_each_card_are_in_place(page):
    """Bound of 0.05 mm: what the issue asks of the print's definition."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    for letter, place in card_places_mm(page.paper).items():
        ids = np.arange(14) + FIRST_MARKER[letter]
        board = cv2.aruco.CharucoBoard((7, 4), 11.0, 8.0, dictionary, ids)
        crop, corner = page.crop(place, (85.6, 53.98))
        found, numbers, _, marker_ids = cv2.aruco.CharucoDetector(board).detectBoard(crop)
        assert sorted(marker_ids.ravel()) == ids.tolist()
        assert numbers.ravel().tolist() == list(range(18))
        # pixel centres lie half a pixel from the paper's edge
        found_mm = (found.reshape(-1, 2) + corner + 0.5) / page.px_per_mm - place
        wanted_mm = np.array([(4.3 + 11 * i, 2.5 + 11 * j) for j in (1, 2, 3) for i in range(1, 7)])
        assert np.abs(found_mm - wanted_mm).max() < 0.05


def test_the_grey_strip_has_its_levels_and_place(page):
    for place in card_places_mm(page.paper).values():
        for i, level in enumerate((255, 200, 150, 100, 50)):
            patch_mm = np.add(place, (4.3 + 15.4 * i, 48.0))
            patch, _ = page.crop(patch_mm + 0.2, (15.0, 4.6))
            assert np.abs(patch.astype(int) - level).max() <= 1  # the PDF's 0..1 grey, rounded


def test_nothing_else_is_printed_near_the_board(page):
    """About 1 mm of bare paper stays around board and strip."""
    for place in card_places_mm(page.paper).values():
        for x, y, width, height in ((3.3, 1.5, 0.8, 52), (81.5, 1.5, 0.8, 52), (3.3, 1.5, 79, 0.8)):
            margin, _ = page.crop(np.add(place, (x, y)), (width, height))
            assert margin.min() == 255


def test_no_seam_inside_a_black_marker_border(page):
    place = card_places_mm(page.paper)["A"]
    module = 8 / 7
    border, _ = page.crop(np.add(place, (4.3 + 12.5 + 0.1, 2.5 + 1.5 + 0.1)), (7.8, module - 0.2))
    assert border.max() == 0


def test_the_check_bar_is_100_mm_long(page):
    below_cards, _ = page.crop((0, TOP_MM + 2 * 53.98 + 15), (SIZES_MM[page.paper][0], 30))
    runs = [np.flatnonzero(row < 128) for row in below_cards]
    bar = max(runs, key=len)
    assert np.ptp(bar) + 1 == len(bar)  # one unbroken line
    # the outer ticks' centre lines are 100 mm apart; the bar adds a line width of 0.15 mm, and
    # each end is known to a pixel (0.06 mm)
    assert len(bar) / page.px_per_mm[0] == pytest.approx(100.15, abs=0.16)


def _shown(data):
    """What a PDF shows: its text, and its page in grey at 200 dpi."""
    document = pypdfium2.PdfDocument(data)
    text_page = document[0].get_textpage()
    text = text_page.get_text_range()
    text_page.close()
    grey = document[0].render(scale=200 / 72, grayscale=True).to_numpy().copy()
    document.close()
    return text, grey


@pytest.mark.parametrize("paper", PAPERS)
def test_the_committed_page_is_the_one_we_print(paper):
    """Compared as shown: another version of the PDF library may write other bytes."""
    committed, printed = (CALIBRATION / f"card_{paper}.pdf").read_bytes(), card_pdf(paper)
    assert printed == card_pdf(paper)
    (text, grey), (wanted_text, wanted_grey) = _shown(committed), _shown(printed)
    assert text == wanted_text
    assert (grey == wanted_grey).all()


@pytest.mark.parametrize("paper", PAPERS)
def test_the_committed_cards_are_the_ones_we_measure_by(paper):
    """What the program finds on the page as committed, against the card that it measures by."""
    document = pypdfium2.PdfDocument((CALIBRATION / f"card_{paper}.pdf").read_bytes())
    grey = document[0].render(scale=DPI / 72, grayscale=True).to_numpy()
    document.close()
    raster = Raster(paper, np.ascontiguousarray(grey.reshape(grey.shape[0], -1)))
    places = card_places_mm(paper)
    seen = find_cards(raster.grey)
    assert sorted(one.letter for one in seen) == sorted(places)
    for one in seen:
        corners = slice(one.chess_corners)
        assert one.points_card_mm[corners] == pytest.approx(card.inner_corners_mm())
        found_mm = (one.points_px[corners] + 0.5) / raster.px_per_mm - places[one.letter]
        # a third of a pixel at 400 dpi
        assert np.abs(found_mm - card.inner_corners_mm()).max() < 0.02


@pytest.mark.parametrize("paper", PAPERS)
def test_the_page_says_how_to_print_check_and_lay_it(paper):
    text, _ = _shown(card_pdf(paper))
    for part in (
        "100 % (actual size)",
        "100 mm",
        "85.60 x 53.98 mm",
        "oven door",
        "contact with food",
    ):
        assert part in text


def test_unknown_paper_names_the_choices():
    with pytest.raises(ValueError, match="letter"):
        card_pdf("a5")


def test_cell_outlines_leave_no_line_inside():
    """Two cells side by side give one rectangle; a hole gives its own outline."""
    (pair,) = cell_outlines(np.array([[True, True]]))
    assert sorted(map(tuple, pair.tolist())) == [(0, 0), (0, 1), (1, 0), (1, 1), (2, 0), (2, 1)]
    ring = np.ones((3, 3), bool)
    ring[1, 1] = False
    assert [len(o) for o in cell_outlines(ring)] == [12, 4]
