"""The next bake: one change at a time, as many days as it takes, or none."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import nct, t

from petitpied.patterns.camera_suspect import suspect
from petitpied.patterns.next_bake import Known, next_bake, pairs_needed
from petitpied.patterns.oven.oven_map import map_oven
from petitpied.patterns.oven.oven_or_hand import tell_apart
from petitpied.patterns.trends.association import Outcome, associations
from petitpied.patterns.trends.regressors import Regressor, together
from petitpied.text.next_bake_words import lines
from tests.benchmarks.kitchen_days import Days, make_days


def told(plan, seed=1, causes=(), pairs=()):
    rng = np.random.default_rng(seed)
    bakes = make_days(plan, rng)
    found = map_oven(bakes, "diameter", rng)
    if found.strongest is not None:
        found = replace(found, camera=suspect(bakes, "diameter", found.strongest))
    sides = tell_apart(bakes, "diameter", rng)
    return next_bake(Known(found, sides, causes, pairs, bakes[-1].facts.turn_deg == 180), rng)


def whats(suggestions):
    changes = [s.what for s in suggestions if s.what in ("turn", "try", "vary", "apart")]
    assert len(changes) <= 1  # never more than one change at a time
    assert len(lines(suggestions, "oven")) <= 4
    return [s.what for s in suggestions]


def test_few_days_are_followed_by_more():
    (found,) = told(Days(3))
    assert (found.what, found.days) == ("more days", 3)


def test_a_pattern_asks_for_the_photo_then_the_turns_then_a_try():
    assert whats(told(Days(8, oven=2.0, sides="one"))) == ["photo", "turn"]
    assert whats(told(Days(8, oven=2.0, sides="by days"))) == ["turn"]
    (found,) = told(Days(12, oven=2.0, sides="both", turns="alternate"))
    assert found.what == "try"
    said = "\n".join(lines((found,), "oven"))
    assert "common practice, not a finding" in said
    assert "leave everything else as it is" in said


def test_nothing_found_in_many_bakes_is_nothing_to_change():
    (found,) = told(Days(40), 2)
    assert (found.what, found.shows < 1) == ("keep", True)
    assert "Nothing to change" in lines((found,), "oven")[1]


def test_what_came_together_is_told_apart():
    rng = np.random.default_rng(5)
    humid = rng.permutation(np.arange(24) % 2).astype(float)
    facts = [
        Regressor("humidity", "", "%", 10.0, 40 + 20 * humid + rng.normal(0, 1, 24)),
        Regressor("flavour", "rose", "", 1.0, humid),
    ]
    outcome = Outcome("mean diameter", "diameter", "mm", 45 + 0.8 * humid + rng.normal(0, 0.3, 24))
    causes = associations([outcome], facts, np.arange(24), rng)
    (found,) = told(Days(24), 2, causes, together(facts))
    assert found.what == "apart"
    assert {"humidity", "flavour rose"} == set(found.about)


@pytest.mark.parametrize("ratio", [0.8, 1.2, 2.0])
def test_days_needed_are_those_of_the_paired_t_test(ratio):
    """Power of Student's test by the noncentral t distribution."""

    def power(pairs):
        edge = t.ppf(0.975, pairs - 1)
        shift = ratio * np.sqrt(pairs / 2)
        return nct.sf(edge, pairs - 1, shift) + nct.cdf(-edge, pairs - 1, shift)

    exact = next(n for n in range(3, 60) if power(n) >= 0.8)
    found = pairs_needed(ratio, 1.0, np.random.default_rng(6))
    # 1,000 drawn histories know a power of 80 % to 1.3 %: a pair or two where it climbs slowly
    assert found is None if exact > 22 else abs(found - exact) <= 2
