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
from petitpied.patterns.trends.trend import autoregression
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
    """The course of time taken out of both (Frisch, Waugh & Lovell), HC3 by its definition."""
    rng = np.random.default_rng(41)
    x, y = rng.normal(size=12), rng.normal(size=12)
    y += 0.6 * x
    (found,) = associations([outcome(y)], [amount(x)], np.arange(12), rng)
    time = np.arange(12.0)
    design = np.column_stack([np.ones(12), x, time])
    plain = design[:, ::2]

    def beside_time(values):
        return values - plain @ np.linalg.lstsq(plain, values)[0]

    def t(values):
        inner = beside_time(x)
        beta = inner @ values / (inner @ inner)
        h = np.diag(design @ np.linalg.inv(design.T @ design) @ design.T)
        scaled = (values - values.mean() - beta * inner) / (1 - h)
        return abs(beta) * (inner @ inner) / np.sqrt((inner**2 * scaled**2).sum())

    scores = stats.norm.ppf((stats.rankdata(y) - 0.5) / 12)
    reference = [
        stats.permutation_test(
            (beside_time(v),), t, permutation_type="pairings", n_resamples=4000,
            alternative="greater", rng=np.random.default_rng(42),
        ).pvalue
        for v in (y, scores)
    ]  # fmt: skip
    # both draw 4,000 permutations: each p is known to 0.008 at most (1 s.e.); the p of units
    # that may be alike counts where it is larger
    assert found.p >= max(reference) - 0.03
    assert found.low < np.linalg.lstsq(design, y)[0][1] < found.high


def test_false_findings_are_rare_and_intervals_hold_the_truth():
    rng = np.random.default_rng(43)
    any_found, held, runs = 0, 0, 150
    for _ in range(runs):
        facts = [amount(rng.normal(size=10), f"fact {i}") for i in range(3)]
        noise = rng.standard_t(3, size=10) * (1 + np.abs(facts[0].values))  # uneven, heavy tails
        found = associations([outcome(noise)], facts[1:], np.arange(10), rng)
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
    found = associations([series], logged, np.arange(40), rng)
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
    units = np.arange(30) // 3
    batter = np.repeat(rng.normal(size=10), 3)
    flavour = np.repeat(rng.permutation(np.arange(10) % 2), 3)
    fact = Regressor("flavour", "pink", "", 1.0, flavour.astype(float))
    (found,) = associations([outcome(batter)], [fact], units, rng)
    assert (found.units, found.within) == (10, False)
    within = Regressor("rack", "top", "", 1.0, (np.arange(30) % 3 == 0).astype(float))
    helped = 5 * batter + within.values + 0.1 * rng.normal(size=30)
    (found,) = associations([outcome(helped)], [within], units, rng)
    assert (found.units, found.within) == (10, True)
    assert found.stands_out
    assert found.low < 1 < found.high


def test_what_drifts_along_with_a_fact_is_not_its_effect():
    """Both have a season, or are like the day before: spurious regression (Yule, J. Royal
    Statistical Society 89, 1926)."""
    rng = np.random.default_rng(48)
    false, runs = 0, 80
    for n in range(runs):
        x, y = (autoregression(24, 0.8, rng) for _ in range(2))
        if n % 2:
            x, y = (v + 2 * np.sin(np.arange(24) / 4 + 6 * rng.random()) for v in (x, y))
        found = associations([outcome(y)], [amount(x)], np.arange(24), rng)
        false += any(a.stands_out for a in found)
    # 5 % wanted; 80 runs: three standard errors are 7.3 %
    assert false / runs <= 0.05 + 0.073


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
    assert associations([outcome(list(y))], [amount(list(x))], np.arange(10), rng) == ()
    assert "nothing could be compared" in lines([], [], 10, "")[0]


def test_a_perfect_line_is_found():
    rng = np.random.default_rng(47)
    mixed = rng.permutation(10.0 * np.arange(10))
    (found,) = associations([outcome(mixed)], [amount(mixed)], np.arange(10), rng)
    assert found.stands_out
    assert found.effect == pytest.approx(1)


def test_what_only_went_along_with_time_is_left_out():
    rng = np.random.default_rng(49)
    assert associations([outcome(range(10))], [amount(range(10))], np.arange(10), rng) == ()
