"""Roundness about the least-squares circle, for outlines whose circle is known."""

import numpy as np
import pytest
from scipy.integrate import quad

from petitpied.sizing.outline import UNDULATIONS, measure_outline


# A square of side 2: its least-squares circle is about its middle by symmetry, and its radius
# over angle, 1 / cos, has only orders 4, 8, 12, ...: the Fourier integrals give what 15
# undulations leave of it. 1e-3: 360 radii of a curve with corners.
def test_a_squares_roundness_by_its_fourier_series():
    side = np.linspace(-1, 1, 200, endpoint=False)
    one = np.column_stack([np.ones(200), side])
    quarter = np.array([[0, 1], [-1, 0]])
    turns = [np.linalg.matrix_power(quarter, k) for k in range(4)]
    size = measure_outline(np.concatenate([one @ turn for turn in turns]))
    t = np.linspace(0, 2 * np.pi, 7200)
    deviation = sum(
        8 / np.pi * quad(lambda a, n=n: np.cos(n * a) / np.cos(a), 0, np.pi / 4)[0] * np.cos(n * t)
        for n in range(4, UNDULATIONS + 1, 4)
    )
    assert size.centroid_mm == pytest.approx((0, 0), abs=1e-9)
    assert size.roundness_mm == pytest.approx(np.ptp(deviation), abs=1e-3)


# ISO 12181-1 (least-squares reference circle): three lobes have the same width everywhere, so
# that calipers see nothing, and yet are out of round by 2e. Elementary geometry; to first order
# of e/R = 0.005, whose square times R is 5e-4.
def test_three_lobes_fool_calipers_but_not_roundness():
    t = np.arange(720) * (2 * np.pi / 720)
    r = 20 + 0.1 * np.cos(3 * t)
    size = measure_outline(r[:, None] * np.column_stack([np.cos(t), np.sin(t)]))
    assert size.roundness_mm == pytest.approx(0.2, abs=5e-4)
    # widths vary in second order only: (k e)^2 / R at most
    assert size.feret_max_mm - size.feret_min_mm < 5e-3
