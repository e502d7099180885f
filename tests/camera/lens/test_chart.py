"""The chart found in pictures projected by ray and plane: its corners, and what spoils them."""

import cv2
import numpy as np
import pytest

from petitpied.camera.lens.chart import ChartSighting, find_chart
from petitpied.camera.lens.chart_set import ChartPhoto, profile_of
from petitpied.domain.errors import LensError
from tests.camera.lens.charts import Lens, board_points, good_poses, photograph, pose
from tests.scenes.cards import PX_PER_MM, card_image

LENS = Lens()
PLAIN = pose(12, -18, 330.0, (0.05, -0.03), 4.0)


@pytest.fixture(scope="module")
def picture():
    return photograph(LENS, PLAIN, np.random.default_rng(1))


def test_corners_to_a_tenth_of_a_pixel(picture):
    seen = find_chart(picture)
    assert isinstance(seen, ChartSighting)
    assert len(seen.points_px) == 70
    off = seen.points_px - LENS.project(board_points(seen.points_squares, PLAIN))
    # 2 grey levels of noise on a contrast of 200, a window of some 10 px: a few hundredths
    assert np.sqrt((off**2).sum(axis=1).mean()) < 0.12
    assert np.abs(off.mean(axis=0)).max() < 0.04
    # the picture's own blur of 0.8 px and that of its pixels
    assert seen.edge_blur_px == pytest.approx(0.85, abs=0.2)
    assert seen.square_by_card_mm is None


def test_a_mirror_image_is_refused(picture):
    with pytest.raises(LensError, match=r"mirrored in a photo: .*; take the photos straight"):
        find_chart(np.ascontiguousarray(picture[:, ::-1]))


def test_what_cannot_be_used_is_said_in_words(picture):
    assert find_chart(np.full((1200, 1600), 140, np.uint8)) == "no lens chart found"
    hidden = picture.copy()
    hidden[:, 620:] = 90
    assert "corners readable" in find_chart(hidden)
    blurred = cv2.GaussianBlur(picture, (0, 0), 3.5)
    assert "blurred" in find_chart(blurred)


@pytest.mark.parametrize("printed", [1.0, 0.9])
def test_a_card_beside_the_chart_tells_its_scale(printed):
    """The chart's own millimetres count as true in the drawing, so that a card drawn smaller is
    what a chart printed larger looks like."""
    size = PX_PER_MM / printed
    card = (card_image("A"), (80.0, -75.0), size)
    at = pose(5, 8, 480.0)
    seen = find_chart(photograph(LENS, at, np.random.default_rng(2), extra=card))
    # markers' middles over some 200 px of the searched copy, each to half a pixel
    assert seen.square_by_card_mm == pytest.approx(22.0 / printed, rel=0.01)


def test_from_pictures_to_the_lens():
    """Eight small pictures of a lens with known K, k1, k2: K within 0.2 %."""
    lens, photos = LENS.scaled(0.6), []
    for i, at in enumerate(good_poses(np.random.default_rng(5), 8)):
        chart = find_chart(photograph(lens, at, np.random.default_rng(i)))
        photos.append(ChartPhoto(f"c{i}", "P", 5.6, 26.0, None, lens.size_px, 1, chart))
    found = profile_of(photos, 22.0)
    assert found.focal_px == pytest.approx(lens.focal_px, rel=0.002)
    assert found.centre_px == pytest.approx(lens.centre_px, abs=0.002 * lens.focal_px)
    u = found.sigmas
    assert found.dist[0] == pytest.approx(lens.k1, abs=4 * u[1])
    assert found.dist[1] == pytest.approx(lens.k2, abs=4 * u[2])
