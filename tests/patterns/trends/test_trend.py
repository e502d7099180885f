"""Series, charts and rules joined: shifts that are planted are found, null series seldom signal."""

import numpy as np
import pytest

from petitpied.domain.bake import Bake, BakeFacts, BakeShells
from petitpied.patterns.trends.bake_series import Fault, bake_series, fault_counts, measured
from petitpied.patterns.trends.control_charts import (
    individuals,
    relative_doubt_of_sigma,
    share,
    sigma_of_individuals,
)
from petitpied.patterns.trends.trend import (
    Plan,
    autoregression,
    trend_of_share,
    trend_of_values,
    with_chance,
)
from tests.history.bakes import START, sha_of


def a_bake(number, **values):
    n = len(next(iter(values.values()), []))
    place = np.arange(n)
    shells = BakeShells(
        tuple(f"A{i + 1}" for i in place), place * 0, place, place * 60.0, place * 0.0,
        {name: np.array(v, float) for name, v in values.items()},
    )  # fmt: skip
    return Bake(BakeFacts(sha_of(number), START, "Deck"), shells)


def test_series_pass_over_what_is_missing():
    bakes = [
        a_bake(0, diameter=[40, 42, 44], lean_x=[3, 0, np.nan], lean_y=[4, 1, 1]),
        a_bake(1, diameter=[np.nan, 41, np.nan]),
        a_bake(2),
    ]
    series = bake_series(bakes, "diameter")
    assert series.counts.tolist() == [3, 1, 0]
    assert series.means[:2].tolist() == [42, 41]
    assert np.isnan(series.means[2])
    assert series.sds[0] == pytest.approx(2)
    assert np.isnan(series.sds[1:]).all()
    assert bake_series(bakes, "lean").means[0] == pytest.approx(3)  # (5 + 1) / 2
    assert measured(bakes) == ("diameter", "lean_x", "lean_y", "lean")
    faults, counts = fault_counts(bakes, Fault("diameter", "<", 42))
    assert (faults.tolist(), counts.tolist()) == ([1, 1, 0], [3, 1, 0])
    assert str(Fault("diameter", "<", 42)) == "diameter < 42 mm"


def test_a_shift_signals_and_the_change_is_measured():
    rng = np.random.default_rng(21)
    values = rng.normal(42, 0.3, 45)
    values[30:] += 1.5  # five sigma
    values[12] = np.nan
    after = np.arange(45) >= 30
    found = trend_of_values(values, Plan(base=~after, after=after))
    assert found.base_bakes == 29
    assert {s.rule for s in found.panels[0].signals if s.index >= 30} >= {
        "Western Electric 1", "Western Electric 4",
    }  # fmt: skip
    assert found.change.low < 1.5 < found.change.high
    assert found.change.shows
    smooth = trend_of_values(values, Plan(base=~after, chart="ewma"))
    assert {s.index for s in smooth.panels[0].signals} >= set(range(33, 45))


def test_all_bakes_alike_signal_nothing():
    found = trend_of_values(np.full(12, 42.0), Plan(base=np.ones(12, bool)))
    assert not found.panels[0].signals
    assert not found.panels[1].signals
    none = trend_of_share(np.zeros(12), np.full(12, 30.0), Plan(base=np.ones(12, bool)))
    assert not none.panels[0].signals


def test_too_small_a_base_is_refused():
    with pytest.raises(ValueError, match="2 points or more, got 1"):
        trend_of_values(np.array([42.0, np.nan]), Plan(base=np.ones(2, bool)))


@pytest.mark.parametrize("count", [5, 20])
def test_doubt_of_sigma_by_drawing(count):
    rng = np.random.default_rng(31)
    drawn = [sigma_of_individuals(rng.normal(size=count)) for _ in range(20_000)]
    assert np.mean(drawn) == pytest.approx(1, abs=0.02)
    # 20,000 draws know a standard deviation to 0.5 %
    assert np.std(drawn) == pytest.approx(relative_doubt_of_sigma(count), rel=0.02)


def test_shares_of_trays_that_share_their_fate_get_wider_limits():
    rng = np.random.default_rng(32)
    rates = rng.beta(2, 8, 400)  # rates differ from tray to tray
    faults, counts = rng.binomial(36, rates).astype(float), np.full(400, 36.0)
    everywhere = np.ones(400, bool)
    narrow = share(faults, counts, everywhere, between=False).beyond.mean()
    wide = share(faults, counts, everywhere, between=True).beyond.mean()
    assert narrow > 0.05  # the plain binomial limits are wrong here
    assert wide < 0.02


def test_days_alike_are_judged_by_what_is_new_in_them():
    """An autoregression's residuals are independent, of variance 1 - r^2 (Alwan & Roberts 1988)."""
    rng = np.random.default_rng(33)
    values = autoregression(20_000, 0.6, rng)
    chart = individuals(values, np.ones(len(values), bool), 0.6)
    z = chart.standardised[1:]
    # 20,000 values know a standard deviation to 0.5 % and a correlation to 0.7 %
    assert np.std(z) == pytest.approx(1, abs=0.02)
    assert np.corrcoef(z[1:], z[:-1])[0, 1] == pytest.approx(0, abs=0.03)


def test_how_often_a_steady_kitchen_signals_is_said():
    rng = np.random.default_rng(34)
    plan = Plan(base=np.arange(30) < 20)
    hits, said = [], []
    for n in range(120):
        values = autoregression(30, 0.5, rng)
        found = trend_of_values(values, plan)
        hits.append(bool(found.panels[0].signals))
        if n < 4:
            said.append(with_chance(found, plan, rng).by_chance)
    # 120 kitchens know a share to 4.5 % (1 s.e.), four statements of theirs scatter by 5 %
    assert np.mean(said) == pytest.approx(np.mean(hits), abs=0.2)


def test_trays_of_one_day_are_one_point():
    bakes = [a_bake(0, diameter=[40, 42]), a_bake(1, diameter=[44, np.nan]), a_bake(2)]
    series = bake_series(bakes, "diameter", np.array([0, 0, 1]))
    assert series.counts.tolist() == [3, 0]
    assert series.means[0] == 42
