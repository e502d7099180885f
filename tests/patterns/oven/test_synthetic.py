"""Made-up histories hold what was planted in them, and the same seed gives the same history."""

import itertools

import numpy as np
import pytest

from petitpied.patterns.oven.synthetic import LEAN_SPREAD_MM, Plan, Planted, make_history


def history(plan, seed=7):
    return make_history(plan, np.random.default_rng(seed))


def stacked(bakes, measure):
    """x, y, value less the bake's mean, and whether turned, of every measured shell."""
    rows = []
    for bake in bakes:
        v = bake.shells.values[measure]
        there = np.isfinite(v)
        rows.append(
            np.column_stack(
                [
                    bake.shells.x_mm[there],
                    bake.shells.y_mm[there],
                    v[there] - v[there].mean(),
                    np.full(there.sum(), bake.facts.turn_deg == 180),
                ]
            )
        )
    return np.concatenate(rows).T


def test_the_same_seed_gives_the_same_history():
    plan = Plan(4, turned=2, missing=0.1, smooth_share=0.5, tails=4.0)
    first, again, other = history(plan), history(plan), history(plan, 8)
    for a, b in zip(first, again, strict=True):
        assert a.facts == b.facts
        np.testing.assert_array_equal(a.shells.values["diameter"], b.shells.values["diameter"])
    assert not np.array_equal(first[0].shells.x_mm, other[0].shells.x_mm)


def test_turned_and_missing_are_as_many_as_asked_for():
    bakes = history(Plan(40, turned=13, missing=0.2))
    assert sum(b.facts.turn_deg == 180 for b in bakes) == 13
    assert len({b.facts.photo_sha256 for b in bakes}) == 40
    assert all(a.facts.baked_at < b.facts.baked_at for a, b in itertools.pairwise(bakes))
    shells = sum(int(np.isfinite(b.shells.values["diameter"]).sum()) for b in bakes)
    # 40 x 30 shells, each missing with 0.2: four standard deviations of a binomial count
    assert abs(shells - 960) <= 4 * np.sqrt(1200 * 0.2 * 0.8)


@pytest.mark.parametrize("kind", ["across", "front-back", "centre-edge"])
def test_an_ovens_pattern_stands_where_the_door_is(kind):
    plan = Plan(200, turned=100, oven=(Planted(kind, 2.0),))
    x, y, v, turned = stacked(history(plan), "diameter")
    half = plan.region.half_mm
    if kind == "centre-edge":
        far = np.maximum(np.abs(x) / half[0], np.abs(y) / half[1])
        high, low = v[far > 0.8].mean(), v[far < 0.4].mean()
    else:
        along = x / half[0] if kind == "across" else y / half[1]
        high, low = v[along > 0.8].mean(), v[along < -0.8].mean()
    # 1,000 shells and more on either side, spread 1 mm: 0.05 mm; slopes are 2 mm from end to end,
    # the edge 2 mm above the middle on average, its corners more
    assert 1.2 < high - low < (2.8 if kind == "centre-edge" else 2.3)
    assert v[turned > 0].std() == pytest.approx(v[turned == 0].std(), rel=0.1)


def test_a_hands_pattern_turns_with_the_tray():
    plan = Plan(200, turned=100, hand=(Planted("across", 2.0),))
    x, _, v, turned = stacked(history(plan), "diameter")
    right = x > 0.8 * plan.region.half_mm[0]
    left = x < -0.8 * plan.region.half_mm[0]
    for is_turned, sign in ((0, 1), (1, -1)):
        here = turned == is_turned
        difference = v[here & right].mean() - v[here & left].mean()
        assert 1.4 < sign * difference < 2.3  # as above; outer columns are past 0.8


def test_a_spot_and_a_lean_have_their_place_and_direction():
    plan = Plan(100, oven=(Planted("spot", 3.0, (120.0, -70.0)), Planted("lean", 0.5, (0.0, 1.0))))
    bakes = history(plan)
    x, y, v, _ = stacked(bakes, "diameter")
    near = np.hypot(x - 120, y + 70) < 30
    far = np.hypot(x - 120, y + 70) > 200
    # 3 mm in the middle, exp(-30^2 / (2 80^2)) = 0.93 at 30 mm, 0.04 at 200 mm
    assert 2.6 < v[near].mean() - v[far].mean() < 3.1
    lean_x, lean_y = (
        np.concatenate([b.shells.values[name] for b in bakes]) for name in ("lean_x", "lean_y")
    )
    allowed = 4 * LEAN_SPREAD_MM / np.sqrt(len(lean_x))  # four standard errors
    assert abs(lean_x.mean()) < allowed
    assert abs(lean_y.mean() - 0.5) < allowed


def test_smooth_noise_makes_neighbours_alike():
    def likeness(share):
        x, y, v, _ = stacked(history(Plan(150, smooth_share=share)), "diameter")
        gap = np.hypot(np.diff(x), np.diff(y))
        near = gap < 90  # the next shell of the row
        return np.corrcoef(v[:-1][near], v[1:][near])[0, 1]

    # exp(-72^2 / (2 70^2)) = 0.59 of the smooth half, less what the bake's mean takes out
    assert likeness(0.5) > 0.1 > likeness(0.0) + 0.05
