"""Cohen's kappa and its interval against a published worked example."""

import numpy as np
import pytest

from petitpied.statistics.agreement import agreement, kappa_of


def test_kappa_its_standard_error_and_interval_of_a_published_table():
    # D. G. Bonett, R package statpsych, example of ci.kappa(.05, 31, 12, 4, 58), Cohen's kappa:
    # estimate 0.6756757, SE 0.07344761, limits 0.5317210 and 0.8196303
    tool = [False] * 31 + [False] * 12 + [True] * 4 + [True] * 58
    baker = [False] * 31 + [True] * 12 + [False] * 4 + [True] * 58
    found = agreement(tool, baker)
    assert (found.neither, found.only_baker, found.only_tool, found.both) == (31, 12, 4, 58)
    assert found.kappa == pytest.approx(0.6756757, abs=5e-8)
    assert found.u == pytest.approx(0.07344761, abs=5e-9)
    assert found.low95 == pytest.approx(0.5317210, abs=5e-8)
    assert found.high95 == pytest.approx(0.8196303, abs=5e-8)


def test_the_standard_error_is_that_of_resampled_shells():
    """An independent way to the same figure: the spread of kappa over multinomial redraws."""
    table = np.array([[60.0, 8.0], [5.0, 27.0]])
    _, u = kappa_of(table)
    rng = np.random.default_rng(20)
    draws = rng.multinomial(100, table.ravel() / 100, 4000).reshape(-1, 2, 2)
    spread = np.std([kappa_of(d.astype(float))[0] for d in draws])
    # 4000 draws give the spread to 1.1 %; a large-sample formula at 100 shells is off by a few
    assert u == pytest.approx(spread, rel=0.06)
