"""Heights from two views: rays that meet, domes of known height, and a pair of traced photos."""

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from petitpied.contours.cap_sweep import sweep_caps
from petitpied.contours.triangulate import ViewPair, height_slopes, triangulate
from petitpied.domain.errors import ShellsError
from petitpied.domain.same_tray import Registration, rigid_fit
from petitpied.domain.settings import Settings
from petitpied.domain.view import View, rotation_matrix
from petitpied.inspection.two_photos import inspect_two
from petitpied.photo.decode import decode_photo
from tests.benchmarks.scorer import TrueShells

DATA = Path(__file__).resolve().parents[1] / "data"
TRAYS = Path(__file__).resolve().parents[3] / "shared" / "trays"
SIZE_PX = (240, 200)
FOCAL_PX, HEIGHT_MM = 2400.0, 700.0


def looking_from(x_mm, y_mm):
    """A view from there, `HEIGHT_MM` up, turned towards the frame's origin."""
    tilt = [-np.arctan2(y_mm, HEIGHT_MM), np.arctan2(x_mm, HEIGHT_MM), 0.03]
    rotation = rotation_matrix(tilt)
    centre = np.array([x_mm, y_mm, -HEIGHT_MM])
    k = [[FOCAL_PX, 0, SIZE_PX[0] / 2], [0, FOCAL_PX, SIZE_PX[1] / 2], [0, 0, 1]]
    return View.exact(k, [0.0], np.column_stack([rotation, -rotation @ centre]))


def a_pair(turn_deg=0.0, shift_mm=(0.0, 0.0)):
    """Two views 280 mm apart; the second has a tray frame of its own."""
    a = np.deg2rad(turn_deg)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    shift = np.array(shift_mm)
    second = looking_from(20.0, 140.0).moved(shift, turn_deg)
    join = Registration(turn, shift, (), 0.1)
    return ViewPair(looking_from(-10.0, -140.0), second, join)


def test_the_second_frame_is_joined():
    pair = a_pair(3.0, (12.0, -7.0))
    points, heights = np.array([[5.0, 9.0], [-20.0, 4.0]]), np.array([3.0, 8.0])
    plain = looking_from(20.0, 140.0).project(points, heights)
    assert np.allclose(pair.project(1, points, heights), plain, atol=1e-6)


def test_rays_meet_at_the_points():
    pair = a_pair(3.0, (12.0, -7.0))
    rng = np.random.default_rng(3)
    points, heights = rng.uniform(-60, 60, (20, 2)), rng.uniform(0, 14, 20)
    found = triangulate(pair, *(pair.project(k, points, heights) for k in (0, 1)))
    # places change with height as 1 / (camera's height - h): straight to first order, and the
    # second is (10 / 700)^2
    assert found.height_mm == pytest.approx(heights, abs=5e-3)
    assert np.abs(found.gap_mm).max() < 1e-6
    assert found.parallax == pytest.approx(np.full(20, 0.4), abs=0.03)  # 282 / 700


def test_doubts_of_the_views_reach_the_heights():
    """Against Monte Carlo: views drawn from their covariance, joined anew, rays met anew."""
    exact = a_pair()
    sigma = np.zeros(len(exact.first.covariance))
    sigma[0], sigma[2:5], sigma[5:8] = 0.005, 1e-3, (0.1, 0.1, 2.0)
    doubtful = [replace(v, covariance=np.diag(sigma**2)) for v in (exact.first, exact.second)]
    pair = ViewPair(*doubtful, exact.second_to_first)
    grid = np.stack(np.meshgrid([-60.0, 0, 60], [-40.0, 0, 40]), -1).reshape(-1, 2)
    told = np.sqrt((height_slopes(pair, grid, 10.0) ** 2).sum(axis=0))
    seen = [pair.project(k, grid, np.full(9, 10.0)) for k in (0, 1)]
    rng = np.random.default_rng(8)
    drawn = []
    for _ in range(400):
        views = [v.perturbed(sigma * rng.normal(size=len(sigma))) for v in doubtful]
        places = [v.to_plane(px, 10.0) for v, px in zip(views, seen, strict=True)]
        turn, shift = rigid_fit(places[1], places[0])
        moved = ViewPair(views[0], views[1], Registration(turn, shift, (), 0.1))
        drawn.append(triangulate(moved, *seen).height_mm)
    # 400 draws: 3.5 % (one sigma); three of them
    assert told == pytest.approx(np.std(drawn, axis=0), rel=0.11)


def texture(places_mm, seed=5):
    """Specks of a millimetre, smooth, by plan place (N, 2): grey about 150."""
    rng = np.random.default_rng(seed)
    wave = rng.normal(0, 3.0, (40, 2))  # rad a mm: waves of about 2 mm
    phase = rng.uniform(0, 2 * np.pi, 40)
    return 150 + 6 * np.cos(places_mm @ wave.T + phase).sum(axis=1) / np.sqrt(20) * 2


def photo_of_a_dome(pair, which, top_mm, rim_mm, radius_mm=21.0, seed=0):
    """What one camera sees of a textured half ellipsoid on a shoulder."""
    u, v = np.meshgrid(np.arange(SIZE_PX[0]), np.arange(SIZE_PX[1]))
    px = np.column_stack([u.ravel(), v.ravel()]).astype(float)
    view = (pair.first, pair.second)[which]
    height = np.full(len(px), rim_mm)
    for _ in range(14):  # slopes are under 1/2 where it matters: the error halves each round
        plan = view.to_plane(px, height)
        if which:
            plan = pair.second_to_first.to_first(plan)
        inside = np.maximum(1 - (plan**2).sum(axis=1) / radius_mm**2, 0)
        height = 0.5 * height + 0.5 * (rim_mm + (top_mm - rim_mm) * np.sqrt(inside))
    grey = texture(plan).reshape(SIZE_PX[::-1])
    rng = np.random.default_rng(100 + 10 * seed + which)
    noisy = cv2.GaussianBlur(grey, (0, 0), 0.8) + rng.normal(0, 2.0, grey.shape)
    return noisy.astype(np.float32)


@pytest.mark.parametrize(("top_mm", "rim_mm"), [(12.5, 4.6), (5.6, 1.3), (15.0, 4.5)])
def test_a_domes_top_is_found(top_mm, rim_mm):
    pair = a_pair(2.0, (4.0, 9.0))
    greys = tuple(photo_of_a_dome(pair, k, top_mm, rim_mm) for k in (0, 1))
    found = sweep_caps(pair, greys, np.array([[0.0, 0.0]]), np.array([21.0]))
    # told from the dome's assumed share of the height, 0.63: the rim here differs from it
    assert found.height_mm[0] == pytest.approx(top_mm, abs=0.3)
    assert abs(found.height_mm[0] - top_mm) < 3 * found.u_mm[0] + 0.05
    assert found.likeness[0] > 0.8


def test_unlike_pictures_tell_no_height():
    pair = a_pair()
    rng = np.random.default_rng(4)
    greys = tuple(
        cv2.GaussianBlur(rng.normal(150, 20, SIZE_PX[::-1]), (0, 0), 1.5).astype(np.float32)
        for _ in range(2)
    )
    found = sweep_caps(pair, greys, np.array([[0.0, 0.0]]), np.array([21.0]))
    assert np.isnan(found.height_mm[0])


def photo_at(path):
    return decode_photo(path.read_bytes(), path.name)


needs_trays = pytest.mark.skipif(not TRAYS.is_dir(), reason="no shared trays beside the project")


@needs_trays
def test_a_pair_of_traced_photos():
    paths = [TRAYS / f"dev07_pair_vanilla_{letter}.jpg" for letter in "ab"]
    record = inspect_two(*map(photo_at, paths), Settings())
    assert record.photo.file == paths[0].name
    truth = json.loads(paths[0].with_suffix(".json").read_text())
    pairs = TrueShells.of(truth).match(np.array([s.centre_px for s in record.shells]))
    assert len(pairs) == len(truth["shells"])
    error = np.array(
        [record.shells[j].height_mm.value - truth["shells"][i]["height_mm"] for i, j in pairs]
    )
    assert np.sqrt(np.mean(error**2)) < 0.6  # what the issue of heights asks for
    u95 = np.array([record.shells[j].height_mm.u95 for _, j in pairs])
    assert np.mean(np.abs(error) <= u95) > 0.85


def test_two_trays_are_refused():
    photos = [photo_at(DATA / f"drawn_tray_{number}.jpg") for number in ("one", "two")]
    with pytest.raises(ShellsError, match="do not lie in the same places"):
        inspect_two(*photos, Settings())


def test_a_photo_with_itself_is_refused():
    photo = photo_at(DATA / "drawn_tray_one.jpg")
    with pytest.raises(ShellsError, match="one and the same file"):
        inspect_two(photo, photo, Settings())
