"""The camera: Brown-Conrady against OpenCV, and the inverses of each step."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from petitpied.domain.view import PARAMETERS, View, distort, rotation_matrix, undistort

EASY = settings(max_examples=60, deadline=None, derandomize=True)
SEEDS = st.integers(0, 10**6)


def random_dist(rng):
    """Up to a phone lens's worst: some per cent at the corner of the picture."""
    return rng.uniform(-1, 1, 5) * [0.15, 0.08, 0.003, 0.003, 0.03]


def random_view(seed, *, with_distortion=True):
    """A camera 300 to 900 mm above the tray, tilted by up to 20 degrees, any roll."""
    rng = np.random.default_rng(seed)
    focal = rng.uniform(2000, 5000)
    k = np.array([[focal, 0, 2016 + rng.normal() * 20], [0, focal * 1.002, 1512.0], [0, 0, 1]])
    tilt = rng.uniform(-1, 1, 2) * np.deg2rad(20) / np.sqrt(2)
    rotation = rotation_matrix([*tilt, 0]) @ rotation_matrix([0, 0, rng.uniform(-np.pi, np.pi)])
    shift = [*rng.uniform(-50, 50, 2), rng.uniform(300, 900)]
    dist = random_dist(rng) if with_distortion else np.zeros(5)
    return View.exact(k, dist, np.column_stack([rotation, shift]))


def points_in_view(view, seed, count=25):
    """Points of the liner within 0.45 of the optical axis in normalised coordinates."""
    rng = np.random.default_rng(seed)
    normalised = rng.uniform(-0.32, 0.32, (count, 2))
    px = distort(normalised, view.dist) @ view.camera_matrix[:2, :2].T + view.camera_matrix[:2, 2]
    return view.to_plane(px)


@EASY
@given(seed=SEEDS)
def test_project_agrees_with_opencv(seed):
    view = random_view(seed)
    points = points_in_view(view, seed)
    height = np.random.default_rng(seed).uniform(0, 15, len(points))
    rotation = cv2.Rodrigues(view.world_to_camera[:, :3])[0]
    expected = cv2.projectPoints(
        np.column_stack([points, -height]),
        rotation,
        view.world_to_camera[:, 3],
        view.camera_matrix,
        view.dist,
    )[0].reshape(-1, 2)
    # double precision through the rotation vector and back: 1e-15 rad-ish times 5000 px
    assert view.project(points, height) == pytest.approx(expected, abs=1e-7)


@EASY
@given(vector=st.tuples(*[st.floats(-3, 3)] * 3), small=st.booleans())
def test_rotation_matrix_agrees_with_opencv(vector, small):
    v = np.array(vector) * (1e-9 if small else 1.0)
    found = rotation_matrix(v)
    assert found == pytest.approx(cv2.Rodrigues(v)[0], abs=1e-12)
    assert found @ found.T == pytest.approx(np.eye(3), abs=1e-12)


# One distorted point worked by hand from Brown's formula: x = 0.3, y = -0.2, r2 = 0.13,
# radial = 1 + 0.1*0.13 - 0.05*0.0169 + 0.02*0.002197 = 1.01219894, tangential
# x: 2*0.001*(-0.06) + (-0.002)*(0.13 + 0.18) = -0.00074,
# y: 0.001*(0.13 + 0.08) + 2*(-0.002)*(-0.06) = 0.00045
def test_distort_by_hand():
    found = distort(np.array([[0.3, -0.2]]), np.array([0.1, -0.05, 0.001, -0.002, 0.02]))
    radial = 1.01219894
    assert found[0] == pytest.approx([0.3 * radial - 0.00074, -0.2 * radial + 0.00045], abs=1e-12)


@EASY
@given(seed=SEEDS)
def test_undistort_inverts_distort(seed):
    rng = np.random.default_rng(seed)
    dist = random_dist(rng)
    points = rng.uniform(-0.45, 0.45, (40, 2))
    # the iteration stops at steps of 1e-12 and at least halves what is left
    assert undistort(distort(points, dist), dist) == pytest.approx(points, abs=2e-12)


def test_undistort_without_distortion_copies_and_takes_none():
    points = np.array([[0.1, 0.2]])
    found = undistort(points, np.zeros(5))
    assert found == pytest.approx(points)
    assert found is not points
    assert undistort(np.zeros((0, 2)), np.array([0.1, 0, 0, 0, 0])).shape == (0, 2)


@EASY
@given(seed=SEEDS)
def test_to_plane_inverts_project(seed):
    view = random_view(seed)
    points = points_in_view(view, seed)
    height = np.random.default_rng(seed + 1).uniform(0, 15, len(points))
    for h in (0.0, 6.0, height):
        # 2e-12 of normalised coordinates times 1000 mm of distance, tilted: below 1e-8 mm
        assert view.to_plane(view.project(points, h), h) == pytest.approx(points, abs=1e-8)


@EASY
@given(
    seed=SEEDS,
    origin=st.tuples(st.floats(-200, 200), st.floats(-200, 200)),
    turn_deg=st.floats(-180, 180),
)
def test_moved_frame_sees_the_same_points(seed, origin, turn_deg):
    view = random_view(seed)
    moved = view.moved(origin, turn_deg)
    new = np.array([[0.0, 0.0], [30.0, 0.0], [0.0, 30.0], [-20.0, 45.0]])
    a = np.deg2rad(turn_deg)
    old = np.array(origin) + new @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    height = np.array([0.0, 3.0, 6.0, 9.0])
    assert moved.project(new, height) == pytest.approx(view.project(old, height), rel=1e-9)
    assert moved.camera_centre_mm[2] == pytest.approx(view.camera_centre_mm[2], rel=1e-12)
    assert moved.tilt_deg == pytest.approx(view.tilt_deg, abs=1e-6)
    # and back: the old origin and angle in the new frame
    back_origin = -np.array(origin) @ np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    again = moved.moved(back_origin, -turn_deg)
    assert again.world_to_camera == pytest.approx(view.world_to_camera, abs=1e-9)


def test_moved_turns_from_x_towards_y():
    view = View.exact(np.diag([1000, 1000, 1]), [0], [[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 500]])
    # new x axis along the old y axis: the new (10, 0) is the old (0, 10), 20 px down
    assert view.moved((0, 0), 90).project([[10, 0]])[0] == pytest.approx([0, 20], abs=1e-12)


@EASY
@given(seed=SEEDS)
def test_no_change_perturbs_nothing(seed):
    view = random_view(seed)
    same = view.perturbed(np.zeros(len(PARAMETERS)))
    assert same.world_to_camera == pytest.approx(view.world_to_camera, abs=1e-12)
    assert np.array_equal(same.camera_matrix, view.camera_matrix)
    assert np.array_equal(same.dist, view.dist)


@EASY
@given(seed=SEEDS, turn=st.tuples(*[st.floats(-0.05, 0.05)] * 3))
def test_perturbed_rotation_turns_about_the_axis_point_of_the_liner(seed, turn):
    view = random_view(seed)
    other = view.perturbed([0, 0, *turn, 0, 0, 0])
    rotation = other.world_to_camera[:, :3]
    assert rotation @ rotation.T == pytest.approx(np.eye(3), abs=1e-12)
    pivot = view.to_plane(view.camera_matrix[None, :2, 2])
    assert other.project(pivot)[0] == pytest.approx(view.camera_matrix[:2, 2], abs=1e-7)
    distance = np.linalg.norm(view.camera_centre_mm[:2] - pivot[0])
    height = view.camera_centre_mm[2]
    moved = other.camera_centre_mm - [*pivot[0], 0]
    assert np.linalg.norm(moved) == pytest.approx(np.hypot(distance, height), rel=1e-12)


@EASY
@given(seed=SEEDS)
def test_perturbed_parameters_one_by_one(seed):
    view = random_view(seed)
    wider = view.perturbed([0.01, *[0] * 7])
    assert np.diag(wider.camera_matrix)[:2] == pytest.approx(
        1.01 * np.diag(view.camera_matrix)[:2], rel=1e-12
    )
    assert np.array_equal(wider.camera_matrix[:2, 2], view.camera_matrix[:2, 2])
    bent = view.perturbed([0, 0.02, *[0] * 6])
    assert bent.dist - view.dist == pytest.approx([0.02, 0, 0, 0, 0], abs=1e-15)
    shifted = view.perturbed([*[0] * 5, 1.0, -2.0, 3.0])
    assert shifted.world_to_camera[:, 3] - view.world_to_camera[:, 3] == pytest.approx(
        [1, -2, 3], abs=1e-9
    )


def test_covariance_has_a_row_for_each_parameter():
    assert random_view(0).covariance.shape == (len(PARAMETERS), len(PARAMETERS))


@EASY
@given(seed=SEEDS)
def test_camera_centre_projects_nowhere_but_lies_above(seed):
    view = random_view(seed)
    rotation, shift = view.world_to_camera[:, :3], view.world_to_camera[:, 3]
    assert rotation @ view.camera_centre_mm + shift == pytest.approx([0, 0, 0], abs=1e-9)
    assert view.camera_centre_mm[2] < 0


@pytest.mark.parametrize("tilt", [0.0, 3.0, 12.0])
def test_tilt_and_scale_of_a_plain_camera(tilt):
    rotation = rotation_matrix([np.deg2rad(tilt), 0, 0])
    view = View.exact(
        [[4000, 0, 2000], [0, 4000, 1500], [0, 0, 1]],
        [0, 0],
        np.column_stack([rotation, [0, 0, 500]]),
    )
    assert view.tilt_deg == pytest.approx(tilt, abs=1e-6)
    # f / Z across the tilt, times its cosine along it: the root of the area's magnification.
    # A 1 mm step instead of a derivative: (0.5 sin(tilt) / 500)^2 = 4e-8 of it
    assert view.px_per_mm((0, 0)) == pytest.approx(8 * np.sqrt(np.cos(np.deg2rad(tilt))), rel=1e-6)
