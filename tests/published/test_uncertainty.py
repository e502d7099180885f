"""Combining uncertainty, against JCGM 100:2008, annex H.1 (calibration of an end gauge)."""

import numpy as np
import pytest
from scipy.stats import t as student

from petitpied.domain.quantity import COVERAGE_95, coverage_factor_95
from petitpied.domain.uncertainty import effective_dof

# JCGM 100:2008, table H.1: contributions to the length, nm, with their degrees of freedom
LENGTH_NM = {
    "standard": (25.0, 18),
    "difference": (9.7, 25.6),
    "expansion": (2.9, 50),
    "temperature": (16.6, 2),
}
# the same, H.1.3.2: of the difference: repetition, random and systematic of the comparator
DIFFERENCE_NM = ((5.8, 24), (3.9, 5), (6.7, 8))


def test_end_gauge():
    u, dof = zip(*LENGTH_NM.values(), strict=True)
    combined = float(np.linalg.norm(u))
    assert combined == pytest.approx(32, abs=0.5)  # printed 32 nm, from 1002 nm^2
    nu = effective_dof(np.square(u).tolist(), dof)
    assert int(nu) == 16  # printed 16.7, truncated to 16
    # printed: t_99(16) = 2.92, expanded 93 nm
    assert student.ppf(0.995, int(nu)) == pytest.approx(2.92, abs=5e-3)
    assert student.ppf(0.995, int(nu)) * combined == pytest.approx(93, abs=1)


def test_its_comparator():
    u, dof = zip(*DIFFERENCE_NM, strict=True)
    assert np.linalg.norm(u) == pytest.approx(9.7, abs=0.05)
    nu = effective_dof(np.square(u).tolist(), dof)
    assert nu == pytest.approx(25.6, abs=0.3)  # printed, from rounded 9.7


@pytest.mark.parametrize(
    # JCGM 100:2008, table G.2, column of 95 %
    ("dof", "factor"),
    [(1, 12.71), (2, 4.30), (5, 2.57), (10, 2.23), (20, 2.09), (50, 2.01), (100, 1.984)],
)
def test_coverage_factor(dof, factor):
    assert coverage_factor_95(dof) == pytest.approx(factor, abs=6e-3)


@pytest.mark.parametrize("dof", [9.99, 10.0, 12.5, 16.0, 40.0, 999.0])
def test_coverage_factor_of_any_degrees_of_freedom(dof):
    # SciPy's quantile; the record keeps four digits
    assert coverage_factor_95(dof) == pytest.approx(student.ppf(0.975, dof), abs=1e-5)


def test_many_degrees_of_freedom_are_the_normal_factor():
    assert coverage_factor_95(float("inf")) == COVERAGE_95
    assert coverage_factor_95(999.0) == pytest.approx(COVERAGE_95, abs=3e-3)


def test_exact_inputs_do_not_limit():
    # (u1^2)^2 / (u1^4 / 4): an input of endless degrees of freedom and no size drops out
    assert effective_dof([1.0, 0.0], [4, float("inf")]) == pytest.approx(4)
    # alike parts: 2 u^2 squared over 2 u^4 / nu
    assert effective_dof([1.0, 1.0], [4, 4]) == pytest.approx(8)
