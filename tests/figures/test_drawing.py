"""One drawing as SVG, as pixels and as PDF: the same geometry in each, by other readers."""

import xml.etree.ElementTree as ET

import cv2
import numpy as np
import pypdfium2
import pytest

from petitpied.figures.axes import round_step, ticks
from petitpied.figures.drawing import Circle, Drawing, Path, Picture, Spot, Text, Window, corners
from petitpied.figures.letters import column, fitting, text_width, wrapped
from petitpied.figures.look import INK, PAPER
from petitpied.figures.pdf import draw, new_document, pages_pdf
from petitpied.figures.raster import jpeg_bytes, pixels, png_bytes
from petitpied.figures.svg import inline_svg, svg_bytes

SVG = "{http://www.w3.org/2000/svg}"
MARKS = ("disc", "ring", "cross", "square", "triangle", "diamond")


def from_pdf(drawing, px_per_mm):
    """The page in grey, by PDFium."""
    document = pypdfium2.PdfDocument(pages_pdf([drawing], "a test"))
    grey = document[0].render(scale=px_per_mm * 25.4 / 72, grayscale=True).to_numpy()
    document.close()
    return grey.reshape(grey.shape[0], -1).astype(float)


def from_pixels(drawing, px_per_mm):
    return cv2.cvtColor(pixels(drawing, px_per_mm), cv2.COLOR_BGR2GRAY).astype(float)


WRITERS = pytest.mark.parametrize("written", [from_pdf, from_pixels])


def ink(grey, px_per_mm):
    """Area covered, mm2, and its middle (x, y), mm, by moments of the coverage."""
    cover = 1 - grey / 255
    y, x = np.indices(cover.shape) + 0.5
    total = cover.sum()
    middle = np.array([(cover * x).sum(), (cover * y).sum()]) / total / px_per_mm
    return total / px_per_mm**2, middle


def page(*shapes):
    return Drawing(60.0, 40.0, list(shapes), unit="mm")


BLACK = (0, 0, 0)


@WRITERS
def test_a_ring_of_two_squares_is_filled_even_odd(written):
    """20 x 20 less 10 x 10. OpenCV paints the pixels on an outline whole: up to half a pixel
    along 120 mm of it, 6 mm2 at 10 px a mm; PDFium
    covers by area, 0.01 mm more along each."""
    outer, inner = corners((10, 5), (20, 20)), corners((15, 10), (10, 10))
    area, middle = ink(written(page(Path([outer, inner], True, BLACK, None)), 10), 10)
    assert area == pytest.approx(300, abs=7 if written is from_pixels else 2)
    assert middle == pytest.approx((20, 15), abs=0.06)


@WRITERS
def test_lines_circles_and_dashes_have_their_width_and_length(written):
    line = Path([[(5, 10), (45, 10)]], stroke=BLACK, width=1.0)
    grey = written(page(line), 20)
    column_mm = (1 - grey[:, 500] / 255).sum() / 20
    assert column_mm == pytest.approx(1.0, abs=0.1)  # OpenCV smooths lines 2 px wider, of 20
    dashed = Path([[(5, 10), (45, 10)]], stroke=BLACK, width=1.0, dash=2.0)
    row = written(page(dashed), 20)[200]
    # 40 mm in dashes and gaps of 2 mm: half is ink, within one of them
    assert (row < 128).sum() / 20 == pytest.approx(20, abs=2.1)
    area, middle = ink(written(page(Circle((30, 20), 10, BLACK)), 20), 20)
    assert area == pytest.approx(np.pi * 100, rel=0.01)
    assert middle == pytest.approx((30, 20), abs=0.03)


@WRITERS
def test_text_stands_where_its_anchor_says(written):
    """An H, 20 mm high in letters: its capitals' middle and its sides' by moments, 0.3 mm: the
    letter's own bearings, and whole pixels."""
    for level, down in (("middle", 0.0), ("base", -0.714 * 10 / 2)):
        text = Text((30, 20), "H", 10, "middle", level, BLACK)
        _, middle = ink(written(page(text), 20), 20)
        assert middle == pytest.approx((30, 20 + down), abs=0.3)
    wide = text_width("HH", 100) / 10
    _, middle = ink(written(page(Text((30, 20), "HH", 10, colour=BLACK)), 20), 20)
    assert middle[0] == pytest.approx(30 + wide / 2, abs=0.3)
    _, middle = ink(written(page(Text((30, 20), "HH", 10, "end", colour=BLACK)), 20), 20)
    assert middle[0] == pytest.approx(30 - wide / 2, abs=0.3)
    upward = Text((30, 30), "HH", 10, colour=BLACK, turn_deg=-90)
    _, middle = ink(written(page(upward), 20), 20)
    assert middle == pytest.approx((30 - 3.57, 30 - wide / 2), abs=0.3)


@WRITERS
def test_a_window_shows_its_part_and_nothing_outside(written):
    """Of squares 10 mm wide at 0 and 30 mm the window from 25 to 45 shows the second only; also
    words left of the page stay outside."""
    inside = [
        Path([corners((x, 5), (10, 10))], True, BLACK, None) for x in (0, 30)
    ]
    inside.append(Text((2, 12), "gone", 5, colour=BLACK))
    grey = written(page(Window((5, 10), (20, 20), inside, (25, 0))), 10)
    area, middle = ink(grey, 10)
    assert area == pytest.approx(100, abs=3)  # half a pixel round the square in OpenCV's fill
    assert middle == pytest.approx((15, 20), abs=0.1)


@WRITERS
def test_a_picture_is_stretched_to_its_place(written):
    left_dark = np.full((40, 80, 3), 255, np.uint8)
    left_dark[:, :40] = 0
    area, middle = ink(written(page(Picture(left_dark, (10, 10), (20, 10))), 10), 10)
    assert area == pytest.approx(100, rel=0.02)
    assert middle == pytest.approx((15, 15), abs=0.1)


@pytest.mark.parametrize("mark", MARKS)
@WRITERS
def test_marks_are_as_wide_as_said_and_all_differ(written, mark):
    grey = written(Drawing(60.0, 40.0, [Spot((30, 20), 20, mark)], unit="mm"), 10)
    rows, columns = np.nonzero(grey < 200)
    for places, at in ((rows, 200), (columns, 300)):
        # diamonds are a tenth wider, so that all look equally large; their stroke of 2 mm
        # reaches out at a corner by as much again
        assert np.ptp(places) / 10 == pytest.approx(20, abs=5)
        assert (places.min() + places.max()) / 2 == pytest.approx(at, abs=15)
    others = (m for m in MARKS if m != mark)
    for other in others:
        drawn = written(Drawing(60.0, 40.0, [Spot((30, 20), 20, other)], unit="mm"), 10)
        assert (np.abs(drawn - grey) > 100).sum() > 300  # 3 mm2 of such a mark's 300


def test_svg_has_the_same_places_in_true_units_and_escapes_words():
    drawing = Drawing(
        60.0, 40.0, alt='a "plan" <b>', unit="mm",
        shapes=[
            Path([corners((10, 5), (20, 20))], True, BLACK, None),
            Circle((30, 20), 10.25, None, INK, 1.5),
            Text((3, 4), "<script>&\x1b", 5, "middle", halo=PAPER, turn_deg=30),
            Window((5, 10), (20, 20), [Spot((0, 0), 4, "cross")], (25, 0)),
            Picture(np.zeros((4, 8, 3), np.uint8), (1, 2), (8, 4)),
        ],
    )  # fmt: skip
    root = ET.fromstring(svg_bytes(drawing))
    assert (root.get("width"), root.get("viewBox")) == ("60mm", "0 0 60 40")
    path = next(root.iter(f"{SVG}path"))
    assert path.get("d") == "M10,5 30,5 30,25 10,25z"
    assert path.get("fill-rule") == "evenodd"
    circle = next(root.iter(f"{SVG}circle"))
    assert [circle.get(k) for k in ("cx", "cy", "r", "fill")] == ["30", "20", "10.25", "none"]
    text = next(root.iter(f"{SVG}text"))
    assert text.text == "<script>&?"  # no control character passes
    assert text.get("transform") == "rotate(30 3 4)"
    assert next(root.iter(f"{SVG}image")).get("width") == "8"
    inner = next(element for element in root.iter(f"{SVG}svg") if element is not root)
    assert inner.get("viewBox") == "25 0 20 20"
    page = inline_svg(drawing)
    assert "<script" not in page
    assert ET.fromstring(page).get("aria-label") == 'a "plan" <b>'


def test_files_are_of_the_drawings_size_and_the_same_at_every_call():
    drawing = Drawing(300, 200, [Text((150, 100), "Ä 東 ½", 40, "middle", "middle")])
    for data in (png_bytes(drawing), jpeg_bytes(drawing)):
        picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
        assert picture.shape == (200, 300, 3)
        assert picture.min() < 60
    page = Drawing(300, 200, drawing.shapes, unit="mm")
    assert pages_pdf([page], "t") == pages_pdf([page], "t")
    with pytest.raises(ValueError, match="in mm"):
        pages_pdf([drawing], "t")


def test_words_on_pictures_have_a_rim_and_end_at_the_edge():
    def dark(at):
        text = Text(at, "B3 44.8 mm", 40, "middle", "middle", PAPER, halo=INK)
        return np.argwhere(pixels(Drawing(400, 300, [text])).min(axis=2) < 60)

    assert len(dark((200, 150))) > 300  # white letters on white ground live by their rim
    assert np.ptp(dark((200, 150))[:, 1]) >= 0.9 * text_width("B3 44.8 mm", 40)
    assert 0 < len(dark((0, 150))) < 0.7 * len(dark((200, 150)))
    assert not len(dark((-300, 150)))


def test_lines_break_at_words_and_shrink_to_fit():
    words = "one two three four five six seven eight nine ten"
    lines = list(wrapped(words, 40, 300))
    assert " ".join(lines) == words
    assert len(lines) > 2
    assert all(text_width(line, 40) <= 300 for line in lines)
    assert list(wrapped("unbreakableword", 40, 10)) == ["unbreakableword"]
    assert list(wrapped("", 40, 300)) == []
    assert text_width("unbreakableword", fitting("unbreakableword", 40, 100)) <= 101  # whole px
    assert fitting("a", 40, 100) == 40
    assert [text.at for text in column(["a", "b"], 5, 100, 30, 40)] == [(5, 120), (5, 160)]


def test_bold_letters_are_wider_and_darker():
    assert text_width("Boxes", 100, bold=True) > text_width("Boxes", 100)
    thin, thick = (
        ink(from_pixels(page(Text((5, 30), "Box", 20, colour=BLACK, bold=bold)), 5), 5)[0]
        for bold in (False, True)
    )
    assert thick > 1.2 * thin


@pytest.mark.parametrize(
    ("rough", "step", "places"),
    [(0.011, 0.02, 2), (0.02, 0.02, 2), (0.3, 0.5, 1), (0.6, 1, 0), (7, 10, 0), (230, 500, 0)],
)
def test_steps_are_round(rough, step, places):
    """1, 2 or 5 times a power of ten: by hand."""
    assert round_step(rough) == (pytest.approx(step), places)


def test_ticks_are_the_steps_multiples():
    assert ticks(-0.25, 0.31, 0.1) == pytest.approx([-0.2, -0.1, 0.0, 0.1, 0.2, 0.3])
    assert ticks(43.0, 45.0, 0.5) == pytest.approx([43, 43.5, 44, 44.5, 45])


def test_a_chart_in_a_flowing_document_leaves_its_margins_as_they_were():
    pdf = new_document("t", ["words"])
    pdf.set_auto_page_break(True, 15.0)
    pdf.add_page()
    before = (pdf.auto_page_break, pdf.b_margin, pdf.c_margin)
    draw(pdf, Drawing(20, 10, [Text((0, 299), "words at the foot"), Text((0, 5), "")]),
         (15, 15), 1.0, str)  # fmt: skip
    assert (pdf.auto_page_break, pdf.b_margin, pdf.c_margin) == before
    assert pdf.page == 1
    pdf.output()  # closes its fonts
