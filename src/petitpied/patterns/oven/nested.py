"""A spot beside slopes and an edge: does it add anything to them? The step down.

A plain slope raises the score of every spot on its high side. So once a slope or the edge stands
out, spots are tested by what those leave (step-down test; the named patterns' part is taken out
of the spots' templates: Freedman & Lane, J. Business & Economic Statistics 1, 1983).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from petitpied.patterns.oven.scores import Weights, spot_scores
from petitpied.patterns.oven.templates import Spots
from petitpied.patterns.oven.tray_stack import Stack
from petitpied.statistics.sign_flips import Family

Floats = NDArray[np.float64]

#: a spot of which the named patterns leave less information than this part is not looked for:
#: they explain it, wherever it lies; numerical, no source
LEAST_LEFT_REL = 0.05


@dataclass(frozen=True)
class Beside:
    """What takes J named patterns out of spots: ``shares`` (T, J) of each named template in each
    spot, ``info`` (T,) what is left of each spot's information, 0 where too little."""

    shares: Floats
    info: Floats

    def scores(self, spots: Floats, named: Floats) -> Floats:
        """Scores (U, T, K) of the spots, less what scores (U, J, K) of the named explain."""
        return np.asarray(spots - np.einsum("tj,ujk->utk", self.shares, named))

    def family(self, whole: Family) -> Family:
        """Of the spots alone."""
        spot = np.isfinite(whole.place_mm[:, 0])
        info = np.where(whole.info[spot] > 0, self.info, 0.0)
        return Family(info, whole.place_mm[spot], whole.alone[spot], whole.pool_mm)


def beside(stack: Stack, weights: Weights, spots: Spots, named: tuple[Floats, Floats]) -> Beside:
    """``named``: the standing templates (N, S, J), and their information matrix (J, J) over all
    bakes."""
    columns, matrix = named
    as_values = replace(stack, values=columns * stack.present[..., None])
    crossed, info = spot_scores(as_values, weights, spots)
    cross = crossed.sum(axis=0)  # (T, J)
    shares = np.linalg.lstsq(matrix, cross.T)[0].T
    left = info - (shares * cross).sum(axis=1)
    return Beside(shares, np.where(left > LEAST_LEFT_REL * info, left, 0.0))


def without(stack: Stack, columns: Floats, sizes: Floats) -> Stack:
    """The bakes' values less patterns (N, S, J) of sizes (J, K)."""
    taken = np.einsum("nsj,jk->nsk", columns, sizes)
    return replace(stack, values=(stack.values - taken) * stack.present[..., None])
