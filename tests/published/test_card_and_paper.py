"""Sizes of the card and of the paper that it is printed on.

ID-1: 85.60 x 53.98 mm, corner radius 2.88 to 3.48 mm (ISO/IEC 7810; confirmed in stored copies);
3.18 mm nominal (ISO/IEC 7813). In inches 3.370 x 2.125. A4: 210 x 297 mm (ISO 216). US Letter:
8.5 x 11 in (ANSI/ASME Y14.1).
"""

import pytest

from petitpied.domain import card
from petitpied.figures.paper import PAPERS_MM


def test_card_is_id1():
    assert (card.WIDTH_MM, card.HEIGHT_MM) == (85.60, 53.98)
    # the inch sizes round to a thousandth: 0.0127 mm
    inches = (card.WIDTH_MM / 25.4, card.HEIGHT_MM / 25.4)
    assert inches == pytest.approx((3.370, 2.125), abs=5e-4)
    assert 2.88 <= card.CORNER_RADIUS_MM <= 3.48
    assert pytest.approx(3.18) == card.CORNER_RADIUS_MM


def test_paper_sizes():
    assert PAPERS_MM["a4"] == (210, 297)
    assert PAPERS_MM["a3"] == (297, 420)
    assert PAPERS_MM["letter"] == pytest.approx((8.5 * 25.4, 11 * 25.4), abs=1e-9)


def test_board_and_strip_lie_inside_the_card():
    corners = card.inner_corners_mm()
    assert corners.shape == (18, 2)
    left, top = card.BOARD_TOP_LEFT_MM
    columns, rows = card.SQUARES
    assert left + columns * card.SQUARE_MM < card.WIDTH_MM
    assert top + rows * card.SQUARE_MM < card.STRIP_TOP_LEFT_MM[1]
    strip_right = card.STRIP_TOP_LEFT_MM[0] + len(card.PATCHES_SRGB) * card.PATCH_MM[0]
    assert strip_right < card.WIDTH_MM
    assert card.STRIP_TOP_LEFT_MM[1] + card.PATCH_MM[1] < card.HEIGHT_MM
