"""Before and after: against statsmodels-like least squares by scipy, and by drawing."""

import numpy as np
import pytest
from scipy import stats

from petitpied.patterns.trends.change import change
from petitpied.patterns.trends.trend import autoregression
from petitpied.statistics.step_in_time import CORRELATIONS, estimate, log_likelihood, time_axis


def test_with_no_correlation_it_is_least_squares():
    """The first of the mixture's parts against numpy's fit and Student's t."""
    rng = np.random.default_rng(11)
    y, late = rng.normal(42, 0.4, 14), np.arange(14) >= 8
    design = np.column_stack([np.ones(14), late.astype(float), time_axis(14)])
    found = estimate(y, design, 1)
    beta, rest, *_ = np.linalg.lstsq(design, y)
    error = np.sqrt(rest[0] / 11 * np.linalg.inv(design.T @ design)[1, 1])
    assert CORRELATIONS[0] == 0
    assert found.values[0] == pytest.approx(beta[1], rel=1e-9)
    assert found.errors[0] == pytest.approx(error, rel=1e-9)
    assert found.freedom == 11


def test_likelihood_against_the_dense_normal_density():
    """REML of an autoregression, from its covariance matrix written out (Harville 1974)."""
    rng = np.random.default_rng(12)
    y, design = rng.normal(size=9), np.column_stack([np.ones(9), time_axis(9)])

    def dense(rho):
        gap = np.abs(np.subtract.outer(np.arange(9), np.arange(9)))
        contrasts = stats.ortho_group.rvs(9, random_state=1)  # any basis gives the same
        basis = np.linalg.svd(design.T @ contrasts)[2][2:] @ contrasts.T
        cover = basis @ (rho**gap / (1 - rho**2)) @ basis.T
        z = basis @ y
        square = z @ np.linalg.solve(cover, z)
        return -0.5 * np.linalg.slogdet(cover)[1] - 7 / 2 * np.log(square)

    ours = [log_likelihood(y, design, rho) for rho in (0.0, 0.4, 0.8)]
    theirs = [dense(rho) for rho in (0.0, 0.4, 0.8)]
    assert np.diff(ours) == pytest.approx(np.diff(theirs), rel=1e-6)


def test_gaps_are_left_out_and_too_few_say_nothing():
    after = np.array([False, False, True, True, True])
    assert change(np.array([np.nan, 1.0, 2.0, 3.0, np.nan]), after) is None
    assert change(np.arange(5.0), np.zeros(5, bool)) is None
    assert change(np.array([np.nan, 1.0, 2.0, 5.0, 4.0]), after).units_before == 1


def test_all_the_same_is_no_change():
    found = change(np.full(7, 42.0), np.arange(7) >= 4)
    assert (found.step, found.low, found.high) == pytest.approx((0, 0, 0), abs=1e-9)
    assert not found.shows


@pytest.mark.parametrize(("like", "drift"), [(0.0, 0.0), (0.6, 0.0), (0.0, 3.0)])
def test_intervals_hold_a_step_beside_drift_and_like_days(like, drift):
    rng = np.random.default_rng(13)
    late, runs = np.arange(16) >= 8, 250
    held = 0
    for _ in range(runs):
        y = autoregression(16, like, rng) + drift * time_axis(16) + 1.5 * late
        found = change(y, late)
        held += found.low <= 1.5 <= found.high
    # 95 % wanted; 250 runs know a share to 1.4 % (1 s.e.): three of them
    assert held / runs >= 0.95 - 0.042


def test_a_drift_is_no_step():
    rng = np.random.default_rng(14)
    found = change(3 * time_axis(20) + rng.normal(0, 0.2, 20), np.arange(20) >= 10)
    assert not found.shows
    assert found.drifted == pytest.approx(3 * 20 / 19, abs=0.6)
