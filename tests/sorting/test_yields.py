"""Yield and capability against published examples and against drawn lots."""

import numpy as np
import pytest
from scipy.stats import binom, norm

from petitpied.domain.quantity import Quantity
from petitpied.sorting.limits import Limit
from petitpied.sorting.yields import capability, share_of_trays, wilson


def exactly(mean, spread, count):
    """Values with just this mean and standard deviation."""
    shape = np.arange(count) - (count - 1) / 2
    return [Quantity(float(v), 0.0) for v in mean + spread * shape / shape.std(ddof=1)]


def test_wilson_inverts_the_handbooks_test():
    # NIST/SEMATECH e-Handbook 7.2.4: 26 of 200 defective against 0.10 gives z = 1.414. Wilson's
    # bound is the share at which the test gives z, so at that z it must be 0.10
    z = 1.414
    level = 2 * 0.92132 - 1  # normal distribution function at 1.414: 0.92132
    assert z == pytest.approx((0.13 - 0.10) / np.sqrt(0.10 * 0.90 / 200), abs=5e-4)
    assert wilson(26, 200, level).low == pytest.approx(0.10, abs=5e-5)


def test_wilson_of_a_worked_case():
    # by the handbook's formula (7.2.4.1), 4 of 20, z = 1.96, with a pocket calculator
    found = wilson(4, 20)
    assert (found.low, found.high) == pytest.approx((0.0807, 0.4160), abs=2e-4)
    assert found.value == 0.2


def test_none_and_all_stay_within_zero_and_one():
    none, every = wilson(0, 12), wilson(12, 12)
    assert (none.low, every.high) == (0.0, 1.0)
    # z^2 / (n + z^2) = 3.8415 / 15.8415
    assert none.high == pytest.approx(0.2425, abs=1e-4)
    assert every.low == pytest.approx(1 - 0.2425, abs=1e-4)
    for count, total in ((1, 0), (3, 2), (-1, 2)):
        with pytest.raises(ValueError, match="count must be"):
            wilson(count, total)


@pytest.mark.parametrize("true", [0.6, 0.9])
def test_wilson_holds_the_truth_about_as_often_as_it_says(true):
    shares = [wilson(k, 36) for k in range(37)]
    holds = np.array([share.low <= true <= share.high for share in shares])
    chance = binom.pmf(np.arange(37), 36, true)
    # the coverage of Wilson's interval swings about 95 % with n and p (Brown, Cai & DasGupta,
    # Stat. Sci. 16 (2001) 101): within 3 % at n = 36
    assert chance[holds].sum() == pytest.approx(0.95, abs=0.03)


def test_capability_of_the_handbooks_example():
    # NIST/SEMATECH e-Handbook 6.1.6: limits 8 and 20, mean 16, s 2: Cp 1, Cpk 0.667
    found = capability(exactly(16, 2, 40), Limit("lean_mm", 8, 20))
    assert (found.cp, found.cpk) == pytest.approx((1.0, 2 / 3))


def test_intervals_of_montgomerys_example():
    # Montgomery, Introduction to Statistical Quality Control, interval of Cp: limits 38 and 62,
    # s 1.75, n 20: Cp 2.29, 1.57 to 3.01; the book goes on from the rounded 2.29 (0.004 of it)
    found = capability(exactly(50, 1.75, 20), Limit("lean_mm", 38, 62))
    assert found.cp == pytest.approx(2.29, abs=0.005)
    assert found.cp_interval == pytest.approx((1.57, 3.01), abs=0.009)


def test_one_sided_limits_have_no_cp():
    found = capability(exactly(1.0, 0.2, 30), Limit("lean_mm", None, 1.6))
    assert found.cp is None
    assert found.cpk == pytest.approx(1.0)


def test_what_all_shells_share_widens_cpk():
    own = exactly(45, 0.5, 36)
    shared = [Quantity(q.value, 0.05, 0.2) for q in own]
    limit = Limit("diameter_mm", 43.5, 46.5, 45.0)
    narrow, wide = capability(own, limit), capability(shared, limit)
    # variance: 1/(9 n) + Cpk^2 / (2 (n - 1)), plus (0.2 / 1.5)^2 for the shared part
    reach = 1.95996 * np.sqrt(1 / 324 + 1 / 70)
    assert narrow.cpk_interval == pytest.approx((1 - reach, 1 + reach), abs=1e-4)
    reach = 1.95996 * np.sqrt(1 / 324 + 1 / 70 + (0.2 / 1.5) ** 2)
    assert wide.cpk_interval == pytest.approx((1 - reach, 1 + reach), abs=1e-4)


def test_too_few_or_all_alike_have_no_capability():
    limit = Limit("diameter_mm", 43.5, 46.5)
    assert capability([], limit) is None
    assert capability([Quantity(45, 0.1)], limit) is None
    assert capability([Quantity(45, 0.1)] * 5, limit) is None
    assert capability(exactly(45, 1, 5), Limit("diameter_mm", None, None)) is None


def test_one_tray_is_wilson_and_alike_trays_are_nearly_so():
    assert share_of_trays([26], [200]) == wilson(26, 200)
    alike, plain = share_of_trays([9] * 40, [36] * 40), wilson(360, 1440)
    # 40 trays: Student's t for 39 is 3 % wider than the normal's
    assert alike.low == pytest.approx(plain.low, abs=0.002)


def test_trays_that_differ_are_the_units_of_intervals():
    """Trays whose means differ, limits at two standard deviations of a shell of the process."""
    rng = np.random.default_rng(8)
    within, between, runs = 0.8, 0.6, 300
    total = np.hypot(within, between)
    limit = Limit("diameter_mm", 45 - 2 * total, 45 + 2 * total)
    share, cpk = 1 - 2 * norm.sf(2), 2 / 3
    held = {4: [0, 0], 8: [0, 0]}
    for trays, count in held.items():
        tray = np.repeat(np.arange(trays), 30)
        for _ in range(runs):
            x = 45 + rng.normal(0, between, trays)[tray] + rng.normal(0, within, 30 * trays)
            good = (x >= limit.low) & (x <= limit.high)
            found = share_of_trays(np.bincount(tray, good).astype(int).tolist(), [30] * trays)
            count[0] += found.low <= share <= found.high
            able = capability([Quantity(v, 0.0) for v in x], limit, tray)
            count[1] += able.cpk_interval[0] <= cpk <= able.cpk_interval[1]
    # 95 % wanted; 300 runs know a share to 1.3 % (1 s.e.), and few trays are few
    assert min(min(count) for count in held.values()) / runs >= 0.90
