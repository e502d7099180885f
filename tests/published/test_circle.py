"""Least-squares circles with known answers.

Points: W. Gander, G. H. Golub & R. Strebel, Least-squares fitting of circles and ellipses,
BIT 34 (1994) 558-578, six points; status: points confirmed in a stored copy. Circles: recomputed
with numpy and scipy, and agreeing with the paper's four decimals as remembered.
"""

import numpy as np
import pytest

from petitpied.sizing.outline import least_squares_circle, measure_outline

POINTS = np.array([[1, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7]], float)
#: the geometric circle, and two algebraic ones that a mixed-up method would return
GEOMETRIC = (4.7398, 2.9835, 4.7142)
KASA_LINEAR = (4.742331288343554, 3.8351226993865084, 4.108761522345439)
ALGEBRAIC = (5.3794, 7.2532, 3.0370)


def test_six_points_of_gander_golub_and_strebel():
    found = least_squares_circle(POINTS)
    # half of the paper's last decimal
    assert (*found.centre_mm, found.radius_mm) == pytest.approx(GEOMETRIC, abs=5e-5)
    residual = np.hypot(*(POINTS - found.centre_mm).T) - found.radius_mm
    assert np.linalg.norm(residual) == pytest.approx(1.1079707027641381, abs=1e-12)


@pytest.mark.parametrize("other", [KASA_LINEAR, ALGEBRAIC])
def test_the_algebraic_circles_are_others(other):
    found = least_squares_circle(POINTS)
    assert abs(found.radius_mm - other[2]) > 0.5


# Twelve radii every 30 degrees about (2, -1): an own example, least-squares circle recomputed
# with scipy to the digits given.
def test_twelve_points():
    radii = [30.0, 30.12, 29.95, 30.2, 29.88, 30.05, 29.97, 30.16, 29.9, 30.03, 30.1, 29.92]
    t = np.deg2rad(np.arange(12) * 30)
    points = [2.0, -1.0] + np.array(radii)[:, None] * np.column_stack([np.cos(t), np.sin(t)])
    found = least_squares_circle(points)
    # 1e-6: a general optimiser stops about there
    assert found.centre_mm == pytest.approx((2.002967127950262, -0.9887011142287597), abs=1e-6)
    assert found.radius_mm == pytest.approx(30.02333447007665, abs=1e-8)
    deviation = np.hypot(*(points - found.centre_mm).T) - found.radius_mm
    assert np.ptp(deviation) == pytest.approx(0.3170016874638719, abs=1e-6)


# Corners and side middles of a square, by elementary geometry.
def test_square():
    found = least_squares_circle(
        np.array([[1, 1], [-1, 1], [-1, -1], [1, -1], [1, 0], [0, 1], [-1, 0], [0, -1]], float)
    )
    assert found.centre_mm == pytest.approx((0, 0), abs=1e-12)
    assert found.radius_mm == pytest.approx((1 + np.sqrt(2)) / 2, abs=1e-12)


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
