"""Oven or hand: odd effects go to their side, even ones are said to be open."""

import numpy as np
import pytest

from petitpied.patterns.oven.oven_or_hand import tell_apart
from petitpied.patterns.oven.synthetic import Plan, Planted, make_history

SLOPE, RING = Planted("across", 2.5), Planted("centre-edge", 2.0)


def told(plan, measure="diameter", seed=1):
    rng = np.random.default_rng(seed)
    return tell_apart(make_history(plan, rng), measure, rng)


@pytest.mark.parametrize("side", ["oven", "hand"])
@pytest.mark.parametrize("kind", ["across", "front-back"])
def test_an_odd_effect_goes_to_its_side(side, kind):
    """2.5 shell-SD from side to side, 6 and 6 bakes: some 10 standard errors."""
    found = told(Plan(12, 6, **{side: (Planted(kind, 2.5),)}))
    right, wrong = (found.oven, found.hand) if side == "oven" else (found.hand, found.oven)
    assert right.stands_out
    assert right.kind == kind
    assert abs(right.effect.value - 2.5) <= 1.5 * right.effect.u95  # 3 standard errors
    assert not wrong.stands_out


def test_both_sides_may_have_a_part():
    found = told(Plan(14, 7, oven=(SLOPE,), hand=(Planted("front-back", 2.5),)))
    assert (found.oven.kind, found.oven.stands_out) == ("across", True)
    assert (found.hand.kind, found.hand.stands_out) == ("front-back", True)


@pytest.mark.parametrize("side", ["oven", "hand"])
def test_a_ring_cannot_be_told_by_turning(side):
    found = told(Plan(12, 6, **{side: (RING,)}))
    assert not found.oven.stands_out
    assert not found.hand.stands_out
    assert found.even.stands_out
    assert found.even.kind == "centre-edge"


@pytest.mark.parametrize(("side", "other"), [("oven", "hand"), ("hand", "oven")])
def test_photos_before_the_bake_tell_a_ring_too(side, other):
    found = told(Plan(10, piped=True, **{side: (RING,)}))
    assert found.split
    assert getattr(found, side).kind == "centre-edge"
    assert getattr(found, side).stands_out
    assert not getattr(found, other).stands_out


def test_a_lean_that_keeps_to_the_oven():
    found = told(Plan(12, 6, oven=(Planted("lean", 0.6, (0.0, 1.0)),)), "lean")
    assert (found.oven.kind, found.oven.stands_out) == ("lean", True)
    assert found.oven.effect.direction_deg == pytest.approx(90, abs=25)  # error 0.06 of 0.6
    assert not found.hand.stands_out


@pytest.mark.parametrize(("bakes", "turned"), [(1, 0), (5, 2), (12, 0), (12, 12), (12, 1)])
def test_too_few_each_way_round(bakes, turned):
    found = told(Plan(bakes, turned, oven=(SLOPE,)))
    assert found.oven is None
    assert found.hand is None
    after = {0: bakes - turned, 180: turned}
    for step in found.plan:
        after[step.turn_deg] += step.bakes
    assert after[0] == after[180] >= 6


def test_the_plan_promises_less_error_for_more_bakes():
    small = told(Plan(12, 6)).plan
    large = told(Plan(40, 20)).plan
    assert {s.turn_deg for s in small} == {0, 180}
    assert large[0].smallest_effect_80 < small[0].smallest_effect_80
