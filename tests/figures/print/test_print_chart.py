"""The printed lens chart, rasterised by an independent renderer: corners where they must be."""

from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest

from petitpied.cli.measuring.lens import SQUARE_MM
from petitpied.domain.card import LENS_CHART
from petitpied.figures.print.print_chart import chart_pdf, chart_png

CALIBRATION = Path(__file__).parents[3] / "calibration"
SIZES_MM = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}  # ISO 216; 11 x 8.5 inch
DPI = 200


def rendered(data):
    document = pypdfium2.PdfDocument(data)
    grey = document[0].render(scale=DPI / 72, grayscale=True).to_numpy()
    text_page = document[0].get_textpage()
    text = text_page.get_text_range()
    text_page.close()
    count = len(document)
    document.close()
    return np.ascontiguousarray(grey.reshape(grey.shape[0], -1)), text, count


def detected(grey):
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    board = cv2.aruco.CharucoBoard((11, 8), 22.0, 16.0, dictionary, np.arange(56, 100))
    corners, numbers, _, ids = cv2.aruco.CharucoDetector(board).detectBoard(grey)
    assert sorted(ids.ravel()) == list(range(56, 100))
    assert numbers.ravel().tolist() == list(range(70))
    return corners.reshape(-1, 2)


@pytest.mark.parametrize("paper", SIZES_MM)
def test_corners_of_the_page_are_in_place_and_the_board_is_centred(paper):
    grey, text, pages = rendered(chart_pdf(paper))
    assert pages == 1
    px_per_mm = np.array(grey.shape[::-1]) / SIZES_MM[paper]
    found_mm = (detected(grey) + 0.5) / px_per_mm
    left, top = (np.array(SIZES_MM[paper]) - (11 * 22, 8 * 22)) / 2
    wanted = [(left + 22 * x, top + 22 * y) for y in range(1, 8) for x in range(1, 11)]
    # a third of a pixel at 200 dpi
    assert np.abs(found_mm - wanted).max() < 0.05
    for part in ("100 %", "8 or more", "--square-mm", "petitpied lens"):
        assert part in text


@pytest.mark.parametrize("paper", SIZES_MM)
def test_the_bar_is_100_mm_long_and_white_stays_round_the_board(paper):
    grey, _, _ = rendered(chart_pdf(paper))
    px_per_mm = np.array(grey.shape[::-1]) / SIZES_MM[paper]
    left, top = (np.array(SIZES_MM[paper]) - (242, 176)) / 2
    below = grey[int((top + 178) * px_per_mm[1]) :]
    runs = [np.flatnonzero(row < 150) for row in below]
    bar = max((r for r in runs if len(r) and np.ptp(r) + 1 == len(r)), key=len)
    # the line's own width is added, each end known to a pixel
    assert len(bar) / px_per_mm[0] == pytest.approx(100.15, abs=0.3)
    around = grey[int((top - 4) * px_per_mm[1]) : int((top + 180) * px_per_mm[1])]
    sides = around[:, int((left - 4) * px_per_mm[0]) : int((left - 0.3) * px_per_mm[0])]
    assert sides.min() == 255
    assert around[: int(3.5 * px_per_mm[1])].min() == 255


def test_the_tablets_picture_is_the_same_board():
    picture = cv2.imdecode(np.frombuffer(chart_png(), np.uint8), cv2.IMREAD_GRAYSCALE)
    steps = np.diff(detected(picture).reshape(7, 10, 2)[..., 0], axis=1)
    assert steps == pytest.approx(308, abs=0.3)  # 22 mm at 14 px a millimetre


@pytest.mark.parametrize("name", ["lens_chart_a4.pdf", "lens_chart_letter.pdf"])
def test_the_committed_page_is_the_one_we_print(name):
    committed, printed = (CALIBRATION / name).read_bytes(), chart_pdf(name[11:-4])
    (grey, text, _), (wanted, wanted_text, _) = rendered(committed), rendered(printed)
    assert text == wanted_text
    assert (grey == wanted).all()


def test_the_committed_picture_is_the_one_we_show():
    files = ((CALIBRATION / "lens_chart_screen.png").read_bytes(), chart_png())
    one, two = (cv2.imdecode(np.frombuffer(f, np.uint8), cv2.IMREAD_GRAYSCALE) for f in files)
    assert (one == two).all()


def test_unknown_paper_names_the_choices_and_the_command_knows_the_square():
    with pytest.raises(ValueError, match="letter"):
        chart_pdf("a3")
    assert LENS_CHART.square_mm == SQUARE_MM
