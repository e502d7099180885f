"""Minimum-weight matching of a lot: as many pairs as can be, at the least total cost.

Edmonds' blossom algorithm (rustworkx) on the closest partners of each shell, with a bound on
what any other pair could have saved. Up to `PRICED` shells closeness is counted in reduced costs:
prices from an assignment of the shells to each other (the dual of the fractional matching; Lovasz &
Plummer, Matching Theory, 1986, chapter 7) even out that many shells want the same few partners.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import rustworkx
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

#: up to so many shells all pairs are offered: at once exact, well below a second
COMPLETE = 120
#: up to so many shells all costs are held at once (72 MB), and partners chosen by reduced costs
PRICED = 3000
#: partners offered to each shell of a larger lot at first, doubled from round to round; those
#: that stayed without one are offered so many times as many
FIRST_PARTNERS, MORE_PARTNERS, MOST_ROUNDS = 16, 16, 6
#: a lot above `LARGE` has no more rounds once the gap to the bound is this small
LARGE, GOOD_GAP_REL = 1200, 0.005
#: shells around those without partner that are paired anew together with them: so many, or that
#: part of the lot, whichever is more, but never more than half
AROUND, AROUND_REL = 600, 0.25
#: the blossom algorithm is exact for whole numbers: costs are rounded to this part of the largest
RESOLUTION = 2.0**40
#: added to what a pair is worth, so that pairs worth nothing are made all the same; the bound
#: allows for it
TINY = 1e-7


class Costs(Protocol):
    """What matching asks of a lot: costs of pairs, none negative, symmetric."""

    def __len__(self) -> int: ...

    def rows(self, these: Indices, others: Indices) -> Floats:
        """Costs (M, K) of ``these`` (M,) with ``others`` (K,); infinite where forbidden."""
        ...

    def pairs(self, a: Indices, b: Indices) -> tuple[Floats, Floats]:
        """Costs (P,) of pairs a (P,), b (P,); and something else of each."""
        ...

    def matrix(self) -> Floats:
        """All costs (N, N); infinite on the diagonal."""
        ...

    def nearest(self, count: int) -> tuple[Indices, Floats]:
        """The ``count`` closest partners of each (N, count), and their costs."""
        ...

    def alone(self) -> Floats:
        """What it costs to leave each of an odd number over (N,)."""
        ...


@dataclass(frozen=True)
class CostMatrix:
    """Costs (N, N) given one by one; infinite: forbidden."""

    costs: Floats

    def __len__(self) -> int:
        return len(self.costs)

    def rows(self, these: Indices, others: Indices) -> Floats:
        return self.costs[np.ix_(these, others)]

    def pairs(self, a: Indices, b: Indices) -> tuple[Floats, Floats]:
        return self.costs[a, b], np.zeros(len(a))

    def matrix(self) -> Floats:
        return self.costs

    def nearest(self, count: int) -> tuple[Indices, Floats]:
        partners = np.argpartition(self.costs, count - 1, axis=1)[:, :count]
        return partners, np.take_along_axis(self.costs, partners, axis=1)

    def alone(self) -> Floats:
        return np.zeros(len(self.costs))


@dataclass(frozen=True)
class Matching:
    """``pairs`` (P, 2) of indices, the smaller first; nobody could do it for less than
    ``lower_bound`` in total."""

    pairs: Indices
    total_cost: float
    lower_bound: float


@dataclass(frozen=True)
class _Offers:
    """Pairs offered to the blossom algorithm, and from what cost on pairs may be missing.

    A pair that is not offered costs at least ``reach`` of either shell (infinite: all pairs of
    this shell are offered).
    """

    a: Indices
    b: Indices
    cost: Floats
    reach: Floats


def match(costs: Costs) -> Matching:
    """Pair a lot; of an odd number the one is left over without which the rest costs least.

    With forbidden pairs (infinite costs; lots up to `COMPLETE` only) as many pairs as can be.
    """
    if len(costs) < 2:
        return Matching(np.zeros((0, 2), np.int64), 0.0, 0.0)
    if len(costs) <= COMPLETE:
        return _match_complete(costs.matrix(), costs.alone())
    return _match_priced(costs) if len(costs) <= PRICED else _match_offers(costs)


def _match_complete(matrix: Floats, alone: Floats) -> Matching:
    count = len(matrix)
    a, b = np.triu_indices(count, 1)
    cost = matrix[a, b]
    if count % 2 and alone.any():  # a dummy stands for being left over
        a, b = np.append(a, np.arange(count)), np.append(b, np.full(count, count))
        cost = np.append(cost, alone)
    allowed = np.isfinite(cost)
    a, b, cost = a[allowed], b[allowed], cost[allowed]
    if not len(cost):
        return Matching(np.zeros((0, 2), np.int64), 0.0, 0.0)
    # more than all pairs together: so that one more pair is always better
    weight = cost.max() * count + 1.0 - cost
    pairs = _heaviest(count + 1, a, b, weight, complete=True)
    pairs = pairs[pairs[:, 1] < count]
    total = float(matrix[pairs[:, 0], pairs[:, 1]].sum())
    return Matching(pairs, total, total)


def _match_priced(costs: Costs) -> Matching:
    """Reduced costs change the cost of every perfect matching by the same sum of prices."""
    count = len(costs)
    matrix = costs.matrix()
    if count % 2:  # a dummy stands for being left over
        alone = costs.alone()
        matrix = np.block([[matrix, alone[:, None]], [alone[None], np.full((1, 1), np.inf)]])
    price = _prices(matrix)
    reduced = np.maximum(matrix - price[:, None] - price[None], 0.0)
    found = _match_offers(CostMatrix(reduced))
    pairs = found.pairs[found.pairs[:, 1] < count]
    # the cost of a dummy is in the bound, if it has any: then all pairings have it
    total = float(costs.pairs(*pairs.T)[0].sum())
    exact = found.total_cost <= found.lower_bound
    bound = total if exact else min(total, float(price.sum()) + found.lower_bound)
    return Matching(pairs, total, bound)


def _prices(matrix: Floats) -> Floats:
    """A price (N,) for every shell: no pair costs less than both its prices, and their sum is the
    least cost of a fractional matching, below which no matching can be.

    An assignment of all to all, and prices from the shortest ways in what it leaves (Bellman &
    Ford).
    """
    rows, mate = linear_sum_assignment(matrix)
    over = matrix - matrix[rows, mate][:, None]  # (N, N) more than the own mate costs
    column = np.zeros(len(matrix))
    for _ in range(len(matrix)):
        better = np.minimum(column, (over + column[mate][:, None]).min(axis=0))
        if np.allclose(better, column, rtol=0, atol=1e-12):
            break
        column = better
    row = matrix[rows, mate] - column[mate]
    price = (row + column) / 2
    # rounding: nowhere above a pair's cost
    return np.asarray(price - max(0.0, -float((matrix - price[:, None] - price).min())) / 2)


def _heaviest(count: int, a: Indices, b: Indices, weight: Floats, *, complete: bool) -> Indices:
    """Pairs (P, 2) of the heaviest matching, of those with most pairs where ``complete``."""
    whole = np.round(weight * (RESOLUTION / max(float(weight.max(initial=0.0)), 1e-300)))
    graph = rustworkx.PyGraph(multigraph=False)
    graph.add_nodes_from(range(count))
    graph.add_edges_from(list(zip(a.tolist(), b.tolist(), whole.astype(int).tolist(), strict=True)))
    found = rustworkx.max_weight_matching(graph, max_cardinality=complete, weight_fn=int)
    return np.array(sorted(tuple(sorted(pair)) for pair in found), np.int64).reshape(-1, 2)


def _match_offers(costs: Costs) -> Matching:
    """Offer each shell its closest partners; while some stay without one, offer more."""
    count = len(costs)
    best = Matching(np.zeros((0, 2), np.int64), np.inf, 0.0)
    ever_alone = np.zeros(0, np.int64)
    for step in range(MOST_ROUNDS):
        offers = _offers(costs, min(FIRST_PARTNERS * 2**step, count - 1), ever_alone)
        pairs, bound = _relaxed(offers)
        alone = np.setdiff1d(np.arange(len(offers.reach)), pairs.ravel())
        found = _completed(costs, pairs[pairs[:, 1] < count], alone[alone < count])
        bound = max(bound if len(alone) else found.total_cost, best.lower_bound)
        best = min(found, best, key=lambda matching: matching.total_cost)
        best = Matching(best.pairs, best.total_cost, min(bound, best.total_cost))
        good = count > LARGE and best.total_cost * (1 - GOOD_GAP_REL) <= best.lower_bound
        if len(alone) == 0 or good:
            break
        ever_alone = np.union1d(ever_alone, alone[alone < count])
    return best


def _offers(costs: Costs, partners: int, special: Indices) -> _Offers:
    """The closest partners of every shell, more of them for the ``special`` ones; of an odd
    number, a dummy that every shell may take (index N) stands for being left over."""
    count = len(costs)
    closest, cost = costs.nearest(partners)
    reach = np.full(count, np.inf) if partners == count - 1 else cost.max(axis=1)
    a, b, cost = np.repeat(np.arange(count), partners), closest.ravel(), cost.ravel()
    if len(special):
        more = min(partners * MORE_PARTNERS, count - 1)
        rows = costs.rows(special, np.arange(count))
        rows[np.arange(len(special)), special] = np.inf
        keep = np.argpartition(rows, more - 1, axis=1)[:, :more]
        special_cost = np.take_along_axis(rows, keep, axis=1)
        reach[special] = np.inf if more == count - 1 else special_cost.max(axis=1)
        a, b = np.append(a, np.repeat(special, more)), np.append(b, keep.ravel())
        cost = np.append(cost, special_cost.ravel())
    if count % 2:
        a, b = np.append(a, np.arange(count)), np.append(b, np.full(count, count))
        cost, reach = np.append(cost, costs.alone()), np.append(reach, np.inf)
    first, second = np.minimum(a, b), np.maximum(a, b)
    _, keep = np.unique(first * len(reach) + second, return_index=True)
    return _Offers(first[keep], second[keep], cost[keep], reach)


def _relaxed(offers: _Offers) -> tuple[Indices, float]:
    """Pairs (P, 2) of the relaxed task, and its cost: no matching of the lot costs less.

    Relaxed: a shell may stay without partner for half its reach. A pair that was not offered
    costs at least the reach of either shell, so at least half of both: every matching of the
    lot is one of the relaxed task, at no more than its own cost. If nobody stays alone, the
    pairs are the lot's optimum.
    """
    finite = np.isfinite(offers.reach)
    most = 10 * float(max(offers.cost.max(), offers.reach[finite].max(initial=0.0)))
    # whose pairs are all offered may stay alone at any price: a high one keeps it from that
    reach = np.where(finite, offers.reach, most)
    worth = (reach[offers.a] + reach[offers.b]) / 2 - offers.cost + TINY
    gains = worth > 0
    a, b, worth = offers.a[gains], offers.b[gains], worth[gains]
    pairs = _heaviest(len(reach), a, b, worth, complete=False)
    value = {(i, j): w for i, j, w in zip(a.tolist(), b.tolist(), worth.tolist(), strict=True)}
    gained = sum(value[i, j] for i, j in pairs.tolist())
    return pairs, float(reach.sum() / 2 - gained)


def _completed(costs: Costs, pairs: Indices, alone: Indices) -> Matching:
    """The pairs, with the ``alone`` paired as well: they and their closest partners, with those
    partners' mates, are paired anew among themselves."""
    if len(alone):
        again = _around(costs, pairs, alone)
        kept = pairs[~np.isin(pairs, again).any(axis=1)]
        within = np.searchsorted(again, pairs[np.isin(pairs, again).any(axis=1)])
        rest = np.setdiff1d(np.arange(len(again)), within.ravel())
        makeshift = rest[: len(rest) // 2 * 2].reshape(-1, 2)  # so that all can be paired
        sure = np.vstack([within, makeshift])
        pairs = np.vstack([kept, again[_anew(costs.rows(again, again), sure)]])
    pairs = np.sort(pairs, axis=1)
    pairs = pairs[np.argsort(pairs[:, 0])]
    return Matching(pairs, float(costs.pairs(*pairs.T)[0].sum()), 0.0)


def _around(costs: Costs, pairs: Indices, alone: Indices) -> Indices:
    """The ``alone``, as many of their closest partners as `AROUND` allows, and the mates of
    these; of an odd lot also the one left over, which stands in no pair."""
    count = len(costs)
    most = min(max(AROUND, int(AROUND_REL * count)), count // 2)
    each = most // (2 * len(alone))
    near = np.argsort(costs.rows(alone, np.arange(count)), axis=1)[:, :each].ravel()
    mate = np.arange(count)
    mate[pairs[:, 0]], mate[pairs[:, 1]] = pairs[:, 1], pairs[:, 0]
    unpaired = np.setdiff1d(np.arange(count), pairs.ravel())
    return np.unique(np.concatenate([near, mate[near], alone, unpaired]))


def _anew(matrix: Floats, sure: Indices) -> Indices:
    """Pairs (P, 2) at the least cost among each one's closest partners and the ``sure`` pairs,
    which leave none out, or one of an odd number."""
    np.fill_diagonal(matrix, np.inf)
    partners = min(FIRST_PARTNERS, len(matrix) - 1)
    closest = np.argsort(matrix, axis=1)[:, :partners]
    offered = [np.repeat(np.arange(len(matrix)), partners), closest.ravel()]
    a, b = np.sort(np.hstack([offered, sure.T]), axis=0)
    a, b = np.divmod(np.unique(a * len(matrix) + b), len(matrix))
    cost = matrix[a, b]
    return _heaviest(len(matrix), a, b, cost.max() * len(matrix) + 1.0 - cost, complete=True)
