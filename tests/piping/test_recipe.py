"""Batch sizes against counting, and weights against the rule of three."""

import numpy as np
import pytest

from petitpied.piping.recipe import (
    GoodShare,
    Recipe,
    chance_of_enough,
    scaled,
    shells_to_pipe,
)

WEIGHTS = (("egg white", 100.0), ("almond flour", 130.0), ("icing sugar", 130.0), ("sugar", 90.0))
RECIPE = Recipe("rose", WEIGHTS, ("egg white",), 9.0, 0.1, 6, 30)


def test_chance_of_enough_by_drawing():
    """Yield drawn from its posterior, then the shells; 200,000 draws: sd 0.001, four of them."""
    rng = np.random.default_rng(5)
    p = rng.beta(30 + 0.5, 6 + 0.5, 200_000)
    good = rng.binomial(90, p)
    drawn = float((good >= 72).mean())
    assert chance_of_enough(90, 72, GoodShare(30, 36)) == pytest.approx(drawn, abs=0.0045)


def test_the_fewest_shells_that_hold_the_chance():
    share = GoodShare(30, 36)
    n = shells_to_pipe(72, share, 0.9)
    assert chance_of_enough(n, 72, share) >= 0.9 > chance_of_enough(n - 1, 72, share)


def test_a_yield_from_more_shells_needs_fewer_spare_ones():
    assert shells_to_pipe(72, GoodShare(300, 360), 0.9) < shells_to_pipe(72, GoodShare(30, 36), 0.9)


def test_no_good_shell_ever_gives_no_batch():
    with pytest.raises(ValueError, match="more than"):
        shells_to_pipe(1000, GoodShare(0, 400), 0.99)


def test_weights_follow_by_the_rule_of_three():
    batch = scaled(RECIPE, 10, None)
    assert (batch.shells_needed, batch.shells, batch.trays) == (120, 120, 4)
    assert batch.batter_g == pytest.approx(120 * 9 / 0.9)
    grams = {name: g for name, g, _ in batch.ingredients}
    assert sum(grams.values()) == pytest.approx(1200)
    assert grams["egg white"] == pytest.approx(1200 * 100 / 450)
    assert {name: r for name, _, r in batch.ingredients}["almond flour"] == pytest.approx(1.3)
    assert batch.chance is None


def test_boxes_must_be_possible():
    with pytest.raises(ValueError, match="at least 1"):
        scaled(RECIPE, 0, None)
    with pytest.raises(ValueError, match="more than"):
        scaled(RECIPE, 10_000_000, None)


def test_water_that_boils_off_is_not_piped():
    """600 g of parts, 18 g of which boil off: 120 shells of 9 g with 10 % lost take 1200 g of
    batter, so 1200 / 582 of each part, and of the water that leaves."""
    weights = (("egg white, paste", 50.0), ("egg white, meringue", 50.0), ("rest", 460.0))
    weights += (("water", 40.0),)
    recipe = Recipe("x", weights, ("egg white, paste", "egg white, meringue"), 9.0, 0.1, 6, 30,
                    "italian", 18.0)  # fmt: skip
    batch = scaled(recipe, 10, None)
    grams = {name: g for name, g, _ in batch.ingredients}
    assert sum(grams.values()) - batch.boiled_off_g == pytest.approx(1200)
    assert grams["egg white, paste"] == pytest.approx(1200 * 50 / 582)
    assert {name: r for name, _, r in batch.ingredients}["egg white, paste"] == pytest.approx(0.5)
