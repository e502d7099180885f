"""Holm's step over measures."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from petitpied.history.oven_map_reading import ALL, read_maps
from petitpied.patterns.oven.several_measures import holm, over_all
from petitpied.patterns.oven.synthetic import Plan, Planted, make_history


def test_worked_by_hand():
    # in order: 4 x 0.005 = 0.02, 3 x 0.01 = 0.03, 2 x 0.015 = 0.03, 1 x 0.03 = 0.03
    assert holm((0.01, 0.015, 0.03, 0.005)) == pytest.approx((0.03, 0.03, 0.03, 0.02))


@given(st.lists(st.floats(0, 1), min_size=1, max_size=9))
def test_never_below_the_single_p_and_never_out_of_order(p_values):
    adjusted = holm(p_values)
    assert all(a >= p for a, p in zip(adjusted, p_values, strict=True))
    order = np.argsort(p_values, kind="stable")
    assert (np.diff(np.array(adjusted)[order]) >= 0).all()
    assert max(adjusted) <= 1


def test_a_planted_pattern_stands_out_over_all_measures():
    plan = Plan(14, oven=(Planted("across", 3.0),))
    maps = read_maps(make_history(plan, np.random.default_rng(5)), ALL)
    p = over_all(maps)
    assert len(p) == len(maps)
    assert p["diameter"] <= 0.05
    assert min(v for name, v in p.items() if name != "diameter") >= p["diameter"]
