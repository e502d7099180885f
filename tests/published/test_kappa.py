"""Cohen's kappa and its interval against a published worked example."""

import numpy as np
import pytest

from petitpied.statistics.agreement import agreement, kappa_interval, kappa_of


def test_kappa_its_standard_error_and_interval_of_a_published_table():
    # D. G. Bonett, R package statpsych, example of ci.kappa(.05, 31, 12, 4, 58), Cohen's kappa:
    # estimate 0.6756757, SE 0.07344761, limits 0.5317210 and 0.8196303
    tool = [False] * 31 + [False] * 12 + [True] * 4 + [True] * 58
    baker = [False] * 31 + [True] * 12 + [False] * 4 + [True] * 58
    found = agreement(tool, baker)
    assert (found.neither, found.only_baker, found.only_tool, found.both) == (31, 12, 4, 58)
    assert found.kappa == pytest.approx(0.6756757, abs=5e-8)
    assert found.u == pytest.approx(0.07344761, abs=5e-9)
    assert found.kappa - 1.959964 * found.u == pytest.approx(0.5317210, abs=5e-7)
    assert found.kappa + 1.959964 * found.u == pytest.approx(0.8196303, abs=5e-7)
    # our interval is another, for few shells: of 105 it differs by a quarter of a standard error
    assert (found.low95, found.high95) == pytest.approx((0.5317, 0.8196), abs=0.02)


def test_the_standard_error_is_that_of_resampled_shells():
    """An independent way to the same figure: the spread of kappa over multinomial redraws."""
    table = np.array([[60.0, 8.0], [5.0, 27.0]])
    _, u = kappa_of(table)
    rng = np.random.default_rng(20)
    draws = rng.multinomial(100, table.ravel() / 100, 4000).reshape(-1, 2, 2)
    spread = np.std([kappa_of(d.astype(float))[0] for d in draws])
    # 4000 draws give the spread to 1.1 %; a large-sample formula at 100 shells is off by a few
    assert u == pytest.approx(spread, rel=0.06)


@pytest.mark.parametrize(("rare", "kappa"), [(0.1, 0.7), (0.03, 0.9), (0.3, 0.4)])
def test_the_interval_holds_with_a_tray_of_shells_and_rare_faults(rare, kappa):
    """31 shells, the two judges alike in how often they say yes."""
    chance = rare**2 + (1 - rare) ** 2
    off = (1 - (kappa * (1 - chance) + chance)) / 2
    rng = np.random.default_rng(22)
    drawn = rng.multinomial(31, [rare - off, off, off, 1 - rare - off], 400)
    tables, times = np.unique(drawn, axis=0, return_counts=True)
    held = 0
    for table, count in zip(tables, times, strict=True):
        low, high = kappa_interval(tuple(table.tolist()))
        held += count * (low <= kappa <= high)
    # 95 % wanted; few tables are likely where faults are rare, so that the share jumps; 400 draws
    # know it to 1.1 % (1 s.e.)
    assert held / 400 >= 0.90


def test_one_fault_agreed_on_is_not_sure():
    found = agreement([True] + [False] * 30, [True] + [False] * 30)
    assert found.kappa == 1
    assert found.low95 < 0.3
