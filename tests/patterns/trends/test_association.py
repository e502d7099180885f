"""Associations: published adjusted p, permutation against scipy, planted effects, confounding."""

import re
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from scipy import stats

from petitpied.domain.bake import BakeFacts
from petitpied.patterns.trends.association import Outcome, associations
from petitpied.patterns.trends.regressors import Regressor, regressors, time_of, together
from petitpied.text.causes_words import hint_for, lines, together_words
from tests.history.bakes import START, sha_of


def facts_of(count, **columns):
    return [
        replace(
            BakeFacts(sha_of(i), START + timedelta(days=i), "Deck"),
            **{name: values[i] for name, values in columns.items()},
        )
        for i in range(count)
    ]


def amount(values, name="humidity"):
    return Regressor(name, "", "%", 1.0, np.array(values, float))


def outcome(values, name="mean diameter", measure="diameter"):
    return Outcome(name, measure, "mm", np.array(values, float))


def test_adjusted_p_as_published():
    # Benjamini & Hochberg (1995), section 4: 15 tests, 4 rejected at 5 %
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.324,
         0.4262, 0.5719, 0.6528, 0.759, 1.0]  # fmt: skip
    adjusted = stats.false_discovery_control(p, method="bh")
    assert (adjusted <= 0.05).sum() == 4
    assert adjusted[3] == pytest.approx(0.0356, abs=5e-5)


def test_p_is_that_of_a_permutation_test():
    rng = np.random.default_rng(41)
    x, y = rng.normal(size=12), rng.normal(size=12)
    y += 0.6 * x
    (found,) = associations([outcome(y)], [amount(x)], [None] * 12, rng)

    def t(values):  # HC3 by its definition, from the design matrix
        design = np.column_stack([np.ones(12), x])
        inverse = np.linalg.inv(design.T @ design)
        beta = inverse @ design.T @ values
        h = np.einsum("ij,jk,ik->i", design, inverse, design)
        scaled = (values - design @ beta) / (1 - h)
        cover = inverse @ (design.T * scaled**2) @ design @ inverse
        return abs(beta[1]) / np.sqrt(cover[1, 1])

    scores = stats.norm.ppf((stats.rankdata(y) - 0.5) / 12)
    reference = [
        stats.permutation_test(
            (v,), t, permutation_type="pairings", n_resamples=4000, alternative="greater",
            rng=np.random.default_rng(42),
        ).pvalue
        for v in (y, scores)
    ]  # fmt: skip
    # both draw 4,000 permutations: each p is known to 0.008 at most (1 s.e.)
    assert found.p == pytest.approx(max(reference), abs=0.03)
    assert found.effect == pytest.approx(np.polyfit(x, y, 1)[0], rel=1e-9)


def test_false_findings_are_rare_and_intervals_hold_the_truth():
    rng = np.random.default_rng(43)
    any_found, held, runs = 0, 0, 150
    for _ in range(runs):
        facts = [amount(rng.normal(size=10), f"fact {i}") for i in range(3)]
        noise = rng.standard_t(3, size=10) * (1 + np.abs(facts[0].values))  # uneven, heavy tails
        found = associations([outcome(noise)], facts[1:], [None] * 10, rng)
        any_found += any(a.stands_out for a in found)
        held += sum(a.low <= 0 <= a.high for a in found)
    # 5 % wanted; 150 runs: three standard errors are 5.3 %
    assert any_found / runs <= 0.05 + 0.053
    assert held / (2 * runs) >= 0.95 - 0.038


def test_a_planted_effect_is_found_with_its_size_and_its_twin_is_named():
    rng = np.random.default_rng(44)
    humid = np.where(np.arange(40) % 3 == 0, 0.62, 0.45) + rng.normal(0, 0.01, 40)
    pink = ["pink" if h > 0.55 else ["lemon", "mint"][i % 2] for i, h in enumerate(humid)]
    facts = facts_of(
        40, humidity_rel=humid.tolist(), flavour=pink, fan=[i % 2 == 0 for i in range(40)]
    )
    cracked = 4 + 100 * (humid - 0.45) * 0.5 + rng.normal(0, 1.0, 40)
    logged = regressors(facts)
    series = outcome(cracked, "share of shells with cracks >= 3 mm", "cracks")
    found = associations([series], logged, [None] * 40, rng)
    humidity = next(a for a in found if a.fact.fact == "humidity")
    assert humidity.stands_out
    assert humidity.low < 5 < humidity.high  # 0.5 per 1 %, told for 10 %
    assert "rest" in hint_for(humidity)
    pairs = together([*logged, time_of(facts)])
    assert {(p.first.label, p.second.label) for p in pairs} == {("humidity", "flavour pink")}
    assert re.fullmatch(  # the cut lies between 47 and 60, where no bake is
        r"every bake with more than (4[7-9]|5\d)(\.\d)? % humidity was also one with flavour pink "
        r"\(14 of 14\)\.",
        together_words(pairs[0]),
    )
    said = "\n".join(lines(found, pairs, 40, ""))
    assert "It may as well be: flavour pink." in said
    assert "Common practice, not a finding" in said
    assert "because" not in said
    assert "due to" not in said


def test_what_changed_once_goes_along_with_time():
    facts = facts_of(20, set_temperature_c=[150.0] * 10 + [145.0] * 10)
    pairs = together([*regressors(facts), time_of(facts)])
    assert [(p.first.fact, p.second.fact) for p in pairs] == [("set temperature", "time")]
    assert "course of time" in together_words(pairs[0])


def test_bakes_of_one_batter_count_once():
    rng = np.random.default_rng(45)
    batches = [f"b{i // 3}" for i in range(30)]
    batter = np.repeat(rng.normal(size=10), 3)
    flavour = np.repeat(np.arange(10) % 2, 3)
    fact = Regressor("flavour", "pink", "", 1.0, flavour.astype(float))
    (found,) = associations([outcome(batter)], [fact], batches, rng)
    assert (found.bakes, found.by_batch) == (10, True)
    within = Regressor("rack", "top", "", 1.0, (np.arange(30) % 3 == 0).astype(float))
    (found,) = associations([outcome(batter + rng.normal(size=30))], [within], batches, rng)
    assert (found.bakes, found.by_batch) == (30, False)


@pytest.mark.parametrize(
    ("x", "y"),
    [
        ([1.0] * 10, range(10)),  # the fact never differs
        (range(10), [42.0] * 10),  # all bakes alike
        ([0] * 9 + [1], range(10)),  # hangs on a single bake
        ([np.nan] * 5 + list(range(5)), range(10)),  # too few
    ],
)
def test_what_cannot_be_compared_is_left_out(x, y):
    rng = np.random.default_rng(46)
    assert associations([outcome(list(y))], [amount(list(x))], [None] * 10, rng) == ()
    assert "nothing could be compared" in lines([], [], 10, "")[0]


def test_a_perfect_line_is_found():
    rng = np.random.default_rng(47)
    (found,) = associations([outcome(range(10))], [amount(range(10))], [None] * 10, rng)
    assert found.stands_out
    assert found.effect == pytest.approx(1)
