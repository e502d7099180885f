"""Oven maps: planted patterns are found where they are, chance is not, bad input is told."""

from dataclasses import replace

import numpy as np
import pytest

from petitpied.patterns.oven.hand_frame import in_hand_frame
from petitpied.patterns.oven.likeness import estimate
from petitpied.patterns.oven.oven_map import map_oven
from petitpied.patterns.oven.synthetic import Plan, Planted, make_history
from petitpied.patterns.oven.tray_stack import stack_bakes
from petitpied.statistics.sign_flips import least_p, signs


def rng(seed=1):
    return np.random.default_rng(seed)


def found_in(plan, measure="diameter", seed=1):
    return map_oven(make_history(plan, rng(seed)), measure, rng(seed + 1))


def pattern(found, kind):
    return next(f for f in found.findings if f.kind == kind)


def with_values(bakes, measure, change):
    return tuple(
        replace(b, shells=replace(b.shells, values={measure: change(b.shells.values["diameter"])}))
        for b in bakes
    )


def test_a_hot_spot_is_shown_at_its_place():
    """2 shell-SD over 12 bakes: some 7 standard errors, so any seed finds it."""
    found = found_in(Plan(12, oven=(Planted("spot", 2.0, (130.0, -80.0)),)))
    spot = pattern(found, "spot")
    assert found.strength == "shows"
    assert found.strongest is spot
    assert spot.p_adjusted <= 0.002  # 1 of 1,000 flips, and ties
    assert np.hypot(spot.place_mm[0] - 130, spot.place_mm[1] + 80) <= 60
    assert abs(spot.effect.value - 2.0) <= 1.5 * spot.effect.u95  # 3 standard errors
    marked = [c for c in found.cells if c.stands_out]
    assert marked
    assert min(np.hypot(c.middle_mm[0] - 130, c.middle_mm[1] + 80) for c in marked) <= 60


@pytest.mark.parametrize("kind", ["across", "front-back", "centre-edge"])
@pytest.mark.parametrize("size", [2.0, -2.0])
def test_named_patterns_have_their_sign_and_size(kind, size):
    found = found_in(Plan(10, oven=(Planted(kind, size),), missing=0.1))
    it = pattern(found, kind)
    assert it.stands_out
    assert abs(it.effect.value - size) <= 1.5 * it.effect.u95  # 3 standard errors


def test_the_mean_lean_has_a_direction():
    found = found_in(Plan(12, oven=(Planted("lean", 0.6, (1.0, -1.0)),)), "lean")
    it = pattern(found, "lean")
    assert it.stands_out
    assert it.effect.direction_deg == pytest.approx(-45, abs=25)  # error 0.04 of 0.6: 4 deg
    assert found.airflow.test == "Hotelling"
    assert found.airflow.p < 0.001


@pytest.mark.parametrize(("bakes", "rounds", "most"), [(3, 60, 9), (6, 100, 12), (20, 60, 9)])
def test_chance_is_not_told_as_a_pattern(bakes, rounds, most):
    """Half the noise smooth, heavy tails, missing shells. Bounds: exceeded with probability
    below 0.2 % if the chance of a false alarm is 5 % (binomial)."""
    plan = Plan(bakes, smooth_share=0.5, tails=3.0, missing=0.2)
    hits = sum(found_in(plan, seed=100 + s).strength != "nothing found" for s in range(rounds))
    assert hits <= most


def test_one_tray_suggests_only_what_is_glaring():
    """Smooth likeness of neighbours alone is not told; a slope of 12 shell-SD is."""
    glaring = found_in(Plan(1, oven=(Planted("across", 12.0),)))
    assert glaring.strength == "suggests"
    assert pattern(glaring, "across").stands_out
    smooth = Plan(1, smooth_share=0.9)
    assert sum(found_in(smooth, seed=s).strength != "nothing found" for s in range(20)) <= 4


def test_few_bakes_never_show():
    for count in (1, 2, 3, 5):
        found = found_in(Plan(count, oven=(Planted("across", 12.0),)))
        assert found.strength == "suggests"
    assert least_p(5) > 0.05  # what flips of five bakes could give at best
    assert least_p(6) == 1 / 32


def test_flips_do_not_change_what_weights_are_made_of():
    """The likeness comes from squares: a bake with all signs changed gives the same."""
    bakes = make_history(Plan(6, smooth_share=0.5), rng())
    flipped = with_values(bakes[:3], "diameter", lambda v: -v) + with_values(
        bakes[3:], "diameter", lambda v: v
    )
    assert estimate(stack_bakes(flipped, "diameter")) == estimate(stack_bakes(bakes, "diameter"))


def test_all_flips_are_different_and_the_first_is_none():
    every = signs(7, rng())
    assert len(np.unique(every, axis=0)) == len(every) == 2**6
    assert (every[0] == 1).all()
    assert (every[:, -1] == 1).all()


def test_units_do_not_matter():
    """Values in thousandths, and from another zero, give the same p and the scaled effect."""
    bakes = make_history(Plan(8, oven=(Planted("across", 1.5),)), rng())
    plain = map_oven(bakes, "diameter", rng())
    other = map_oven(with_values(bakes, "diameter", lambda v: 1000 * v - 7), "diameter", rng())
    for one, two in zip(plain.findings, other.findings, strict=True):
        assert two.p_adjusted == one.p_adjusted
        assert two.effect.value == pytest.approx(1000 * one.effect.value, rel=1e-6)


def test_all_shells_alike():
    bakes = make_history(Plan(7), rng())
    found = map_oven(with_values(bakes, "diameter", lambda v: 0 * v + 45.1), "diameter", rng())
    assert found.flat
    assert found.strength == "nothing found"
    assert all(f.effect is None and not f.stands_out for f in found.findings)


def test_one_row_of_shells_says_nothing_of_front_and_back():
    bakes = tuple(
        replace(b, shells=replace(b.shells, y_mm=np.zeros_like(b.shells.y_mm)))
        for b in make_history(Plan(8, rows=1, columns=8), rng())
    )
    it = pattern(map_oven(bakes, "diameter", rng()), "front-back")
    assert it.effect is None
    assert it.p_adjusted is None
    assert it.why


def test_cells_without_shells_stay_blank():
    """The back right quarter is never piped."""
    bakes = []
    for bake in make_history(Plan(8), rng()):
        shells = bake.shells
        gone = (shells.x_mm > 60) & (shells.y_mm < -40)
        values = {n: np.where(gone, np.nan, v) for n, v in shells.values.items()}
        bakes.append(replace(bake, shells=replace(shells, values=values)))
    found = map_oven(bakes, "diameter", rng())
    blank = [c for c in found.cells if c.value is None]
    assert blank
    assert all(c.middle_mm[0] > 0 and c.middle_mm[1] < 0 for c in blank)


def test_more_bakes_find_less():
    small, large = (found_in(Plan(n)).smallest_effect_80 for n in (8, 32))
    assert large == pytest.approx(small / 2, rel=0.35)  # 4 times the bakes; s.e. of both 12 %


def test_nothing_to_map():
    with pytest.raises(ValueError, match="no bake"):
        map_oven([], "diameter", rng())
    with pytest.raises(ValueError, match="no bake"):
        map_oven(make_history(Plan(3), rng()), "cracks", rng())
    with pytest.raises(ValueError, match="measure must be one of"):
        map_oven(make_history(Plan(3), rng()), "taste", rng())


def test_a_turned_bake_was_piped_half_a_turn_away():
    plan = Plan(10, 5, hand=(Planted("spot", 2.5, (130.0, -80.0)),))
    bakes = make_history(plan, rng())
    spot = pattern(map_oven(in_hand_frame(bakes), "diameter", rng()), "spot")
    assert np.hypot(spot.place_mm[0] - 130, spot.place_mm[1] + 80) <= 60
    assert in_hand_frame(in_hand_frame(bakes))[3].shells.x_mm == pytest.approx(bakes[3].shells.x_mm)


def test_a_slope_of_browning_in_one_photo_may_be_the_light():
    """A fall of the light over the tray browns one side as an oven would: it is not told."""
    bakes = make_history(Plan(1, oven=(Planted("across", 6.0),)), rng())
    found = map_oven(with_values(bakes, "browning", lambda v: v - v.mean()), "browning", rng(2))
    assert found.strength == "nothing found"
    for kind in ("across", "front-back"):
        assert pattern(found, kind).p_adjusted is None
        assert "light" in pattern(found, kind).why
    many = make_history(Plan(8, oven=(Planted("across", 6.0),)), rng())
    found = map_oven(with_values(many, "browning", lambda v: v - v.mean()), "browning", rng(2))
    assert pattern(found, "across").stands_out
