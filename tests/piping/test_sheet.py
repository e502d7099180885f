"""Forms and the sheet's layout, from their geometry."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from petitpied.domain import card
from petitpied.piping.forms import Form, outline_mm, size_mm
from petitpied.piping.sheet import CARD_ROOM_MM, MARGIN_MM, PAGE_BORDER_MM, lay_out, place_id, tiles


def shoelace(points):
    x, y = points.T
    return abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


@pytest.mark.parametrize("form", list(Form))
def test_every_form_has_the_area_of_the_round(form):
    """The diameter is that of the circle with the outline's area (ISO 9276-6)."""
    assert shoelace(outline_mm(form, 44.0)) == pytest.approx(np.pi * 22**2, rel=1e-9)


def test_sizes_of_the_forms():
    assert size_mm(Form.round, 40.0) == pytest.approx((40.0, 40.0), rel=2e-4)  # 360 points
    width, height = size_mm(Form.oval, 40.0)
    assert width / height == pytest.approx(4 / 3, rel=1e-4)
    # a square of side 2 on its corner with two half circles of radius 1: area 4 + pi; width
    # 2 (sqrt(1/2) + 1), height from -(sqrt(1/2) + 1) to sqrt(2)
    width, height = size_mm(Form.heart, 2 * np.sqrt((4 + np.pi) / np.pi))
    assert width == pytest.approx(2 * (np.sqrt(0.5) + 1), rel=1e-3)  # 90 points a lobe
    assert height == pytest.approx(np.sqrt(0.5) + 1 + np.sqrt(2), rel=1e-3)


@given(
    width=st.floats(210, 600), height=st.floats(210, 600),
    size=st.floats(20, 60), gap=st.floats(0, 20),
)  # fmt: skip
def test_places_stay_on_the_sheet_and_off_the_card(width, height, size, gap):
    sheet = lay_out((width, height), (size, size), (size + gap, size + gap))
    x0, y0 = sheet.card_mm
    for place in sheet.places:
        x, y = place.centre_mm
        half = size / 2 - 1e-9
        assert x - half >= MARGIN_MM
        assert x + half <= width - MARGIN_MM
        assert y - half >= MARGIN_MM
        assert y + half <= height - MARGIN_MM
        assert x + half <= x0 - CARD_ROOM_MM or y + half <= y0 - CARD_ROOM_MM
    assert len({p.id for p in sheet.places}) == len(sheet.places)
    assert x0 + card.WIDTH_MM <= width - MARGIN_MM + 1e-9
    assert y0 + card.HEIGHT_MM <= height - MARGIN_MM + 1e-9


def test_what_does_not_fit_is_refused():
    with pytest.raises(ValueError, match="fits"):
        lay_out((100.0, 100.0), (80.0, 80.0), (80.0, 80.0))
    with pytest.raises(ValueError, match="beside the card"):
        lay_out((120.0, 100.0), (60.0, 60.0), (60.0, 60.0))


def test_ids_as_in_the_record():
    assert [place_id(r, c) for r, c in ((0, 0), (2, 9), (25, 0), (26, 3), (52, 0))] == [
        "A1", "C10", "Z1", "AA4", "BA1",
    ]  # fmt: skip


@given(width=st.floats(100, 1000), height=st.floats(100, 1000))
def test_tiles_show_the_whole_sheet_and_overlap(width, height):
    page = (210.0, 297.0)
    shown = [p - 2 * PAGE_BORDER_MM for p in page]
    parts = tiles((width, height), page)
    lefts = sorted({t.left_mm for t in parts})
    tops = sorted({t.top_mm for t in parts})
    assert lefts[-1] + shown[0] >= width
    assert tops[-1] + shown[1] >= height
    assert all(b - a <= shown[0] - 9.99 for a, b in pairwise(lefts))
    assert len(parts) == len(lefts) * len(tops)


@given(
    width=st.floats(150, 600), height=st.floats(150, 600), pitch=st.floats(30, 70),
)  # fmt: skip
def test_staggered_rows_keep_the_distance_and_are_taken_where_more_fit(width, height, pitch):
    sheet = lay_out((width, height), (30.0, 30.0), (pitch, pitch), with_card=False)
    middles = np.array([p.centre_mm for p in sheet.places])
    apart = np.hypot(*(middles[:, None] - middles[None]).T) + 1e9 * np.eye(len(middles))
    assert apart.min() >= pitch - 1e-6
    assert (middles - 15.0 >= MARGIN_MM - 1e-9).all()
    assert (middles + 15.0 <= np.array([width, height]) - MARGIN_MM + 1e-9).all()
    columns, rows = (int((s - 2 * MARGIN_MM - 30.0) / pitch + 1e-9) + 1 for s in (width, height))
    assert len(sheet.places) >= rows * columns  # never fewer than the square lattice


def test_staggered_rows_gain_a_row_on_a4():
    """A4, rounds of 30 mm at 36 mm: room 148 x 235 mm, square 5 x 7 = 35; staggered rows are
    31.2 mm apart, so 8 of them, by turns 5 and 4: 36."""
    sheet = lay_out((210.0, 297.0), (30.0, 30.0), (36.0, 36.0), with_card=False)
    assert sheet.staggered
    assert len(sheet.places) == 36
