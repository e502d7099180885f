"""Uncertainty: own and shared parts, and the 95 % factor."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from petitpied.domain.quantity import COVERAGE_95, Quantity

PARTS = st.floats(0, 1e3)


def test_coverage_factor_is_the_normal_distributions():
    # 1.96: three printed digits of the two-sided 95 % point
    assert pytest.approx(norm.ppf(0.975), abs=5e-3) == COVERAGE_95


def test_three_four_five():
    size = Quantity(46.8, 0.3, 0.4)
    assert size.u == pytest.approx(0.5)
    assert size.u95 == pytest.approx(0.98)


@settings(deadline=None, derandomize=True)
@given(own=PARTS, shared=PARTS)
def test_parts_add_in_quadrature(own, shared):
    u = Quantity(1.0, own, shared).u
    assert u == pytest.approx(np.sqrt(own**2 + shared**2), rel=1e-12, abs=1e-150)
    assert max(own, shared) * (1 - 1e-12) <= u <= (own + shared) * (1 + 1e-12)
    assert Quantity(1.0, shared, own).u == u


def test_expanded_uncertainty_covers_95_percent_of_draws():
    rng = np.random.default_rng(11)
    size = Quantity(42.0, 0.05, 0.12)
    drawn = 42 + 0.05 * rng.normal(size=200_000) + 0.12 * rng.normal(size=200_000)
    inside = np.mean(np.abs(drawn - size.value) <= size.u95)
    # a share of 200 000 draws is good to sqrt(0.95 * 0.05 / 200 000) = 5e-4; four times that
    assert inside == pytest.approx(0.95, abs=2e-3)


def test_a_quantity_cannot_be_changed():
    with pytest.raises(AttributeError):
        Quantity(1.0, 0.1).value = 2.0
