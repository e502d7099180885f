"""Foot against cap on discs and rings whose spread and lean follow from geometry."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ellipe

from petitpied.domain.shell import Ring
from petitpied.sizing.foot import foot_and_lean
from petitpied.sizing.outline import measure_outline


def ring(centre, radius, seed=None, height=0.0):
    lobes = np.zeros((2, 8))
    if seed is not None:
        lobes = np.random.default_rng(seed).normal(size=(2, 8)) * 0.3 / np.arange(2, 10)
    return Ring((float(centre[0]), float(centre[1])), radius, lobes[0], lobes[1], height)


# Mean radius of a circle of radius R about a point d off its centre: (2 R / pi) E(d^2 / R^2),
# E the complete elliptic integral of the second kind. abs: rays that pass between the 720
# vertices read the chord, on average 2/3 of R (2 pi / 720)^2 / 8 = 1.5e-4 mm short.
@pytest.mark.parametrize("lean", [0.0, 0.5, 2.0, 5.0])
def test_discs(lean):
    foot, cap = ring((10 + lean, -3), 24.0), ring((10, -3), 22.5)
    found = foot_and_lean(foot, cap)
    expected = 2 * 24.0 / np.pi * ellipe((lean / 24.0) ** 2) - 22.5
    assert found.foot_spread_mm == pytest.approx(expected, abs=3e-4)
    assert found.lean_mm == pytest.approx(lean, abs=1e-9)


def test_hidden_foot_has_a_negative_spread():
    found = foot_and_lean(ring((0, 0), 20.0), ring((0, 0), 21.0))
    assert found.foot_spread_mm == pytest.approx(-1.0, abs=1e-4)


@pytest.mark.parametrize("direction", [-179.0, -90.0, -30.0, 0.0, 45.0, 90.0, 135.0, 180.0])
def test_direction_turns_from_x_towards_y(direction):
    a = np.deg2rad(direction)
    found = foot_and_lean(ring((1.5 * np.cos(a), 1.5 * np.sin(a)), 23.0), ring((0, 0), 22.0))
    assert np.cos(np.deg2rad(found.lean_dir_deg - direction)) == pytest.approx(1, abs=1e-12)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 10**6),
    lean=st.tuples(st.floats(-3, 3), st.floats(-3, 3)),
    shift=st.tuples(st.floats(-300, 300), st.floats(-300, 300)),
)
def test_shift_moves_nothing_and_exchange_turns_the_lean_round(seed, lean, shift):
    foot, cap = ring(lean, 24.0, seed), ring((0, 0), 22.0, seed + 1)
    here = foot_and_lean(foot, cap)
    far = foot_and_lean(ring(np.add(lean, shift), 24.0, seed), ring(shift, 22.0, seed + 1))
    assert far.foot_spread_mm == pytest.approx(here.foot_spread_mm, abs=1e-9)
    assert far.lean_mm == pytest.approx(here.lean_mm, abs=1e-9)
    back = foot_and_lean(cap, foot)
    assert back.lean_mm == pytest.approx(here.lean_mm, abs=1e-9)
    # centroids by the outline's own measure, another path through the code
    difference = np.subtract(
        measure_outline(foot.points_mm(720)).centroid_mm,
        measure_outline(cap.points_mm(720)).centroid_mm,
    )
    direction = np.deg2rad(here.lean_dir_deg)
    # 1e-4: 360 against 720 vertices
    assert here.lean_mm * np.array([np.cos(direction), np.sin(direction)]) == pytest.approx(
        difference, abs=1e-4
    )


@settings(max_examples=20, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10**6), scale=st.floats(0.3, 3))
def test_scale(seed, scale):
    def scaled(r):
        centre = (r.centre_mm[0] * scale, r.centre_mm[1] * scale)
        return Ring(centre, r.radius_mm * scale, r.cos_mm * scale, r.sin_mm * scale, 0.0)

    foot, cap = ring((1.0, -0.5), 24.0, seed), ring((0, 0), 22.0, seed + 1)
    small, large = foot_and_lean(foot, cap), foot_and_lean(scaled(foot), scaled(cap))
    assert large.foot_spread_mm == pytest.approx(scale * small.foot_spread_mm, abs=1e-9)
    assert large.lean_mm == pytest.approx(scale * small.lean_mm, abs=1e-9)


def test_foot_beside_its_cap_is_refused():
    with pytest.raises(ValueError, match="run once around"):
        foot_and_lean(ring((60, 0), 20.0), ring((0, 0), 20.0))
