"""Which photo a profile belongs to, and what it says of a scaled, cropped or turned picture."""

from dataclasses import replace

import numpy as np
import pytest

from petitpied.camera.lens.matching import camera_guess, choose
from petitpied.domain.lens import CameraGuess
from petitpied.domain.photo import Photo
from petitpied.domain.view import distort
from petitpied.photo.decode import upright
from tests.camera.lens.test_profile_text import a_profile

PROFILE = a_profile(
    camera="Brume Phone 1", dist=(0.06, -0.05, 4e-3, -3e-3, 0.0), width_px=640, height_px=480,
    focal_px=480.0, centre_px=(330.0, 232.0),
)  # fmt: skip


def photo(width=640, height=480, **changes):
    values = {"camera": "Brume Phone 1", "focal_35mm_mm": 26.0, "focal_mm": 5.6}
    pixels = np.zeros((height, width, 3), np.uint8)
    return Photo("tray.jpg", "0" * 64, pixels, **(values | changes))


def shown(guess, rays):
    """Pixels of rays (N, 2) by a guess."""
    return distort(rays, np.array(guess.dist)) * guess.focal_px + guess.centre_px


def test_the_same_picture_gets_the_same_lens():
    guess = camera_guess(PROFILE, photo())
    assert guess.focal_px == 480.0
    assert guess.centre_px == pytest.approx((330.0, 232.0))
    assert guess.dist == pytest.approx(PROFILE.dist)
    assert guess.profile == PROFILE.title
    # never surer than the profile, and focusing and the stabiliser are allowed for
    assert (np.diag(guess.covariance) >= np.diag(PROFILE.covariance) - 1e-15).all()
    assert np.sqrt(guess.covariance[0, 0]) == pytest.approx(np.hypot(1e-3, 3e-3), rel=0.15)


def test_half_the_pixels_of_the_same_field():
    """A 12-megapixel picture of a 48-megapixel sensor: every ray at half the place."""
    rays = np.random.default_rng(1).uniform(-0.4, 0.4, (20, 2))
    full, half = camera_guess(PROFILE, photo()), camera_guess(PROFILE, photo(320, 240))
    # pixel centres: place + 1/2 halves
    assert shown(half, rays) == pytest.approx((shown(full, rays) + 0.5) / 2 - 0.5, abs=1e-9)


def test_twice_zoomed_by_cropping_the_middle():
    """The middle half of each side, at the sensor's own pixels or blown up: known by 35-mm focal
    length 52 and the lens's own unchanged 5.6 mm."""
    rays = np.random.default_rng(2).uniform(-0.2, 0.2, (20, 2))
    full = shown(camera_guess(PROFILE, photo()), rays)
    crop = shown(camera_guess(PROFILE, photo(320, 240, focal_35mm_mm=52.0)), rays)
    assert crop == pytest.approx(full - [160, 120], abs=1e-9)
    blown_up = shown(camera_guess(PROFILE, photo(640, 480, focal_35mm_mm=52.0)), rays)
    assert blown_up == pytest.approx((crop + 0.5) * 2 - 0.5, abs=1e-9)


def test_an_uneven_zoom_is_known_by_its_rounding_or_by_the_digital_zoom():
    loose = camera_guess(PROFILE, photo(focal_35mm_mm=40.0))
    assert loose.focal_px == pytest.approx(480 * 40 / 26)
    assert np.sqrt(loose.covariance[0, 0]) > 0.01  # half a millimetre of 26 and of 40
    told = camera_guess(PROFILE, photo(focal_35mm_mm=40.0, digital_zoom=1.52))
    assert told.focal_px == pytest.approx(480 * 1.52)
    assert told.covariance[0, 0] < loose.covariance[0, 0]


@pytest.mark.parametrize(
    ("size", "follows_mm"), [((640, 360), 28.3), ((480, 480), 30.6), ((320, 180), 28.3)]
)
def test_a_picture_cut_to_another_shape(size, follows_mm):
    """16:9 of 4:3 keeps the whole width, a square the whole height. The 35-mm-equivalent focal
    length, by the diagonal (EXIF 2.32; CIPA DC-008), may follow the cut or stay."""
    rays = np.random.default_rng(3).uniform(-0.25, 0.25, (20, 2))
    full = shown(camera_guess(PROFILE, photo()), rays)
    scale = max(size[0] / 640, size[1] / 480)
    cut = (np.array([640, 480]) - np.array(size) / scale) / 2
    for told_mm in (26.0, round(follows_mm)):
        seen = shown(camera_guess(PROFILE, photo(*size, focal_35mm_mm=told_mm)), rays)
        assert seen == pytest.approx((full - cut + 0.5) * scale - 0.5, abs=1e-9)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_turned_pictures(orientation):
    """The picture of a point, turned as `decode.upright` turns pixels, lies where the turned
    profile says."""
    stored = np.zeros((480, 640, 3), np.uint8)
    ray = np.array([[0.31, -0.17]])
    sensor = camera_guess(PROFILE, photo())
    x, y = np.rint(shown(sensor, ray)[0]).astype(int)
    stored[y, x] = 255
    pixels = upright(stored, orientation)
    up = replace(photo(), pixels_bgr=pixels, orientation=orientation)
    found_y, found_x = np.argwhere(pixels[..., 0])[0]
    # the camera's own axes turn with the picture
    turn = {1: [[1, 0], [0, 1]], 2: [[-1, 0], [0, 1]], 3: [[-1, 0], [0, -1]], 4: [[1, 0], [0, -1]],
            5: [[0, 1], [1, 0]], 6: [[0, -1], [1, 0]], 7: [[0, -1], [-1, 0]],
            8: [[0, 1], [-1, 0]]}[orientation]  # fmt: skip
    place = shown(camera_guess(PROFILE, up), ray @ np.array(turn).T)[0]
    # half a pixel of rounding
    assert place == pytest.approx([found_x, found_y], abs=0.51)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"camera": "Brume Phone 2"}, "taken by Brume Phone 2"),
        ({"focal_mm": 1.6, "focal_35mm_mm": 13.0}, "lens of 1.6 mm"),
        ({"width": 640, "height": 360, "focal_35mm_mm": 35.0}, "does not explain the cut"),
        ({"width": 640, "height": 360, "digital_zoom": 1.3}, "zoomed into"),
        ({"width": 1600, "height": 480}, "another shape"),
        ({"width": 480, "height": 640}, "another shape"),
        ({"focal_35mm_mm": 13.0}, "wider than the one that was measured"),
        ({"focal_35mm_mm": 52.0, "focal_mm": None}, "focal length is 52 mm"),
    ],
)
def test_another_lens_is_never_used_even_if_named(changes, words):
    for named in (False, True):
        answer = camera_guess(PROFILE, photo(**changes), named=named)
        assert isinstance(answer, str)
        assert words in answer


@pytest.mark.parametrize("missing", ["camera", "focal_35mm_mm"])
def test_a_header_without_its_facts_needs_the_bakers_word(missing):
    bare = photo(**{missing: None})
    assert isinstance(camera_guess(PROFILE, bare), str)
    assert isinstance(camera_guess(PROFILE, bare, named=True), CameraGuess)


def test_the_nearest_of_several_profiles_is_chosen():
    tele = replace(PROFILE, focal_mm=9.0, focal_35mm_mm=77.0, focal_px=1400.0)
    zoomed = replace(PROFILE, focal_35mm_mm=52.0, focal_px=961.0)
    of_another = replace(PROFILE, camera="Brume Phone 2")
    known = (tele, of_another, PROFILE, zoomed)
    assert choose(known, photo()).focal_px == 480.0
    assert choose(known, photo(focal_35mm_mm=52.0)).focal_px == 961.0
    assert choose(known, photo(focal_35mm_mm=77.0, focal_mm=9.0)).focal_px == 1400.0
    assert choose(known, photo(camera="Brume Phone 3")) is None
    assert choose((), photo()) is None
