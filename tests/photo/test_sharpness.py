"""A photo whose card cannot be read for its blur says so, and not that the card is at fault."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from petitpied.camera.card_check import card_fault
from petitpied.camera.find_card import CardSighting
from petitpied.domain.errors import CardError
from petitpied.domain.settings import Settings
from petitpied.inspection.one_photo import inspect_photo
from petitpied.photo.decode import decode_photo
from petitpied.photo.sharpness import edge_spread_px, is_unsharp

SAMPLES = sorted(
    p
    for p in (Path(__file__).parents[2] / "sample_images").glob("*.jpg")
    if ".marked" not in p.name
)


def a_step(spread_px):
    """A bar between two plains, blurred, with the noise of a good camera, grey levels."""
    picture = np.full((600, 800), 60.0)
    picture[:, 400:600] = 180
    blurred = cv2.GaussianBlur(picture, (0, 0), spread_px)
    noise = np.random.default_rng(3).normal(0, 2, blurred.shape)
    return np.clip(blurred + noise, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("spread_px", [1.5, 2.0, 3.0, 4.0])
def test_the_spread_of_a_known_step(spread_px):
    # noise of 2 levels roughens slopes of 120 / (2.5 * 4) levels a pixel: a tenth, with 0.1 px
    assert edge_spread_px(a_step(spread_px)) == pytest.approx(spread_px, rel=0.1, abs=0.1)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.stem)
def test_sample_photos_are_sharp(path):
    grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    assert not is_unsharp(grey, edge_spread_px(grey))


@pytest.mark.parametrize("blur_px", [5.0, 9.0])
def test_a_blurred_photo_is_told_as_blurred(blur_px):
    path = SAMPLES[2]
    photo = decode_photo(path.read_bytes(), path.name)
    unsharp = np.asarray(cv2.GaussianBlur(photo.pixels_bgr, (0, 0), blur_px), np.uint8)
    with pytest.raises(CardError) as raised:
        inspect_photo(replace(photo, pixels_bgr=unsharp), Settings())
    assert "blurred" in raised.value.what
    assert "focus" in raised.value.next_step


def a_sighting(edge_blur_px):
    """A card at 8 px a millimetre."""
    nothing = np.zeros((0, 2))
    return CardSighting("A", nothing, nothing, np.zeros(0), 18, 8.0, edge_blur_px)


def test_an_unsharp_card_is_not_told_to_be_printed_anew():
    told = {"what": "card A is not as it should be", "why": "it is off", "next_step": "print it"}
    sharp, unsharp, unknown = (card_fault([a_sighting(b)], **told) for b in (1.2, 4.0, np.nan))
    assert sharp.next_step == unknown.next_step == "print it"
    assert "blurred" in unsharp.what
    assert "1.0 mm" in unsharp.why  # twice 4 px at 8 px a millimetre
    assert "print" not in unsharp.next_step


def test_of_two_cards_the_blurred_one_is_named():
    told = {"what": "cards A and B disagree", "why": "they differ", "next_step": "print them"}
    cards = [a_sighting(1.2), replace(a_sighting(6.0), letter="B")]
    assert "card B" in card_fault(cards, **told).what
