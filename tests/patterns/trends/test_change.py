"""Before and after against scipy's Welch test, and by drawing."""

import numpy as np
import pytest
from scipy import stats

from petitpied.patterns.trends.change import change


def test_same_as_welch():
    rng = np.random.default_rng(11)
    before, after = rng.normal(42, 0.4, 9), rng.normal(42.5, 0.9, 6)
    found = change(before, after)
    reference = stats.ttest_ind(after, before, equal_var=False)
    interval = reference.confidence_interval(0.95)
    assert found.p == pytest.approx(reference.pvalue, rel=1e-9)  # the same formula
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high), rel=1e-9)


def test_gaps_are_left_out_and_too_few_say_nothing():
    assert change(np.array([np.nan, 1.0]), np.array([2.0])) is None
    assert change(np.array([]), np.array([1.0, 2.0])) is None
    assert change(np.array([np.nan, 1.0, 2.0]), np.array([2.0, 3.0])).bakes_before == 2


def test_all_the_same_is_no_change():
    found = change(np.full(4, 42.0), np.full(3, 42.0))
    assert (found.difference, found.low, found.high, found.p) == (0, 0, 0, 1)
    assert not found.shows


@pytest.mark.parametrize("counts", [(6, 6), (12, 5), (6, 1)])
def test_interval_holds_the_truth_and_power_is_as_stated(counts):
    rng = np.random.default_rng(12)
    n, runs = sum(counts), 2000
    held = found_it = 0
    smallest = []
    for _ in range(runs):
        x = rng.normal(0, 1, n)
        null = change(x[: counts[0]], x[counts[0] :])
        held += null.low <= 0 <= null.high
        smallest.append(null.smallest_80)
    # 2,000 runs know a share of 95 % to 0.5 % (1 s.e.); three of them, and Welch's own error
    assert held / runs == pytest.approx(0.95, abs=0.015)
    effect = np.sqrt(np.mean(np.square(smallest)))  # variances are estimated without bias
    for _ in range(runs):
        x = rng.normal(0, 1, n)
        found_it += change(x[: counts[0]], x[counts[0] :] + effect).shows
    # the effect itself is estimated from few bakes, so its power scatters about the 80 %
    assert found_it / runs == pytest.approx(0.8, abs=0.08)
