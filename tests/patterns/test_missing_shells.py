"""Missing shells: where they are, and that what they could have made is withheld."""

import numpy as np
import pytest
from scipy.stats import norm

from petitpied.patterns.missing_shells import bounded, filled, missing_shells
from petitpied.patterns.oven.oven_map import map_oven
from petitpied.text.oven_map_words import lines
from tests.benchmarks.kitchen_days import Days, make_days


def judged(plan, seed):
    rng = np.random.default_rng(seed)
    bakes = make_days(plan, rng)
    found = map_oven(bakes, "diameter", rng)
    missing = missing_shells(bakes, "diameter")
    return found, bounded(found, bakes, missing, rng), missing


def test_what_small_shells_missing_at_the_edge_make_is_withheld():
    claimed = alone = 0
    for seed in range(5):
        found, held, missing = judged(Days(20, lost=0.8), seed)
        assert missing.goes_with_place
        claimed += held.strongest is not None
        alone += found.strongest is not None
    assert alone >= 2  # they do make a pattern
    assert claimed == 0
    said = "\n".join(lines(held, "oven", turned=False))
    assert held.strength == "nothing found"
    assert "(its place" not in said


def test_what_no_missing_shell_could_make_stays():
    """A hot middle, from which no shell is missing."""
    found, held, missing = judged(Days(12, spot=(0.0, 0.0, 3.0), lost=0.4), 1)
    assert missing.goes_with_place
    assert held.strongest.kind == found.strongest.kind


def test_missing_by_chance_withholds_nothing():
    rng = np.random.default_rng(3)
    bakes = make_days(Days(10, oven=2.0), rng)
    assert not missing_shells(bakes, "diameter").goes_with_place
    found = map_oven(bakes, "diameter", rng)
    assert bounded(found, bakes, missing_shells(bakes, "diameter"), rng) is found


def test_filled_are_the_tail_of_their_place():
    """Of a normal distribution's smallest fifth the mean lies 1.40 deviations below the middle."""
    rng = np.random.default_rng(4)
    bakes = make_days(Days(200, lost=0.5), rng)
    missing = missing_shells(bakes, "diameter")
    whole = filled(bakes, missing, -np.ones(len(missing.missing)))
    assert {len(b.shells.ids) for b in whole} == {30}
    share = missing.missing.max() / missing.bakes
    worst = norm.pdf(norm.ppf(share)) / share
    low = [
        (b.shells.values["diameter"][np.char.startswith(b.shells.ids, "?")] - v.mean()) / v.std()
        for b, a in zip(whole, bakes, strict=True)
        if (v := a.shells.values["diameter"]).size < 30
    ]
    assert np.concatenate(low).max() == pytest.approx(-worst, abs=0.2)
