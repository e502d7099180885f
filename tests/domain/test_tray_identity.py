"""One tray, several photos: found again whatever the view; different trays never joined."""

import numpy as np
import pytest

from petitpied.domain.camera_doubt import camera_doubt
from petitpied.domain.joined_photos import Photo, joined, scatter_mm
from petitpied.domain.tray_identity import same_tray
from petitpied.domain.view import View, rotation_matrix
from tests.benchmarks.tray_photos import a_photo, a_tray


def test_photos_of_one_tray_are_joined():
    """Truth by `tests.benchmarks.tray_photos`: crops, quarter turns, up to three shells eaten."""
    rng = np.random.default_rng(1)
    for _ in range(25):
        tray = a_tray(rng)
        told = same_tray(a_photo(tray, rng), a_photo(tray, rng, eaten=int(rng.integers(4))))
        assert told is not None


def test_the_pairs_are_the_same_shells():
    rng = np.random.default_rng(2)
    tray = a_tray(rng)
    first, second = a_photo(tray, rng), a_photo(tray, rng, eaten=2)
    pairs = same_tray(first, second).registration.pairs
    right = [first.ids[i] == second.ids[j] for i, j in pairs]
    assert np.mean(right) == 1


def test_trays_of_one_sheet_are_not():
    rng = np.random.default_rng(3)
    for _ in range(40):
        sheet = rng.normal(0, 1.0, (5, 6, 2))  # drawn by hand: every tray shares its errors
        one, other = (a_tray(rng, 0.8, 0.6, sheet) for _ in range(2))
        assert same_tray(a_photo(one, rng), a_photo(other, rng)) is None


def test_two_photos_are_surer_than_one():
    rng = np.random.default_rng(4)
    errors = []
    for _ in range(12):
        tray = a_tray(rng)
        first, second = a_photo(tray, rng), a_photo(tray, rng)
        told = same_tray(first, second)
        both = joined(first, [Photo(second, told.registration)])
        true = {f"s{i}": size for i, size in enumerate(tray[1][:, 0])}

        def error(shells, true=true):
            names = [n.rstrip("+") for n in shells.ids]
            off = shells.values["diameter"] - np.array([true[n] for n in names])
            return float(np.std(off))

        errors.append((error(first), error(both)))
        assert len(both.ids) >= max(len(first.ids), len(second.ids))
        assert 0.05 < scatter_mm(first, Photo(second, told.registration)) < 1
    assert np.mean([b for _, b in errors]) < np.mean([a for a, _ in errors])


def test_what_a_view_could_fake():
    """A tilt not known to 1 mrad, from 600 mm: the scale then changes by x / height times the
    angle from one side to the other, to first order, for an area's root 1.5 times (a cosine's
    two factors: one of the distance, squared along the tilt)."""
    matrix = np.array([[3000.0, 0, 2000], [0, 3000.0, 1500], [0, 0, 1]])
    pose = np.column_stack([rotation_matrix([0, 0, 0]), [0, 0, 600.0]])
    covariance = np.zeros((14, 14))
    covariance[3, 3] = 1e-6  # about y: the right side nearer or farther
    view = View(matrix, np.zeros(5), pose, covariance)
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(-200, 200, 6), np.linspace(-150, 150, 5)))
    doubt = camera_doubt(view, np.column_stack([x, y]))
    assert doubt.across_rel == pytest.approx(1.5 * 1e-3 * 400 / 600, rel=0.02)
    assert doubt.front_rel == pytest.approx(0, abs=1e-6)
    assert doubt.azimuth_deg == pytest.approx(-90)
