"""The strip of a card drawn flat, under a light, a camera's gains and tone curve that are known."""

import cv2
import numpy as np
import pytest

from petitpied.camera.grey_strip import (
    BLACK_REL,
    PAPER_REL,
    PLAIN_TONE,
    fit_tone,
    light_printed,
    read_strips,
)
from petitpied.domain import card
from petitpied.domain.record import SeenCard
from petitpied.photo.colour_space import LOG_LIGHT, linear_of

PX_PER_MM = 8.0
LEFT_TOP = (40, 30)


def encoded(light):
    x = np.clip(light, 0, 1)
    return np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)


def even(level, slope_x=0.0):
    """Light that changes along the card by ``slope_x`` a millimetre."""
    return lambda x, y: level + slope_x * x + 0 * y


USUAL = even(0.9)


def the_card(light_of=USUAL, gain=(1.0, 1.0, 1.0), contrast=0.0, sheen=0.0):
    """A picture (H, W, 3) with the card, and where it is. ``light_of`` card's places, mm."""
    height, width = (round(v * PX_PER_MM) for v in (card.HEIGHT_MM, card.WIDTH_MM))
    page = np.full((height, width), PAPER_REL)
    print_ = BLACK_REL + (PAPER_REL - BLACK_REL) * linear_of(card.PATCHES_SRGB)
    for number, value in enumerate(print_):
        box(
            page,
            card.STRIP_TOP_LEFT_MM[0] + number * card.PATCH_MM[0],
            card.STRIP_TOP_LEFT_MM[1],
            *card.PATCH_MM,
            value,
        )
    for row in range(card.SQUARES[1]):
        for column in range(card.SQUARES[0]):
            if (row + column) % 2 == 0:
                x, y = (
                    t + card.SQUARE_MM * n
                    for t, n in zip(card.BOARD_TOP_LEFT_MM, (column, row), strict=True)
                )
                box(page, x, y, card.SQUARE_MM, card.SQUARE_MM, BLACK_REL)
    y, x = np.mgrid[:height, :width] / PX_PER_MM
    light = (page + sheen) * light_of(x, y)
    code = encoded(light[..., None] * np.array(gain[::-1]))
    code = code + contrast * (code - 0.5) * code * (1 - code) * 2
    picture = np.full((height + 60, width + 80, 3), 90, np.uint8)
    left, top = LEFT_TOP
    picture[top : top + height, left : left + width] = np.round(255 * np.clip(code, 0, 1))
    corners = card.outline_corners_mm() * PX_PER_MM + (left - 0.5, top - 0.5)
    return cv2.GaussianBlur(picture, (0, 0), 0.8), SeenCard("A", corners)


def box(page, left_mm, top_mm, width_mm, height_mm, value):
    x0, x1, y0, y1 = (
        round(v * PX_PER_MM) for v in (left_mm, left_mm + width_mm, top_mm, top_mm + height_mm)
    )
    page[y0:y1, x0:x1] = value


def test_nominal_camera_is_left_as_it_is():
    strips, reasons = read_strips(*one(the_card()))
    assert not reasons
    tone, level = fit_tone(strips)
    assert np.exp(level[0]) == pytest.approx([0.9] * 3, rel=0.02)  # rounding of codes
    assert np.abs(tone.lift[4:]).max() < 0.03


def one(pair):
    picture, seen = pair
    return picture, (seen,)


@pytest.mark.parametrize("contrast", [-0.25, 0.25])
@pytest.mark.parametrize("gain", [(1.0, 1.0, 1.0), (1.1, 1.0, 0.75), (0.8, 1.0, 1.1)])
def test_a_balance_and_tone_curve_are_undone(gain, contrast):
    """Greys that the card does not print come out as they are, under any look of the camera."""
    strips, _ = read_strips(*one(the_card(even(0.8), gain, contrast)))
    tone, level = fit_tone(strips)
    greys = np.array([0.08, 0.15, 0.3, 0.5, 0.7])
    code = encoded(greys[:, None] * 0.8 * np.array(gain[::-1]))
    code = code + contrast * (code - 0.5) * code * (1 - code) * 2
    log = np.log(np.maximum(linear_of(255 * code), 1e-5))
    # between the printed greys the curve is drawn straight: up to 4 % for so strong a contrast
    assert np.exp(tone.light(log) - level[0]) == pytest.approx(
        np.repeat(greys[:, None], 3, axis=1), rel=0.05
    )


def test_light_that_falls_off_along_the_strip_does_not_count_as_tone():
    strips, _ = read_strips(*one(the_card(even(0.9, -0.004))))
    tone, _ = fit_tone(strips)
    assert np.abs(tone.lift[4:]).max() < 0.05


def test_an_overexposed_strip_is_refused_with_the_reason():
    strips, reasons = read_strips(*one(the_card(even(6.0))))
    assert strips == ()
    assert "overexposed" in reasons[0]
    assert "card A" in reasons[0]


def test_white_paper_alone_may_be_overexposed():
    strips, _ = read_strips(*one(the_card(even(1.35))))
    tone, level = fit_tone(strips)
    assert strips[0].paper_cut
    assert np.exp(level[0]) == pytest.approx([1.35] * 3, rel=0.05)
    assert tone is not PLAIN_TONE


def test_a_glint_on_the_strip_is_refused():
    def glint(x, y):
        return 0.6 + 2.0 * ((x > 40) & (x < 47) & (y > 46))

    strips, reasons = read_strips(*one(the_card(glint)))
    assert strips == ()
    assert "card A" in reasons[0]


def test_a_strip_in_shade_gets_the_light_of_its_card():
    def shade(x, y):
        return np.where(y > 44, 0.5, 0.8) + 0 * x

    strips, _ = read_strips(*one(the_card(shade)))
    _, level = fit_tone(strips)
    assert np.exp(level[0]) == pytest.approx([0.8] * 3, rel=0.06)


def test_a_card_that_is_cut_off_is_refused():
    picture, seen = the_card()
    strips, reasons = read_strips(picture[:-90], (seen,))
    assert strips == ()
    assert "not whole" in reasons[0]


def test_without_a_strip_the_curve_is_srgbs():
    tone, level = fit_tone(())
    assert level.shape == (0, 3)
    codes = np.repeat(LOG_LIGHT[:, None], 3, axis=1)
    assert tone.light(codes) == pytest.approx(codes)


def test_printed_greys_lie_between_black_and_paper():
    assert light_printed(255) == pytest.approx(PAPER_REL)
    assert light_printed(0) == pytest.approx(BLACK_REL)
    assert light_printed(150) > light_printed(100)


def test_a_strip_in_the_rims_shadow_on_an_overexposed_card_is_no_measure():
    """Its paper is cut off, so how much darker the strip lies is not known."""
    strips, reasons = read_strips(
        *one(the_card(lambda x, y: np.where(y > 47.85, 0.3, 1.6) + 0 * x))
    )
    assert not strips
    assert "shade" in reasons[0]
    assert "overexposed" in reasons[0]
