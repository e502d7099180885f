"""Racks that differ, an oven that changed, turns that lie apart in time: none is passed over."""

import numpy as np
import pytest

from petitpied.patterns.oven.one_oven import compare_racks, find_break
from petitpied.patterns.oven.oven_or_hand import tell_apart
from petitpied.patterns.oven.tray_stack import stack_bakes
from petitpied.patterns.oven.turns_in_time import LEAST_MIXED, mixing
from tests.benchmarks.kitchen_days import Days, make_days


def kitchen(plan, seed=1):
    bakes = make_days(plan, np.random.default_rng(seed))
    return bakes, stack_bakes(bakes, "diameter")


def test_racks_with_opposite_slopes_are_told():
    bakes, stack = kitchen(Days(10, 2, racks=(1.5, -1.5)))
    found = compare_racks(stack, [b.facts.rack for b in bakes], np.random.default_rng(2))
    assert found.racks == ("rack 1", "rack 2")
    assert found.differ


def test_racks_alike_are_pooled():
    """30 kitchens; six or more told apart have a chance of 0.3 % if it is 5 %."""
    told = 0
    for seed in range(30):
        bakes, stack = kitchen(Days(8, 2, shared=0.3, racks=(0.5, 0.5)), seed)
        racks = [b.facts.rack for b in bakes]
        told += compare_racks(stack, racks, np.random.default_rng(seed)).differ
    assert told <= 5


def test_too_few_days_do_not_compare_racks():
    bakes, stack = kitchen(Days(4, 2, racks=(1.5, -1.5)))
    found = compare_racks(stack, [b.facts.rack for b in bakes], np.random.default_rng(2))
    assert found.p is None
    assert not found.differ


def test_a_changed_oven_is_found_and_a_steady_one_is_not():
    _, stack = kitchen(Days(16, oven=-1.5, late_oven=3.0))
    found = find_break(stack, np.random.default_rng(3))
    assert abs(found.unit - 8) <= 1
    steady = [find_break(kitchen(Days(12, oven=1.0), s)[1], np.random.default_rng(s))
              for s in range(30)]  # fmt: skip
    assert sum(f is not None for f in steady) <= 5


@pytest.mark.parametrize(
    ("turned", "least", "most"),
    [([0, 1] * 6, 0.8, 1.0), ([0] * 6 + [1] * 6, 0.0, 1e-9), ([0, 0, 1, 1, 0, 0, 1, 1], 0.5, 1.0)],
)
def test_mixing(turned, least, most):
    """By turns: the worst step explains at most a tenth; in two blocks it explains all."""
    units = np.arange(len(turned))
    assert least <= mixing(np.array(turned, bool), units).share <= most
    assert LEAST_MIXED < 0.5


def test_a_new_oven_between_straight_and_turned_is_not_the_hand():
    """Six straight bakes, a change, six turned: nothing can be told, and the plan says by turns."""
    bakes, _ = kitchen(Days(12, turns="late", oven=1.5, late_oven=-3.0))
    found = tell_apart(bakes, "diameter", np.random.default_rng(4))
    assert found.oven is None
    assert found.hand is None
    assert found.mixed < LEAST_MIXED


def test_a_new_oven_among_turns_is_not_the_hand():
    """By turns, the oven's slope changed halfway: 8 kitchens, hardly one put to the hand."""
    blamed = 0
    for seed in range(8):
        bakes, _ = kitchen(Days(12, turns="alternate", oven=1.5, late_oven=-3.0), seed)
        found = tell_apart(bakes, "diameter", np.random.default_rng(seed))
        blamed += bool(found.hand is not None and found.hand.stands_out)
    assert blamed <= 1
