"""The camera beside the oven: what turns with the photo is not put to the oven, what stays is."""

import numpy as np
import pytest

from petitpied.domain.camera_doubt import CameraDoubt, of_photos
from petitpied.patterns.camera_suspect import suspect
from petitpied.patterns.oven.oven_map import map_oven
from petitpied.text.oven_doubt_words import camera_words
from petitpied.text.oven_map_words import lines
from tests.benchmarks.kitchen_days import Days, make_days


def judged(plan, seed=1):
    rng = np.random.default_rng(seed)
    bakes = make_days(plan, rng)
    found = map_oven(bakes, "diameter", rng)
    return found, None if found.strongest is None else suspect(bakes, "diameter", found.strongest)


@pytest.mark.parametrize("seed", range(4))
def test_a_slope_of_the_photo_is_not_put_to_the_oven(seed):
    for sides in ("one", ""):
        _, camera = judged(Days(8, photo=2.0, sides=sides), seed)
        assert not camera.cleared
    for sides in ("by days", "both"):
        _, camera = judged(Days(8, photo=2.0, sides=sides), seed)
        assert camera is None or not camera.cleared


@pytest.mark.parametrize("sides", ["by days", "both"])
def test_the_ovens_slope_clears_the_camera_seen_from_both_sides(sides):
    found, camera = judged(Days(10, oven=2.0, sides=sides))
    assert found.strongest.kind == "across"
    assert (camera.cleared, camera.by) == (True, "sides")
    assert "Not the camera" in camera_words(camera, "mm")


def test_a_measured_lens_clears_what_it_could_not_fake():
    """0.5 % of 45 mm, twice its standard uncertainty: 0.44 mm; a slope of 2 mm is beyond."""
    _, camera = judged(Days(10, oven=2.0, sides="one", profiled=True))
    assert camera.could_fake == pytest.approx(1.96 * 0.005 * 45, rel=0.05)
    assert (camera.cleared, camera.by) == (True, "size")
    _, camera = judged(Days(10, oven=2.0, sides="one"))
    assert not camera.cleared
    said = camera_words(camera, "mm")
    assert "all photos were taken from one side" in said
    assert "To settle it, take a second photo" in said


def test_the_map_says_it():
    rng = np.random.default_rng(2)
    found = map_oven(make_days(Days(8, oven=2.0), rng), "diameter", rng)
    assert not any("camera" in line for line in lines(found, "oven", turned=False))


def test_two_photos_from_opposite_sides_have_no_side():
    first, second = (CameraDoubt(a, 0.01, 0.01, 0.005) for a in (-90.0, 90.0))
    assert of_photos(first, [(second, np.eye(2))]).steady == pytest.approx(0, abs=1e-12)
    # the same photo's side, told in a frame turned by half
    assert of_photos(first, [(second, -np.eye(2))]).steady == pytest.approx(1)
