"""Control charts against published tables and worked examples.

Sources: chart factors from ISO 7870-2 and the NIST/SEMATECH e-Handbook of Statistical Methods,
6.3.2.1; examples from its sections 6.3.2.2 (individuals), 6.3.2.4 (EWMA) and 6.3.3.2 (p chart);
piston rings from Montgomery, Introduction to Statistical Quality Control (X-bar and S).
"""

import numpy as np
import pytest

from petitpied.patterns.trends.control_charts import (
    D2_OF_TWO,
    D4_OF_TWO,
    EwmaPlan,
    c4,
    ewma,
    individuals,
    mean_and_spread,
    moving_range,
    share,
)
from petitpied.patterns.trends.run_rules import nelson, western_electric

FLOW = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
EWMA_DATA = np.array(
    [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
     49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
)  # fmt: skip
EWMA_PRINTED = [
    50.6, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
]  # fmt: skip
WAFERS = np.array(
    [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22,
     8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6], float
)  # fmt: skip
#: the piston rings' 25 samples of five: millimetres above 74, in thousandths
RINGS = np.array(
    [[30, 2, 19, -8, 8], [-5, -8, 1, 11, 4], [-12, 24, 21, 5, 2], [2, -4, -7, 15, 9],
     [-8, 7, 15, -11, 14], [9, -6, -3, -15, -7], [-5, 6, -6, 0, 5], [-15, 3, -7, 15, -12],
     [8, -5, 9, 5, 4], [-2, 0, -10, 7, -5], [-6, -2, -6, -5, -10], [4, 0, 7, 0, -4],
     [-17, 2, -2, -3, 12], [6, -33, -6, 0, -16], [12, 14, -2, -1, 7], [0, -16, 5, -2, -4],
     [-6, 12, -14, 5, 7], [6, 10, 18, 3, 0], [-16, 2, 3, 5, -3], [0, 10, 13, 20, 3],
     [-12, 1, 9, 5, -4], [4, -1, -10, 6, 9], [10, -11, -10, 9, 14], [15, 8, -7, 0, 10],
     [-18, -16, -5, 17, 13]]
)  # fmt: skip


def everywhere(values):
    return np.ones(len(values), bool)


def test_factors():
    # ISO 7870-2 / e-Handbook 6.3.2.1, printed to 3 or 4 decimals
    assert c4(np.array([2.0, 5.0, 10.0, 25.0])) == pytest.approx(
        [0.7979, 0.9400, 0.9727, 0.9896], abs=5e-5
    )
    assert pytest.approx(1.128, abs=5e-4) == D2_OF_TWO
    assert pytest.approx(3.267, abs=5e-4) == D4_OF_TWO


@pytest.mark.parametrize(
    ("n", "a3", "b3", "b4"),
    [(5, 1.427, 0.0, 2.089), (6, 1.287, 0.030, 1.970), (10, 0.975, 0.284, 1.716),
     (25, 0.606, 0.565, 1.435)],
)  # fmt: skip
def test_limits_of_mean_and_spread_follow_the_printed_factors(n, a3, b3, b4):
    means, sds, counts = np.array([10.0, 12.0]), np.array([1.0, 1.0]), np.array([n, n], float)
    middle, spread = mean_and_spread(means, sds, counts, everywhere(means))
    assert middle.upper - middle.centre == pytest.approx([a3, a3], abs=5e-4)  # s-bar is 1
    assert spread.lower == pytest.approx([b3, b3], abs=5e-4)
    assert spread.upper == pytest.approx([b4, b4], abs=5e-4)


def test_individuals_of_the_flow_rate():
    # e-Handbook 6.3.2.2: limits 55.8041 and 45.8159 with d2 rounded to 1.128 (3e-4 of 5.0)
    chart = individuals(FLOW, everywhere(FLOW))
    assert chart.centre[0] == pytest.approx(50.81, abs=1e-9)
    assert (chart.upper[0], chart.lower[0]) == pytest.approx((55.8041, 45.8159), abs=0.002)
    assert not chart.beyond.any()
    ranges = moving_range(FLOW, everywhere(FLOW))
    assert ranges.centre[0] == pytest.approx(1.8778, abs=5e-5)
    assert ranges.upper[0] == pytest.approx(6.1338, abs=5e-5)


def test_ewma():
    # e-Handbook 6.3.2.4, printed to 2 decimals; limits steady, factor rounded to 0.4201
    chart = ewma(EWMA_DATA, 50.0, 2.0539, EwmaPlan(0.3, 3.0, steady=True))
    assert chart.points == pytest.approx(EWMA_PRINTED, abs=0.0051)
    assert (chart.upper[0], chart.lower[0]) == pytest.approx((52.5884, 47.4115), abs=2e-4)
    assert not chart.beyond.any()


def test_p_chart_of_the_wafers():
    # e-Handbook 6.3.3.2
    chart = share(WAFERS, np.full(30, 50.0), np.ones(30, bool), between=False)
    assert chart.centre[0] == pytest.approx(0.2313, abs=5e-5)
    assert (chart.upper[0], chart.lower[0]) == pytest.approx((0.4102, 0.0524), abs=6e-5)
    assert np.flatnonzero(chart.beyond).tolist() == [14, 22]  # samples 15 and 23


def test_mean_and_spread_of_the_piston_rings():
    rings = 74 + RINGS / 1000
    sds, n = rings.std(axis=1, ddof=1), np.full(25, 5.0)
    middle, spread = mean_and_spread(rings.mean(axis=1), sds, n, np.ones(25, bool))
    assert middle.centre[0] == pytest.approx(74.00118, abs=5e-6)
    # s-bar 0.00924; limits from s: 74.014364 and 73.987988, of the spread 0.019302 (recomputed
    # from the factors A3 and B4 unrounded)
    assert middle.upper[0] == pytest.approx(74.014364, abs=1e-6)
    assert middle.lower[0] == pytest.approx(73.987988, abs=1e-6)
    assert spread.upper[0] == pytest.approx(0.019302, abs=1e-6)
    assert not middle.beyond.any()


@pytest.mark.parametrize(
    ("points", "rule", "at"),
    [
        ([0, 3.1], "Western Electric 1", 1),
        ([0, 3.0], None, None),  # on the limit is not beyond
        ([2.1, 0, 2.1], "Western Electric 2", 2),
        ([2.1, 0, -2.1], None, None),
        ([1.1, 1.1, 0.5, 1.1, 1.1], "Western Electric 3", 4),
        ([0.1] * 8, "Western Electric 4", 7),
        ([0.1] * 4 + [0.0] + [0.1] * 4, None, None),  # a point on the centre is on no side
    ],
)
def test_western_electric(points, rule, at):
    signals = western_electric(np.array(points, float))
    assert [(s.rule, s.index) for s in signals] == ([] if rule is None else [(rule, at)])


@pytest.mark.parametrize(
    ("points", "rule", "at"),
    [
        ([0, -3.1], "Nelson 1", 1),
        ([-0.1, -0.2] * 4 + [-0.1], "Nelson 2", 8),
        ([-0.5, -0.3, -0.1, 0.1, 0.3, 0.5], "Nelson 3", 5),
        ([-0.5, -0.3, -0.1, 0.1, 0.3], None, None),  # five points rise four times
        ([0.5, -0.5] * 7, "Nelson 4", 13),
        ([0.5, -0.5] * 6 + [0.5], None, None),
        ([0, 2.5, 0, 2.5], "Nelson 5", 3),
        ([-1.5, -1.5, 0, -1.5, -1.5], "Nelson 6", 4),
        ([0.9, 0.2, -0.9, -0.1, 0.3] * 3, "Nelson 7", 14),
        ([1.5, -1.5, -1.2, 1.2, 1.8, -1.7, 1.3, -1.4], "Nelson 8", 7),
    ],
)
def test_nelson(points, rule, at):
    signals = nelson(np.array(points, float))
    assert [(s.rule, s.index) for s in signals] == ([] if rule is None else [(rule, at)])


def test_rules_pass_over_gaps():
    points = np.array([0.1] * 4 + [np.nan] * 3 + [0.1] * 4)
    assert [s.index for s in western_electric(points)] == [10]
