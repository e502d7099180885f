"""Sets of chart photos: a good one gives the lens, each bad one a plain sentence."""

from dataclasses import replace

import numpy as np
import pytest

from petitpied.camera.lens.chart import ChartSighting
from petitpied.camera.lens.chart_set import ChartPhoto, profile_of
from petitpied.domain.errors import ExitCode, LensError
from tests.camera.lens.charts import Lens, corners_seen, good_poses, pose

LENS = Lens()


def photo(name, at, rng, lens=LENS, **more):
    squares, px = corners_seen(lens, at, rng, **more)
    chart = ChartSighting(squares, px, 0.8, None)
    return ChartPhoto(name, "Brume Phone 1", 5.6, 26.0, None, lens.size_px, 1, chart)


def photos(count=12, seed=1, **more):
    rng = np.random.default_rng(seed)
    return [photo(f"c{i}", at, rng, **more) for i, at in enumerate(good_poses(rng, count))]


def refusal(seen, square_mm=22.0):
    with pytest.raises(LensError) as caught:
        profile_of(seen, square_mm)
    assert caught.value.exit_code is ExitCode.LENS
    sentence = str(caught.value)
    assert sentence.endswith(".")
    assert "\n" not in sentence
    return sentence


def test_a_good_set_gives_the_lens_and_what_it_rests_on():
    profile = profile_of(photos(), 22.0)
    assert profile.focal_px == pytest.approx(LENS.focal_px, rel=0.002)
    assert (profile.width_px, profile.height_px, profile.photos) == (1600, 1200, 12)
    assert profile.camera == "Brume Phone 1"
    assert profile.coverage_rel > 0.9
    # poses were made 330 mm away, give or take 15 %
    assert profile.distance_mm == pytest.approx(330, rel=0.1)
    # a tablet's squares of half the size: the same lens from half the distance
    small = profile_of(photos(), 11.0)
    assert small.focal_px == pytest.approx(profile.focal_px, rel=1e-6)  # sums in another order
    assert small.distance_mm == pytest.approx(profile.distance_mm / 2)


def test_photos_held_upright_and_sideways_belong_together():
    """A phone that looks down turns its pictures at whim; the lens stays where it is."""
    seen = photos()
    turned = []
    for i, each in enumerate(seen):
        if i % 3 == 0:  # as EXIF orientation 6 shows it: turned by 90 degrees clockwise
            width, height = each.size_px
            px = each.chart.points_px
            chart = replace(
                each.chart, points_px=np.column_stack([height - 1 - px[:, 1], px[:, 0]])
            )
            turned.append(replace(each, chart=chart, size_px=(height, width), orientation=6))
        else:
            turned.append(each)
    assert profile_of(turned, 22.0).centre_px == pytest.approx(profile_of(seen, 22.0).centre_px)


def test_too_few_photos_say_which_could_not_be_used_and_how_many_to_add():
    seen = photos(9)
    seen[2] = replace(seen[2], chart="blurred, edges spread over 14 pixels")
    seen[5] = replace(seen[5], chart="no lens chart found")
    sentence = refusal(seen)
    assert "7 of 9 can be used" in sentence
    assert "c2: blurred" in sentence
    assert "c5: no lens chart" in sentence
    assert "add 1 or more" in sentence


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"camera": "Brume Phone 2"}, "different cameras: c0 says Brume Phone 1 and c3 says"),
        ({"focal_mm": 1.6}, "different lenses"),
        ({"focal_35mm_mm": 52.0}, "different zooms"),
        ({"size_px": (4032, 3024)}, "different sizes"),
        ({"camera": None}, "says nothing"),
    ],
)
def test_mixed_cameras_lenses_zooms_and_sizes(change, words):
    seen = photos()
    seen[3] = replace(seen[3], **change)
    assert words in refusal(seen)


def test_two_lenses_in_one_set_without_any_header():
    """Stripped of their headers, the corners still tell."""
    other = replace(LENS, focal_px=1.12 * LENS.focal_px, k1=-0.05)
    seen = [*photos(8), *photos(4, seed=9, lens=other)]
    bare = [replace(p, camera=None, focal_mm=None, focal_35mm_mm=None) for p in seen]
    assert "do not fit one lens" in refusal(bare)


def test_all_from_one_place():
    rng = np.random.default_rng(2)
    still = [photo(f"c{i}", pose(*rng.normal(0, 1, 2), 300.0), rng) for i in range(10)]
    sentence = refusal(still)
    assert "from one place" in sentence or "square-on" in sentence
    assert "side" in sentence


def test_too_little_tilt_one_way():
    rng = np.random.default_rng(3)
    places = [(0, 0), (0.2, 0.14), (-0.2, 0.14), (0.2, -0.14), (-0.2, -0.14)]
    seen = [
        photo(f"c{i}", pose((-25, 0, 25)[i % 3], rng.normal(0, 1), 320.0, places[i % 5]), rng)
        for i in range(12)
    ]
    sentence = refusal(seen)
    assert "tilt up and down varies by" in sentence
    assert "add photos from the near and the far side" in sentence


def test_a_corner_of_the_picture_never_seen():
    rng = np.random.default_rng(4)
    places = [(0, 0), (0.15, 0.1), (-0.15, 0.1), (0.15, -0.1), (0, 0.1)]
    leans = [(25, 0), (-25, 0), (0, 25), (0, -25), (0, 0)]
    seen = [photo(f"c{i}", pose(*leans[i % 5], 520.0, places[i % 5]), rng) for i in range(12)]
    sentence = refusal(seen)
    assert "upper left corner" in sentence
    assert "%" in sentence
    assert "add photos with the chart in the" in sentence


def test_a_chart_out_of_shape_or_of_another_size_than_said():
    assert "wider than high" in refusal(photos(stretch=1.015))
    seen = photos()
    seen[4] = replace(seen[4], chart=replace(seen[4].chart, square_by_card_mm=20.7))
    assert "measure 20.7 mm and not 22.0 mm" in refusal(seen)
    assert profile_of(seen, 20.7).photos == 12
