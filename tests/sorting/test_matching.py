"""Least-cost pairs: against brute force, networkx and published assignments."""

import networkx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from petitpied.sorting import matching
from petitpied.sorting.closeness import Closeness
from petitpied.sorting.matching import CostMatrix, match
from tests.sorting.lots import a_lot, least_total

#: costs are rounded to 2^-40 of the largest: for ten shells below 1e-9 of it
EXACT = 1e-8


def symmetric(costs):
    full = np.array(costs, float)
    full = np.triu(full, 1) + np.triu(full, 1).T
    np.fill_diagonal(full, np.inf)
    return full


def bipartite(costs):
    """Rows against columns as a lot in which a row pairs with columns only."""
    costs = np.array(costs, float)
    rows, columns = costs.shape
    full = np.full((rows + columns,) * 2, np.inf)
    full[:rows, rows:] = costs
    full[rows:, :rows] = costs.T
    return CostMatrix(full)


@given(
    st.integers(2, 9).flatmap(
        lambda n: st.lists(
            st.lists(st.floats(0, 100, allow_subnormal=False), min_size=n, max_size=n),
            min_size=n,
            max_size=n,
        )
    )
)
@settings(max_examples=60, deadline=None)
def test_as_cheap_as_brute_force_for_any_costs(costs):
    full = symmetric(costs)
    found = match(CostMatrix(full))
    assert found.total_cost == pytest.approx(least_total(full), abs=EXACT * 100)
    assert found.lower_bound == found.total_cost
    assert len(found.pairs) == len(full) // 2


@given(st.integers(20, 45), st.integers(0, 2**32 - 1))
@settings(max_examples=15, deadline=None)
def test_offers_with_a_bound_are_as_good_as_all_pairs(count, seed):
    """The way of large lots, on lots small enough for networkx; few offers, many rounds."""
    points = np.random.default_rng(seed).normal(size=(count, 3))
    full = np.linalg.norm(points[:, None] - points[None], axis=2)
    np.fill_diagonal(full, np.inf)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(matching, "COMPLETE", 2)
        patch.setattr(matching, "FIRST_PARTNERS", 3)
        found = match(CostMatrix(full))
    graph = networkx.Graph()
    for i, j in zip(*np.triu_indices(count, 1), strict=True):
        graph.add_edge(int(i), int(j), weight=100 - full[i, j])
    best = networkx.max_weight_matching(graph, maxcardinality=True)
    least = sum(full[i, j] for i, j in best)
    assert found.total_cost == pytest.approx(least, abs=1e-6)
    assert found.lower_bound <= least + 1e-9
    assert found.lower_bound == pytest.approx(least, rel=0.01)


# assignment matrices and minima: scipy's own tests of csgraph matching (three), and a
# Hungarian-algorithm tutorial (four by four); a row pairs with one column
@pytest.mark.parametrize(
    ("costs", "minimum"),
    [
        ([[400, 150, 400], [400, 450, 600], [300, 225, 300]], 850),
        ([[10, 10, 8], [9, 8, 1], [9, 7, 4]], 18),
        ([[10, 10, 8, 11], [9, 8, 1, 1], [9, 7, 4, 10]], 15),
        ([[82, 83, 69, 92], [77, 37, 49, 92], [11, 69, 5, 86], [8, 9, 98, 23]], 140),
    ],
)
def test_published_assignments(costs, minimum):
    found = match(bipartite(costs))
    assert found.total_cost == pytest.approx(minimum, abs=1e-6)
    assert len(found.pairs) == len(costs)


def test_published_assignment_to_be_maximised():
    # Project Euler, problem 345, the example: 3315
    value = [
        [7, 53, 183, 439, 863],
        [497, 383, 563, 79, 973],
        [287, 63, 343, 169, 583],
        [627, 343, 773, 959, 943],
        [767, 473, 103, 699, 303],
    ]
    found = match(bipartite(1000 - np.array(value)))
    assert 5 * 1000 - found.total_cost == pytest.approx(3315, abs=1e-6)


# by brute force, checked with networkx 3.6.1; the first is a trap for who takes the closest first
@pytest.mark.parametrize(
    ("x", "optimum", "pairs"),
    [
        ([0, 3, 4, 10], 9.0, [(0, 1), (2, 3)]),
        (
            [34.2, 35.1, 33.8, 34.9, 36.0, 34.4, 35.6, 33.9],
            0.9,
            [(0, 5), (1, 3), (2, 7), (4, 6)],
        ),
    ],
)
def test_points_on_a_line_pair_with_sorted_neighbours(x, optimum, pairs):
    full = np.abs(np.subtract.outer(x, x)).astype(float)
    np.fill_diagonal(full, np.inf)
    found = match(CostMatrix(full))
    assert found.total_cost == pytest.approx(optimum, abs=1e-9)
    assert [tuple(p) for p in found.pairs] == pairs


def test_nothing_one_and_all_alike():
    assert match(CostMatrix(np.zeros((0, 0)))).total_cost == 0
    assert len(match(CostMatrix(np.full((1, 1), np.inf))).pairs) == 0
    alike = np.zeros((300, 300))
    np.fill_diagonal(alike, np.inf)
    found = match(CostMatrix(alike))
    assert (len(found.pairs), found.total_cost, found.lower_bound) == (150, 0, 0)


def test_forbidden_pairs_are_never_made():
    found = match(CostMatrix(np.full((4, 4), np.inf)))
    assert len(found.pairs) == 0
    full = symmetric(np.ones((4, 4)))
    full[0, 1:], full[1:, 0] = np.inf, np.inf
    assert len(match(CostMatrix(full)).pairs) == 1


@pytest.mark.parametrize("count", [300, 301])
def test_hundreds_are_exact(count):
    closeness = Closeness.of(a_lot(count, seed=5))
    found = match(closeness)
    assert found.lower_bound == pytest.approx(found.total_cost, rel=1e-9)
    assert len(found.pairs) == count // 2
    assert len(np.unique(found.pairs)) == count - count % 2
    again = closeness.pairs(*found.pairs.T)[0].sum()
    assert found.total_cost == pytest.approx(again, rel=1e-12)
