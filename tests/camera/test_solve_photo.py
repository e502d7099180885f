"""A lens profile in the view: what it gains, and a profile of another lens found out."""

import numpy as np
import pytest

from petitpied.camera.solve_photo import solve_photo
from petitpied.camera.view import guess_camera
from petitpied.domain.errors import ExitCode, LensError
from petitpied.domain.lens import CameraGuess
from tests.camera.many_cards import SIZE_PX, a_view, scale_errors_rel, sight

BLANK = np.full(SIZE_PX[::-1], 180, np.uint8)  # no straight edge to help
PLAIN = guess_camera(*SIZE_PX, 26.0)


def profile_of(view, focal_off=0.0, bend_off=0.0):
    """As a profile states a lens: focal length to 0.3 % for focusing, k1 to 0.0005."""
    sigma = np.array([0.003, 5e-4, 5e-4, 4.0, 4.0, 1e-5, 1e-5, 0.0])
    k, d = view.camera_matrix, view.dist + bend_off * np.eye(5)[0]
    return CameraGuess(
        k[0, 0] * (1 + focal_off), 0.0, (k[0, 2], k[1, 2]), 0.0, dist=tuple(d),
        covariance=np.diag(sigma**2), profile="Brume Phone 1, 26 mm",
    )  # fmt: skip


def seen(letters, seed, **more):
    rng = np.random.default_rng(seed)
    view = a_view(rng, focal_35mm=26.0, height_mm=400.0, corner_rel=-0.015, **more)
    return view, [sight(view, letter, rng) for letter in letters]


def rms_mm(letters, guess_of):
    errors = []
    for seed in range(8):
        view, sightings = seen(letters, seed, tilt_deg=4.0)
        found = solve_photo(BLANK, sightings, guess_of(view), 0.3).solved.view
        errors.append(45 * scale_errors_rel(found, view))
    return float(np.sqrt(np.mean(np.square(errors))))


def test_a_profile_takes_the_distortion_out_of_a_wide_photo():
    """A lens that bends by 1.5 % at the corner, one card: with the profile the error is what the
    card's own tilt leaves; without it the distortion is on top. Two cards see the lens."""
    bare, with_profile = rms_mm("A", lambda _: PLAIN), rms_mm("A", profile_of)
    assert with_profile < 0.6 * bare
    assert rms_mm("AC", profile_of) < 0.03  # hundredths from corners of 0.15 px


def test_a_photo_that_agrees_with_its_profile_gives_no_warning():
    for seed in range(6):
        view, sightings = seen("ABCD", seed)
        assert solve_photo(BLANK, sightings, profile_of(view, 0.003), 0.3).warnings == ()


def test_breathing_is_followed_and_told_where_it_matters():
    """Tilted, four cards see the focal length to 0.1 %: a change of 1.2 % is told in mm, and the
    view follows the cards."""
    for seed in range(4):
        view, sightings = seen("ABCD", seed, tilt_deg=22.0)
        # the profile's distortion belongs to its focal length: with it wrong, so is the bend
        result = solve_photo(BLANK, sightings, profile_of(view, -0.02, 0.012), 0.3)
        (warning,) = result.warnings
        assert "do not quite agree with the lens profile" in warning
        assert 0.1 <= float(warning.split("up to ")[1].split(" mm")[0]) < 2.0
        assert "make the profile at the distance of the tray" in warning


def test_a_profile_of_another_lens_is_refused_by_the_cards():
    view, sightings = seen("ABCD", 1, tilt_deg=20.0)
    with pytest.raises(LensError) as caught:
        solve_photo(BLANK, sightings, profile_of(view, 0.25), 0.3)
    assert caught.value.exit_code is ExitCode.LENS
    assert "of another lens" in str(caught.value)
    assert float(str(caught.value).split("by -")[1].split(" %")[0]) == pytest.approx(20, abs=3)
