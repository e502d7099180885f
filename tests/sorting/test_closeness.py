"""How alike two shells are: outlines turned and folded, from their equations."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from petitpied.domain.quantity import Quantity
from petitpied.sorting.closeness import (
    MM_PER_DELTA_E,
    TURN_STEP_DEG,
    TURNS_DEG,
    Closeness,
    difference_u_mm,
)
from petitpied.sorting.lot import ORDERS, harmonics_of
from tests.sorting.lots import a_lot, a_shell


def outline(radius, count=360, centre=(3.0, -7.0)):
    """Vertices of r(t), tray frame, from a function of the angle."""
    t = np.linspace(0, 2 * np.pi, count, endpoint=False)
    r = radius(t)
    return np.column_stack([centre[0] + r * np.cos(t), centre[1] + r * np.sin(t)])


def wavy(t, shift=0.0):
    return 22 + 0.5 * np.cos(2 * (t - shift)) + 0.3 * np.cos(3 * (t - shift) - 1.0)


def turned_and_folded(points, turn_deg):
    """What hands do: turn about the middle, clockwise seen from above (x to y), then fold over
    to the side: left and right change places."""
    a = np.deg2rad(turn_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    return (points @ turn) * [-1, 1]


def test_harmonics_are_those_of_the_equation():
    found = harmonics_of(outline(wavy))
    # 0.5 cos(2 t) and 0.3 cos(3 t - 1); the area centroid of a wavy curve is off its pole by
    # the product of neighbouring waves over the radius, 0.5 * 0.3 / 22 = 0.007 mm
    assert found[0] == pytest.approx(0.5, abs=0.01)
    assert found[1] == pytest.approx(0.3 * np.exp(-1j), abs=0.01)
    assert np.abs(found[2:]).max() < 0.01


def test_a_circle_has_no_harmonics_and_a_line_is_refused():
    assert np.abs(harmonics_of(outline(lambda t: 22 + 0 * t))).max() < 1e-3  # polygon of 360
    with pytest.raises(ValueError, match="no area"):
        harmonics_of(np.column_stack([np.arange(9.0), np.zeros(9)]))
    with pytest.raises(ValueError, match="shape"):
        harmonics_of(np.zeros((3, 2)))


@given(st.integers(0, 71))
@settings(max_examples=25, deadline=None)
def test_the_turn_told_closes_a_perfect_pair(step):
    """One shell is the other's mirror image, turned: turning and folding as told undoes it."""
    turn = step * TURN_STEP_DEG
    a = outline(wavy, centre=(0, 0))
    unfolded = a * [-1, 1]  # the partner's outline before it is turned back
    back = np.deg2rad(-turn)
    rotation = np.array([[np.cos(back), np.sin(back)], [-np.sin(back), np.cos(back)]])
    b = unfolded @ rotation
    shells = [a_shell("A1", harmonics_mm=harmonics_of(p)) for p in (a, b)]
    costs, turns = Closeness.of(shells).pairs(np.array([0]), np.array([1]))
    assert costs[0] < 0.01  # the polygon's and the centroid's rounding
    assert (turns[0] - turn) % 360 == 0
    again = turned_and_folded(b, turns[0])
    gap = np.abs(again[:, None] - a[None]).sum(axis=2).min(axis=1).max()
    assert gap < 0.2  # half the distance of vertices on a circle of 22 mm: 0.19 mm


def test_cost_is_the_least_over_all_turns_by_hand():
    """Against radii compared point by point on a fine grid, for every turn."""
    shells = a_lot(6, seed=3, colour=True)
    closeness = Closeness.of(shells)
    t = np.linspace(0, 2 * np.pi, 96, endpoint=False)  # exact: waves up to 2 x 15

    def radius(shell, angle):
        return sum(
            (c * np.exp(1j * k * angle)).real
            for k, c in zip(ORDERS, shell.harmonics_mm, strict=True)
        )

    for i in range(6):
        for j in range(i + 1, 6):
            a, b = shells[i], shells[j]
            steps = [
                np.mean((radius(a, t) - radius(b, np.pi - t - np.deg2rad(turn))) ** 2)
                for turn in TURNS_DEG
            ]
            size = a.diameter_mm.value - b.diameter_mm.value
            colour = np.linalg.norm(np.subtract(a.lab, b.lab))
            wanted = np.sqrt(min(steps) + size**2 + (MM_PER_DELTA_E * colour) ** 2)
            assert closeness.matrix()[i, j] == pytest.approx(wanted, rel=1e-9)
            assert closeness.pairs(np.array([i]), np.array([j]))[0][0] == pytest.approx(wanted)
            assert closeness.rows(np.array([j]), np.array([i]))[0, 0] == pytest.approx(wanted)


@pytest.mark.parametrize("spread_mm", [0.05, 1.0, 30.0])
def test_nearest_is_exact_however_wide_the_sizes(spread_mm):
    closeness = Closeness.of(a_lot(700, seed=9, spread_mm=spread_mm))
    partners, costs = closeness.nearest(5)
    full = closeness.matrix()
    assert np.allclose(np.sort(costs, axis=1), np.sort(full, axis=1)[:, :5], atol=1e-9)
    assert np.allclose(costs, np.take_along_axis(full, partners, axis=1), atol=1e-9)


def test_colour_counts_only_where_every_shell_has_one():
    with_colour = a_lot(4, seed=1, colour=True)
    assert Closeness.of(with_colour).lab is not None
    assert Closeness.of([*with_colour, a_shell("B1")]).lab is None


def test_a_difference_in_one_tray_does_not_carry_the_shared_part():
    one, other = a_shell("A1"), a_shell("A2")
    assert difference_u_mm(one, other) == pytest.approx(np.hypot(0.08, 0.08))
    elsewhere = a_shell("A1", record="second.json")
    wanted = np.sqrt(2 * 0.08**2 + 2 * 0.15**2)
    assert difference_u_mm(one, elsewhere) == pytest.approx(wanted)
    larger = a_shell("A3", diameter_mm=Quantity(50, 0.08, 0.16))
    assert difference_u_mm(one, larger) == pytest.approx(np.sqrt(2 * 0.08**2 + 0.01**2))
