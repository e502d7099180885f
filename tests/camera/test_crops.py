"""Crops told by header and sides; cards that are not flat are trusted less than they scatter."""

from dataclasses import replace

import numpy as np
import pytest

from petitpied.camera.card_flatness import EVEN_PX, trusted_as_flat, unevenness_px
from petitpied.camera.crops import crop_by_header
from petitpied.camera.solve_photo import solve_photo
from petitpied.camera.view import guess_camera
from petitpied.domain.errors import CardError
from petitpied.domain.photo import Photo
from tests.camera.many_cards import SIZE_PX, a_view, sight

BLANK = np.full(SIZE_PX[::-1], 180, np.uint8)
GUESS = guess_camera(*SIZE_PX, 26.0)


def photo(width, height, **facts):
    pixels = np.broadcast_to(np.uint8(0), (height, width, 3))
    return Photo("p.jpg", "0" * 64, pixels, None, None, 26.0, (), **facts)


@pytest.mark.parametrize(
    ("size", "facts"),
    [
        ((4032, 3024), {"frame_px": (4032, 3024)}),
        ((1600, 1200), {"frame_px": (4032, 3024)}),  # a chat's copy
        ((3024, 4032), {"frame_px": (4032, 3024), "orientation": 6}),
        ((3264, 2448), {}),
        ((1600, 1205), {}),  # 4080 x 3072, made smaller
        ((4032, 3024), {"edited": "some editor"}),  # as large as the camera's
    ],
)
def test_whole_photos_are_no_crops(size, facts):
    assert crop_by_header(photo(*size, **facts), 26.0) is None


@pytest.mark.parametrize(
    ("size", "facts", "why"),
    [
        ((2903, 2177), {"frame_px": (4032, 3024)}, "4032 x 3024"),
        ((3000, 3000), {"frame_px": (4032, 3024)}, "4032 x 3024"),
        ((2903, 2177), {}, "no camera gives 2903 x 2177"),
        ((4032, 3024), {"edited": "cropped"}, "its header says so"),
        ((2350, 1762), {"edited": "some editor"}, "edited with some editor"),
    ],
)
def test_crops_are_told_by_header_and_sides(size, facts, why):
    crop = crop_by_header(photo(*size, **facts), 26.0)
    assert why in crop.why or "no camera" in crop.why
    # the middle is anywhere in what was cut off: a quarter of one side, evenly, is 5 % of the
    # diagonal (one standard deviation)
    assert crop.guess.centre_sigma_px > 0.045 * np.hypot(*size)


def test_a_crop_of_a_known_frame_has_the_frames_focal_length():
    crop = crop_by_header(photo(2903, 2177, frame_px=(4032, 3024)), 26.0)
    assert crop.guess.focal_px == pytest.approx(guess_camera(4032, 3024, 26.0).focal_px)


def uneven(amplitude_px, seed=1):
    rng = np.random.default_rng(seed)
    view = a_view(rng, focal_35mm=26.0, height_mm=400.0, tilt_deg=4.0)
    card = sight(view, "A", rng)
    wave = np.sin(2 * np.pi * card.points_card_mm[:, ::-1] / 40 + [0.3, 1.1])
    return replace(card, points_px=card.points_px + amplitude_px * wave)


def test_waves_are_measured_told_and_make_the_view_less_sure():
    flat, waved = uneven(0.0), uneven(2.0)
    # corners of 0.15 px scatter; waves of 2 px have 1.4 px root mean square, of which a plane
    # takes up a part
    assert unevenness_px(flat, GUESS) < EVEN_PX
    assert 0.7 < unevenness_px(waved, GUESS) < 2.0
    assert trusted_as_flat([flat], GUESS) == ((flat,), {})
    solved = [solve_photo(BLANK, [card], GUESS, 0.3) for card in (flat, waved)]
    assert "does not lie flat" in solved[1].warnings[0]
    u_flat, u_waved = (np.sqrt(one.solved.view.covariance[2, 2]) for one in solved)
    assert u_waved > 5 * u_flat


def test_a_crumpled_card_is_refused():
    with pytest.raises(CardError, match="is not flat"):
        trusted_as_flat([uneven(8.0)], GUESS)
