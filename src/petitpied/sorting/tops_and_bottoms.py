"""Costs of pairs where a macaron wants a top: two bottoms only where tops run short.

A pair is good if one of its shells at least is a top. Where there are as many tops as bottoms or
more, every bottom can have a top; where there are fewer, every top can have a bottom. So either no
two bottoms need to be paired, or no two tops: such pairs cost so much more that a matching of
least cost has none of them, and therefore has as many good pairs as can be.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.sorting.closeness import Closeness, Floats, Indices


@dataclass(frozen=True)
class TopsAndBottoms:
    """`petitpied.sorting.matching.Costs` of a lot of N shells; ``scarce`` (N,): the grade whose
    shells are not to be paired with each other."""

    closeness: Closeness
    scarce: NDArray[np.bool_]
    extra: float  # mm, of a pair of two scarce ones
    tops_short: bool

    @staticmethod
    def of(closeness: Closeness, is_top: NDArray[np.bool_]) -> "TopsAndBottoms":
        """``is_top`` (N,): which shells are tops."""
        tops_short = bool(2 * is_top.sum() < len(is_top))
        scarce = is_top if tops_short else ~is_top
        # one such pair too many can be swapped away with one other pair, at no more than twice
        # the dearest pair's cost: above that, the least total has none
        extra = 3 * closeness.most_mm() + 1.0
        return TopsAndBottoms(closeness, scarce, extra, tops_short)

    def __len__(self) -> int:
        return len(self.closeness)

    def rows(self, these: Indices, others: Indices) -> Floats:
        """Costs (M, K) of shells ``these`` (M,) with ``others`` (K,)."""
        both = self.scarce[these, None] & self.scarce[None, others]
        return self.closeness.rows(these, others) + self.extra * both

    def pairs(self, a: Indices, b: Indices) -> tuple[Floats, Floats]:
        """Costs (P,) of pairs a (P,), b (P,), and the best turn of each b."""
        costs, turns_deg = self.closeness.pairs(a, b)
        return costs + self.extra * (self.scarce[a] & self.scarce[b]), turns_deg

    def matrix(self) -> Floats:
        """All costs (N, N), symmetric; infinite on the diagonal."""
        both = self.scarce[:, None] & self.scarce[None, :]
        return np.asarray(self.closeness.matrix() + self.extra * both)

    def alone(self) -> Floats:
        """What it costs to leave each shell over (N,): a top of which there are too few is not
        to be the one."""
        return np.asarray(self.extra * (self.scarce if self.tops_short else 0 * self.scarce))

    def nearest(self, count: int) -> tuple[Indices, Floats]:
        """The ``count`` < N closest partners of every shell (N, count), and their costs."""
        partners, costs = self.closeness.nearest(count)
        scarce, plenty = np.flatnonzero(self.scarce), np.flatnonzero(~self.scarce)
        if not len(scarce):
            return partners, costs
        if count <= len(plenty):
            partners[scarce], costs[scarce] = self.closeness.nearest_among(scarce, plenty, count)
            return partners, costs
        rows = self.rows(scarce, np.arange(len(self)))
        rows[np.arange(len(scarce)), scarce] = np.inf
        keep = np.argpartition(rows, count - 1, axis=1)[:, :count]
        partners[scarce], costs[scarce] = keep, np.take_along_axis(rows, keep, axis=1)
        return partners, costs
