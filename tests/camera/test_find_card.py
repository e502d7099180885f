"""Cards in pictures of known geometry: corners, letters, and plain refusals."""

import cv2
import numpy as np
import pytest

from petitpied.camera.find_card import find_cards
from petitpied.domain.errors import CardError
from tests.camera.card_views import draw_cards, overhead_view, placed


def corner_errors_px(sighting, view, place):
    n = sighting.chess_corners
    true = view.project(placed(sighting.points_card_mm[:n], np.array(place, float)), 0.3)
    return sighting.points_px[:n] - true


@pytest.mark.parametrize(("letter", "turn"), [("A", 0.1), ("B", 1.7), ("C", -2.9), ("D", 0.8)])
def test_corners_are_found_to_a_fraction_of_a_pixel(letter, turn):
    view, place = overhead_view(), (95.0, 60.0, turn)
    (seen,) = find_cards(draw_cards(view, {letter: place}))
    error = corner_errors_px(seen, view, place)
    assert seen.letter == letter
    assert seen.chess_corners == 18
    # noise of 1.5 grey levels on edges of 160: about 0.03 px; resampling of the drawn card adds
    # as much: 0.1 px leaves a factor two
    assert np.sqrt((error**2).mean()) < 0.1
    assert np.abs(error.mean(axis=0)).max() < 0.06


def test_two_cards_are_told_apart_and_come_in_order():
    view = overhead_view()
    seen = find_cards(draw_cards(view, {"C": (10.0, 20.0, 0.0), "A": (110.0, 60.0, 0.4)}))
    assert [s.letter for s in seen] == ["A", "C"]


def test_a_shaded_and_half_covered_card_still_counts():
    view, place = overhead_view(), (95.0, 60.0, 0.0)
    picture = draw_cards(view, {"A": place}).astype(float)
    edge = view.project(np.array([[140.0, 60.0]]))[0, 0]
    picture[:, int(edge) :] = 120.0  # a sheet of paper over the right half
    picture[: picture.shape[0] // 2] *= 0.45
    (seen,) = find_cards(picture.astype(np.uint8))
    assert 6 <= seen.chess_corners < 18
    assert np.sqrt((corner_errors_px(seen, view, place) ** 2).mean()) < 0.2


def test_too_much_covered_says_how_many_corners():
    view, place = overhead_view(), (95.0, 60.0, 0.0)
    picture = draw_cards(view, {"A": place})
    edge = view.project(np.array([[112.0, 60.0]]))[0, 0]
    picture[:, int(edge) :] = 120
    with pytest.raises(CardError, match=r"only a part of the card .*: \d+ of its 18 .*; .*retake"):
        find_cards(picture)


def test_mirrored_missing_doubled_and_tiny_cards_are_refused_plainly():
    view = overhead_view()
    good = draw_cards(view, {"A": (95.0, 60.0, 0.0)})
    with pytest.raises(CardError, match=r"mirrored .*mirror image; .*"):
        find_cards(np.ascontiguousarray(good[:, ::-1]))
    with pytest.raises(CardError, match=r"no reference card .*--relative"):
        find_cards(np.full((900, 1200), 180, np.uint8))
    other = draw_cards(view, {"A": (10.0, 120.0, 0.3)})
    both = np.where(other < 190, other, good)
    with pytest.raises(CardError, match=r"two cards A .*"):
        find_cards(both.astype(np.uint8))
    far = overhead_view(height_mm=1500.0)
    with pytest.raises(CardError, match=r"too small in the picture: it shows 1\.\d pixels"):
        find_cards(draw_cards(far, {"A": (95.0, 60.0, 0.0)}))


def test_a_card_that_is_seen_but_not_read_is_told_so():
    view = overhead_view()
    picture = draw_cards(view, {"A": (95.0, 60.0, 0.0)})
    px_per_mm = np.ptp(view.project(np.array([[95.0, 60.0], [105.0, 60.0]]))[:, 0]) / 10
    # a marker's module is 1.33 mm wide and its white margin 1.5 mm: ink that runs by the one in all
    # fills the marks and leaves the squares; light that runs by 1 mm leaves a line of the borders
    ink, light = (np.ones((round(mm * px_per_mm),) * 2, np.uint8) for mm in (1.35, 1.0))
    with pytest.raises(CardError, match=r"can be seen but not read: \d+ of its squares show, .*"):
        find_cards(cv2.erode(picture, ink))
    bloomed = np.where(cv2.dilate(picture, light) > 150, 255, 110).astype(np.uint8)
    with pytest.raises(CardError, match=r"overexposed: \d+ of its squares .*exposure"):
        find_cards(bloomed)


@pytest.mark.parametrize("pattern", ["chequer", "squares apart", "a patch of squares apart"])
def test_checked_cloth_is_no_card(pattern):
    y, x = np.mgrid[0:900, 0:1200] // 30
    dark = (x + y) % 2 == 0 if pattern == "chequer" else (x % 2 == 0) & (y % 2 == 0)
    if pattern.startswith("a patch"):  # as many as a card's squares and markers, and no more
        dark &= (x >= 12) & (x < 26) & (y >= 10) & (y < 18)
    cloth = cv2.GaussianBlur(np.where(dark, 60, 220).astype(np.uint8), (0, 0), 0.8)
    with pytest.raises(CardError, match=r"no reference card .*--relative"):
        find_cards(cloth)
