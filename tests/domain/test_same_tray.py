"""The same shells found again under any turn and shift; other trays refused."""

import numpy as np
import pytest

from petitpied.domain.same_tray import register


def a_tray(seed, scatter_mm=1.0):
    """Six by five shells piped by hand on a lattice of 50 mm, two places empty."""
    rng = np.random.default_rng(seed)
    lattice = np.stack(np.meshgrid(np.arange(6), np.arange(5)), -1).reshape(-1, 2) * 50.0
    return (lattice + rng.normal(0, scatter_mm, lattice.shape))[2:] - (125, 100)


def turned(points, angle_deg, shift_mm):
    c, s = np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))
    return points @ np.array([[c, s], [-s, c]]) + shift_mm


@pytest.mark.parametrize("angle_deg", [0.0, 0.4, 180.3, 89.7, -90.2])
def test_found_again(angle_deg):
    first = a_tray(1)
    rng = np.random.default_rng(2)
    second = turned(first, angle_deg, (31.0, -12.0)) + rng.normal(0, 0.1, first.shape)
    second = np.delete(second, [4, 9], axis=0)
    found = register(first, second)
    assert found is not None
    expected = [i for i in range(28) if i not in (4, 9)]
    assert [i for i, _ in found.pairs] == expected
    assert abs((found.turn_deg + angle_deg + 180) % 360 - 180) < 0.1
    back = found.to_first(second)
    # each place is off by 0.1 mm a coordinate
    assert np.abs(back - first[expected]).max() < 0.5


def test_another_tray_on_the_same_lattice_is_refused():
    assert all(register(a_tray(1), a_tray(seed)) is None for seed in range(2, 12))


def test_a_few_nudged_shells_do_not_make_it_another_tray():
    first = a_tray(3)
    second = first + np.random.default_rng(4).normal(0, 0.1, first.shape)
    second[:5] += (2.0, 1.0)
    assert register(first, second) is not None


def test_too_few_shells_tell_nothing():
    assert register(a_tray(1)[:3], a_tray(1)[:3]) is None
