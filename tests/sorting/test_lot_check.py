"""Sampling plans against the standard's tables and a drawn lot."""

import numpy as np
import pytest
from scipy.stats import binom

from petitpied.sorting.lot_check import (
    AQLS,
    bad_when_rarely_accepted,
    chance_accepted,
    plan_for,
)


# ISO 2859-1:1999, tables 1 and 2-A (level II, single, normal): lot, AQL, letter, n, Ac
@pytest.mark.parametrize(
    ("lot", "aql", "letter", "sample", "accept"),
    [
        (8, 6.5, "A", 2, 0),
        (9, 4.0, "B", 3, 0),
        (25, 10.0, "C", 5, 1),
        (26, 15.0, "D", 8, 3),
        (90, 2.5, "E", 20, 1),
        (91, 4.0, "F", 20, 2),
        (150, 6.5, "F", 20, 3),
        (280, 1.0, "G", 50, 1),
        (281, 0.65, "H", 80, 1),
        (500, 4.0, "H", 50, 5),
        (501, 2.5, "J", 80, 5),
        (1200, 15.0, "J", 80, 21),
    ],
)
def test_plans_of_the_standard(lot, aql, letter, sample, accept):
    plan = plan_for(lot, aql)
    assert (plan.letter, plan.sample, plan.accept, plan.whole) == (letter, sample, accept, False)


def test_a_plan_as_large_as_the_lot_is_every_shell():
    plan = plan_for(12, 1.0)  # the arrow leads to a sample of 13
    assert (plan.sample, plan.accept, plan.whole) == (12, 0, True)
    assert plan_for(8, 0.65).whole
    assert np.array_equal(chance_accepted(plan), np.arange(13) <= 0)


@pytest.mark.parametrize("lot", [1, 0, 1201])
def test_lots_beyond_the_tables_are_refused(lot):
    with pytest.raises(ValueError, match="lot must be 2 to 1200"):
        plan_for(lot, 4.0)
    with pytest.raises(ValueError, match="aql_percent must be one of"):
        plan_for(100, 5.0)


def test_chance_of_acceptance_at_the_aql():
    # published check values for code letter J, binomial; our lot of 1200 is finite, which
    # moves them by less than 0.01
    published = [0.9042, 0.9535, 0.9674, 0.9848, 0.9853, 0.9857, 0.9877, 0.9971]
    for aql, wanted in zip(AQLS, published, strict=True):
        plan = plan_for(1200, aql)
        assert binom.cdf(plan.accept, plan.sample, aql / 100) == pytest.approx(wanted, abs=1e-4)
        assert chance_accepted(plan)[round(12 * aql)] == pytest.approx(wanted, abs=0.01)


def test_operating_characteristic_against_drawn_samples():
    random = np.random.default_rng(2)
    plan = plan_for(300, 4.0)
    for bad in (12, 30, 50):
        found = random.hypergeometric(bad, 300 - bad, plan.sample, 20_000)
        share = np.mean(found <= plan.accept)
        # four standard errors of 20,000 draws
        assert chance_accepted(plan)[bad] == pytest.approx(share, abs=0.015)


@pytest.mark.parametrize("chance", [0.5, 0.1])
def test_what_it_does_not_promise(chance):
    plan = plan_for(300, 4.0)
    bad = bad_when_rarely_accepted(plan, chance)
    curve = chance_accepted(plan)
    assert curve[bad] <= chance < curve[bad - 1]
    assert np.all(np.diff(curve) <= 1e-12)
