"""Analysis of variance against NIST's certified sets and AIAG's published study."""

import numpy as np
import pytest

from petitpied.statistics.anova import crossed, one_way
from tests.statistics.published_study import AIAG

# NIST StRD, www.itl.nist.gov/div898/strd, one-way analysis of variance, certified values
SIRSTV = [
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
]


def made_set(offset, count):
    """SmLs01 to 09 by their rule: nine treatments, then 0.1 less and 0.1 more in turn."""
    first = offset + np.array([0.4, 0.3, 0.5, 0.3, 0.5, 0.3, 0.5, 0.3, 0.5])
    swing = np.where(np.arange(count - 1) % 2, 0.1, -0.1)
    return [np.concatenate([[f], f + swing]) for f in first]


def test_sirstv():
    found = one_way([np.array(g) for g in SIRSTV])
    assert (found.between.dof, found.within.dof) == (4, 20)
    # nine digits certified for sums of squares of data with seven digits
    assert found.between.sum_of_squares == pytest.approx(5.11462616e-2, rel=1e-8)
    assert found.within.sum_of_squares == pytest.approx(2.16636560e-1, rel=1e-8)
    assert found.f == pytest.approx(1.18046237440255, rel=1e-8)
    assert found.p == pytest.approx(0.349447494, rel=1e-7)  # recomputed with scipy's F


@pytest.mark.parametrize(
    ("offset", "count", "f", "rel"),
    [
        (1, 21, 21.0, 1e-12),
        (1, 2001, 2001.0, 1e-12),
        (1e6, 201, 201.0, 1e-8),
        # 1e12 leaves three to four digits of the data themselves in double precision
        (1e12, 21, 21.0, 2e-2),
        (1e12, 2001, 2001.0, 2e-2),
    ],
)
def test_sets_far_from_zero(offset, count, f, rel):
    found = one_way(made_set(offset, count))
    assert (found.between.dof, found.within.dof) == (8, 9 * (count - 1))
    assert found.f == pytest.approx(f, rel=rel)


def test_too_little_is_refused():
    with pytest.raises(ValueError, match="two groups"):
        one_way([np.array([1.0]), np.array([2.0])])


def test_aiag_strata():
    # AIAG, Measurement Systems Analysis, 4th ed.; sums of squares as printed by McNeese (2015)
    found = {s.source: s for s in crossed(AIAG)}
    assert found["shell"].sum_of_squares == pytest.approx(88.3619, abs=5e-5)
    assert found["person"].sum_of_squares == pytest.approx(3.1673, abs=5e-5)
    assert found["interaction"].sum_of_squares == pytest.approx(0.3590, abs=5e-5)
    equipment = found["photo"].sum_of_squares + found["rest"].sum_of_squares
    assert equipment == pytest.approx(2.7589, abs=5e-5)
    assert found["photo"].dof + found["rest"].dof == 60
    assert [found[n].dof for n in ("shell", "person", "interaction")] == [9, 2, 18]
