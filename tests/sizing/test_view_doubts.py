"""Doubts of a photo: told with their size in mm and a cheap remedy, and only where they matter."""

import re

import numpy as np
import pytest

from petitpied.camera.view import guess_camera, solve_view
from petitpied.sizing.view_doubts import view_warnings
from tests.camera.many_cards import SIZE_PX, a_view, sight
from tests.camera.test_solve_photo import profile_of


def doubts(letters, focal_35mm, height_mm, guess_of=None):
    rng = np.random.default_rng(5)
    view = a_view(rng, focal_35mm=focal_35mm, height_mm=height_mm)
    seen = [sight(view, letter, rng) for letter in letters]
    guess = guess_of(view) if guess_of else guess_camera(*SIZE_PX, focal_35mm)
    solved = solve_view(seen, guess, thickness_mm=0.3)
    return view_warnings(solved.view, solved, seen, True)


def lengths_mm(text):
    return [float(number) for number in re.findall(r"([\d.]+) mm\b", text)]


def test_a_good_photo_has_none():
    assert doubts("AB", 52.0, 750.0) == []


def test_a_wide_lens_without_profile_is_told_and_a_profile_or_a_second_card_helps():
    (close, lens) = doubts("A", 26.0, 400.0)
    assert "lens" in lens
    assert "petitpied lens" in lens
    assert "second card" in lens
    # a lens unknown by 0.4 % at the corner: some 1 % of scale there, 0.45 mm, 0.9 mm in 95 %
    assert 0.25 < lengths_mm(lens)[-1] < 2.5
    assert not any("the lens is not known" in d for d in doubts("A", 26.0, 400.0, profile_of))
    assert not any("the lens is not known" in d for d in doubts("ABCD", 26.0, 400.0))
    assert "only" in close


@pytest.mark.parametrize(("height_mm", "told"), [(300.0, True), (420.0, True), (700.0, False)])
def test_too_close_is_told_with_what_a_millimetre_of_height_does(height_mm, told):
    found = [d for d in doubts("AB", 26.0, height_mm) if "was taken from only" in d]
    assert len(found) == told
    if told:
        assert "stand back to 700 mm" in found[0]
        seen_from, rim, size, *_ = lengths_mm(found[0])
        assert seen_from == pytest.approx(height_mm, rel=0.03)  # EXIF's focal length: 1 %
        assert rim == 1.0
        # similar triangles, shown to 0.1 mm
        assert size == pytest.approx(45.0 / height_mm, abs=0.0501)


def test_one_card_and_a_lens_that_is_known_leave_the_tilt():
    (only,) = doubts("A", 26.0, 700.0, profile_of)
    assert "how the camera was tilted" in only
    assert "second card" in only
