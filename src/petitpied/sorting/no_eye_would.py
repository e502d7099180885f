"""Pairs that no eye would make: of other colours or quite other sizes.

Such a pair is never made, even where flavours are not known. It costs so much more than any other
that a matching of least cost has as few of them as can be; those few are then taken apart. So as
many proper pairs are made as can be, and these at the least cost.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.sorting.closeness import Closeness, Floats, Indices
from petitpied.sorting.matching import Costs

#: two shells of one macaron differ by less than this: a step of half as much all round is a
#: crooked macaron (common practice, no source)
MOST_APART_MM = 3.0
#: and by less than this in colour (CIELAB 1976): other than at a glance, where shells of one
#: tray differ by 1 to 4 (common practice, no source)
MOST_APART_DELTA_E = 12.0


@dataclass(frozen=True)
class NoEyeWould:
    """`petitpied.sorting.matching.Costs` of a lot of N shells with such pairs made dear."""

    costs: Costs
    closeness: Closeness
    extra: float  # mm, of such a pair

    @staticmethod
    def of(costs: Costs, closeness: Closeness) -> "NoEyeWould":
        """``closeness``: the same shells' sizes and colours."""
        # more than all that other costs can add: twice, as a swap changes two pairs
        return NoEyeWould(costs, closeness, 10 * closeness.most_mm() + 10.0)

    def __len__(self) -> int:
        return len(self.costs)

    def rows(self, these: Indices, others: Indices) -> Floats:
        """Costs (M, K) of shells ``these`` (M,) with ``others`` (K,)."""
        apart = self.apart(these[:, None], others[None, :])
        return self.costs.rows(these, others) + self.extra * apart

    def pairs(self, a: Indices, b: Indices) -> tuple[Floats, Floats]:
        """Costs (P,) of pairs a (P,), b (P,), and the best turn of each b."""
        costs, turns_deg = self.costs.pairs(a, b)
        return costs + self.extra * self.apart(a, b), turns_deg

    def matrix(self) -> Floats:
        """All costs (N, N), symmetric; infinite on the diagonal."""
        everyone = np.arange(len(self))
        apart = self.apart(everyone[:, None], everyone[None, :])
        return np.asarray(self.costs.matrix() + self.extra * apart)

    def alone(self) -> Floats:
        """What it costs to leave each shell over (N,)."""
        return self.costs.alone()

    def nearest(self, count: int) -> tuple[Indices, Floats]:
        """The ``count`` < N closest partners of every shell (N, count), and their costs."""
        partners, costs = self.costs.nearest(count)
        everyone = np.arange(len(self))[:, None]
        return partners, costs + self.extra * self.apart(everyone, partners)

    def apart(self, a: Indices, b: Indices) -> NDArray[np.bool_]:
        """Which pairs no eye would make."""
        return too_far(self.closeness, a, b)


def too_far(closeness: Closeness, a: Indices, b: Indices) -> NDArray[np.bool_]:
    """Whether two shells differ too much in size, or in colour where it is known."""
    far = np.abs(closeness.diameter_mm[a] - closeness.diameter_mm[b]) > MOST_APART_MM
    if closeness.lab is not None:
        gap = ((closeness.lab[a] - closeness.lab[b]) ** 2).sum(axis=-1)
        far = far | (gap > MOST_APART_DELTA_E**2)
    return np.asarray(far)


def any_too_far(closeness: Closeness) -> bool:
    """Whether there is such a pair in the lot at all: by the ranges of sizes and colours."""
    if not len(closeness):
        return False
    if float(np.ptp(closeness.diameter_mm)) > MOST_APART_MM:
        return True
    if closeness.lab is None:
        return False
    return bool((np.ptp(closeness.lab, axis=0) ** 2).sum() > MOST_APART_DELTA_E**2)
