"""Piping sheets rasterised by an independent renderer: size and place of every round."""

import numpy as np
import pypdfium2
import pytest

from petitpied.figures.print.print_template import Template, template_pdf, tile_page_mm
from petitpied.piping.forms import Form
from petitpied.piping.sheet import PAGE_BORDER_MM, lay_out, tiles

SIZES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a3": (297.0, 420.0)}
DPI = 600
PIPED_MM, BAKED_MM = 41.0, 45.0


def a_template(size_mm, form=Form.round):
    sheet = lay_out(size_mm, (BAKED_MM, BAKED_MM), (54.5, 54.5))
    return Template(sheet, form, PIPED_MM, BAKED_MM, ("Pipe to 41.0 mm.", "Solid: pipe to here."))


def rendered(data, page=0, dpi=DPI):
    """Grey page and its px per mm by axis: the renderer stretches the page to whole pixels."""
    document = pypdfium2.PdfDocument(data)
    width_mm, height_mm = (np.array(document[page].get_size()) / 72 * 25.4).tolist()
    grey = document[page].render(scale=dpi / 72, grayscale=True).to_numpy()
    document.close()
    grey = grey.reshape(grey.shape[0], -1).copy()
    return grey, np.array([grey.shape[1] / width_mm, grey.shape[0] / height_mm])


def circle_seen(grey, px_per_mm, centre_mm):
    """Middle and diameter, mm, of the solid line near a place: the darkest ring crossed by 72
    rays, sub-pixel by the line's centre of gravity, then a least-squares circle."""
    points = []
    for angle in np.deg2rad(np.arange(0, 360, 5) + 2.5):
        radii = np.arange(PIPED_MM / 2 - 1.0, PIPED_MM / 2 + 1.0, 0.01)
        x = (centre_mm[0] + radii * np.cos(angle)) * px_per_mm[0] - 0.5
        y = (centre_mm[1] + radii * np.sin(angle)) * px_per_mm[1] - 0.5
        x0, y0 = np.floor(x).astype(int), np.floor(y).astype(int)
        fx, fy = x - x0, y - y0
        ink = 255 - sum(
            grey[y0 + j, x0 + i] * (fx if i else 1 - fx) * (fy if j else 1 - fy)
            for i in (0, 1)
            for j in (0, 1)
        )
        radius = (ink * radii).sum() / ink.sum()
        points.append(centre_mm + radius * np.array([np.cos(angle), np.sin(angle)]))
    p = np.array(points)
    terms = np.column_stack([2 * p, np.ones(len(p))])
    a, b, c = np.linalg.lstsq(terms, (p**2).sum(axis=1), rcond=None)[0]
    return np.array([a, b]), 2 * np.sqrt(c + a * a + b * b)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_rounds_have_their_size_and_place(paper):
    """Bounds: diameter 0.05 mm, place 0.1 mm, as wanted of the sheet."""
    template = a_template(SIZES_MM[paper])
    grey, px_per_mm = rendered(template_pdf(template, paper))
    assert len(template.sheet.places) >= 8
    for place in template.sheet.places:
        middle, diameter = circle_seen(grey, px_per_mm, np.array(place.centre_mm))
        assert diameter == pytest.approx(PIPED_MM, abs=0.05)
        assert np.abs(middle - place.centre_mm).max() < 0.1


def test_tiles_glued_together_give_the_sheet():
    """Each round that lies whole on a page is there at its place of the whole tray."""
    size_mm = (400.0, 300.0)
    template = a_template(size_mm)
    data = template_pdf(template, "a4")
    page_mm = tile_page_mm(size_mm, "a4")
    shown = np.array(page_mm) - 2 * PAGE_BORDER_MM
    seen = set()
    for number, tile in enumerate(tiles(size_mm, page_mm)):
        grey, px_per_mm = rendered(data, number, dpi=300)
        corner = np.array([tile.left_mm, tile.top_mm])
        for place in template.sheet.places:
            at = np.array(place.centre_mm) - corner
            if (at > PIPED_MM / 2 + 1.5).all() and (at < shown - PIPED_MM / 2 - 1.5).all():
                middle, diameter = circle_seen(grey, px_per_mm, at + PAGE_BORDER_MM)
                assert diameter == pytest.approx(PIPED_MM, abs=0.05)
                assert np.abs(middle - at - PAGE_BORDER_MM).max() < 0.1
                seen.add(place.id)
    assert len(seen) >= len(template.sheet.places) / 2


@pytest.mark.parametrize("form", list(Form))
def test_page_size_bytes_and_words(form):
    template = a_template(SIZES_MM["a3"], form)
    data = template_pdf(template, "a3")
    assert data == template_pdf(template, "a3")
    document = pypdfium2.PdfDocument(data)
    size_mm = np.array(document[0].get_size()) / 72 * 25.4
    assert size_mm == pytest.approx(SIZES_MM["a3"], abs=2e-3)  # half of 0.01 pt
    text_page = document[0].get_textpage()
    text = text_page.get_text_range()
    text_page.close()
    document.close()
    for words in ("Pipe to 41.0 mm", "oven door", "100 mm", "Not in the oven", "A1"):
        assert words in text


def test_the_bar_is_100_mm_long():
    grey, px_per_mm = rendered(template_pdf(a_template(SIZES_MM["a4"]), "a4"), dpi=400)
    low = grey[int(285 * px_per_mm[1]) :, : int(118 * px_per_mm[0])]  # left of the note
    bar = max((np.flatnonzero(row < 128) for row in low), key=len)
    # the outer ticks add a line width of 0.15 mm; each end is known to a pixel, 0.06 mm
    assert (np.ptp(bar) + 1) / px_per_mm[0] == pytest.approx(100.15, abs=0.16)
