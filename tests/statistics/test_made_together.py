"""What was made together counts once: batches, days, and what maps make of them."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from petitpied.domain.bake import BakeFacts
from petitpied.patterns.oven.oven_map import map_oven
from petitpied.statistics.made_together import by_unit, means_by_unit, units_of
from petitpied.statistics.serial import FADING, inflation, pooled_autocorrelation
from tests.benchmarks.kitchen_days import Days, make_days

MORNING = datetime(2026, 3, 2, 8, tzinfo=UTC)


def a_bake(hours=0.0, **facts):
    return BakeFacts("0" * 64, MORNING + timedelta(hours=hours), "Deck", **facts)


@pytest.mark.parametrize(
    ("bakes", "units"),
    [
        ([a_bake(), a_bake(2), a_bake(24)], [0, 0, 1]),
        (
            [a_bake(flavour="rose"), a_bake(1, flavour="lemon"), a_bake(2, flavour="rose")],
            [0, 1, 0],
        ),
        ([a_bake(flavour="rose"), a_bake(1)], [0, 0]),  # only one flavour was logged that day
        ([a_bake(batch="a"), a_bake(1, batch="b"), a_bake(26, batch="b")], [0, 1, 1]),
        ([a_bake(batch="a"), a_bake(1)], [0, 0]),
        ([a_bake(batch="a"), a_bake(24 * 7, batch="a")], [0, 1]),  # an old name, a new batter
        ([a_bake(30), a_bake(1)], [1, 0]),  # numbered by time
    ],
)
def test_units(bakes, units):
    assert units_of(bakes).tolist() == units


def test_sums_and_means_by_unit():
    units = np.array([1, 0, 1, 2])
    values = np.array([1.0, 5.0, 3.0, np.nan])
    assert by_unit(units, np.nan_to_num(values)).tolist() == [5, 4, 0]
    means = means_by_unit(units, values)
    assert means[:2].tolist() == [5, 2]
    assert np.isnan(means[2])


def test_photos_of_one_day_show_nothing():
    """Eight trays of one day, glaring: it suggests, and the number of days is said."""
    found = map_oven(make_days(Days(1, 8, oven=6.0), np.random.default_rng(3)), "diameter",
                     np.random.default_rng(4))  # fmt: skip
    assert (found.bakes, found.units) == (8, 1)
    assert found.strength != "shows"


def test_trays_of_one_day_share_their_chances():
    """4 days of 3 trays, half of the spread common to a day's trays: 46 % false alarms when trays
    count as independent. 12 histories; 4 or more have a chance of 0.2 % if it is 5 %."""
    rng = np.random.default_rng(5)
    plan = Days(4, 3, shared=0.5)
    hits = sum(
        map_oven(make_days(plan, rng), "diameter", rng).strength != "nothing found"
        for _ in range(12)
    )
    assert hits <= 3


def test_intervals_count_units_not_trays():
    """The same tray logged three times a day is no surer than once."""
    once = make_days(Days(8, oven=1.0), np.random.default_rng(6))
    thrice = tuple(
        replace(b, facts=replace(b.facts, baked_at=b.facts.baked_at + timedelta(minutes=k)))
        for b in once
        for k in range(3)
    )
    one, three = (
        next(
            f.effect
            for f in map_oven(bakes, "diameter", np.random.default_rng(7)).findings
            if f.kind == "across"
        )
        for bakes in (once, thrice)
    )
    assert three.value == pytest.approx(one.value, rel=1e-6)
    assert three.u95 == pytest.approx(one.u95, rel=1e-6)


def test_autocorrelation_of_many_series_is_found_and_none_is_not():
    rng = np.random.default_rng(8)
    white = [pooled_autocorrelation(rng.normal(size=(20, 8))) for _ in range(200)]
    assert np.mean(np.array(white) == 0) > 0.75  # beyond one standard error: 16 %
    like = rng.normal(size=(20, 8))
    for n in range(1, 20):
        like[n] = 0.7 * like[n - 1] + np.sqrt(1 - 0.49) * like[n]
    assert 0.4 < pooled_autocorrelation(like) <= 1
    assert pooled_autocorrelation(rng.normal(size=(4, 8))) == 0
    assert inflation(0.0, 20) == 1


def test_inflation_by_drawing():
    """Sums of series whose correlations are 0.5, 0.5 x 0.75, ...: against the covariance."""
    units, rho = 12, 0.5
    lag = np.abs(np.subtract.outer(np.arange(units), np.arange(units)))
    matrix = np.where(lag == 0, 1.0, rho * FADING ** (lag - 1.0))
    whole = matrix.mean() * units
    about_mean = (np.trace(matrix) - matrix.sum() / units) / (units - 1)
    assert inflation(rho, units) == pytest.approx(whole / about_mean)
