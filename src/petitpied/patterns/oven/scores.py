"""What each bake says of each pattern: generalised least squares within the bake.

For a template g and a bake with values y, correlation R and a free mean, the score is
``g' P y`` and its information ``g' P g``, with ``P = R^-1 - R^-1 1 1' R^-1 / (1' R^-1 1)``. Sums of
scores over bakes divided by sums of information are the pooled estimate (Aitken).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.patterns.oven.likeness import Likeness, correlation
from petitpied.patterns.oven.templates import Spots
from petitpied.patterns.oven.tray_stack import Bools, Stack

Floats = NDArray[np.float64]

#: bakes that are solved at once: keeps matrices of 36 shells below 10 MB
CHUNK = 500
#: bakes whose information is summed to know that of all, where spots are many
SAMPLED = 100


@dataclass(frozen=True)
class Weights:
    """``inverse`` (N, S, S) of each bake's correlation, zero where no shell is; None: shells
    are not alike, each weighs 1. ``present`` (N, S)."""

    inverse: Floats | None
    present: Bools

    def part(self, chosen: slice | NDArray[np.intp]) -> "Weights":
        """Of some of the bakes."""
        inverse = None if self.inverse is None else self.inverse[chosen]
        return Weights(inverse, self.present[chosen])

    def solved(self, sides: Floats) -> Floats:
        """``R^-1 sides`` for (N, S, M) sides that are zero where no shell is."""
        return sides if self.inverse is None else np.asarray(self.inverse @ sides)

    def projected(self, sides: Floats) -> Floats:
        """``P sides`` (N, S, M)."""
        rest = self.solved(sides)
        unit = self.solved(self.present[..., None].astype(float))[..., 0]
        share = rest.sum(axis=1) / unit.sum(axis=1)[:, None]
        return np.asarray(rest - unit[..., None] * share[:, None])


def weigh(stack: Stack, likeness: Likeness) -> Weights:
    """Weights of a stack's bakes."""
    if likeness.share == 0:
        return Weights(None, stack.present)
    size = stack.present.shape[1]
    inverse = np.zeros((stack.count, size, size))
    for start in range(0, stack.count, CHUNK):
        part = stack.part(slice(start, start + CHUNK))
        matrix = correlation(part.x_mm, part.y_mm, likeness)
        both = part.present[:, :, None] & part.present[:, None, :]
        whole = np.linalg.inv(np.where(both, matrix, np.eye(size)))
        inverse[start : start + CHUNK] = np.where(both, whole, 0.0)
    return Weights(inverse, stack.present)


def column_scores(
    stack: Stack, weights: Weights, columns: Floats, *, centred: bool = True
) -> tuple[Floats, Floats]:
    """Scores (N, J, K) and information matrices (N, J, J) of templates ``columns`` (N, S, J)."""
    scores, infos = [], []
    columns = columns * stack.present[..., None]
    for start in range(0, stack.count, CHUNK):
        chosen = slice(start, start + CHUNK)
        part, g = stack.part(chosen), columns[chosen]
        own = weights.part(chosen)
        projected = own.projected(g) if centred else own.solved(g)
        turned = projected.transpose(0, 2, 1)
        scores.append(turned @ part.values)
        infos.append(turned @ g)
    return np.concatenate(scores), np.concatenate(infos)


def spot_scores(stack: Stack, weights: Weights, spots: Spots) -> tuple[Floats, Floats]:
    """Scores (N, T, K) of all spots, and their information (T,) summed over the bakes.

    The information of more than `SAMPLED` bakes is scaled up from an even choice of them.
    """
    scores = []
    for start in range(0, stack.count, CHUNK):
        chosen = slice(start, start + CHUNK)
        part = stack.part(chosen)
        projected = weights.part(chosen).projected(part.values)
        first, second = spots.along(part.x_mm, part.y_mm, part.present)
        turned = first.transpose(0, 2, 1)
        by_component = [
            (turned @ (projected[..., k, None] * second)).reshape(part.count, -1)
            for k in range(projected.shape[-1])
        ]
        scores.append(np.stack(by_component, axis=-1))
    sample = np.arange(0, stack.count, max(1, -(-stack.count // SAMPLED)))
    info = np.zeros(len(spots.places_mm))
    for one in sample:
        chosen = slice(int(one), int(one) + 1)
        part = stack.part(chosen)
        g = spots.columns(part.x_mm, part.y_mm, part.present)
        info += (weights.part(chosen).projected(g) * g).sum(axis=(0, 1))
    return np.concatenate(scores), info * (stack.count / len(sample))


def score_maps(stack: Stack, weights: Weights, columns: Floats) -> Floats:
    """Matrices (N, J, S) that take a bake's values to its scores."""
    projected = weights.projected(columns * stack.present[..., None])
    return np.asarray(projected.transpose(0, 2, 1))


def apart(infos: Floats) -> Floats:
    """Weights (J, J): row k takes out of template k what the others explain, over all bakes.

    ``infos`` (N, J, J). A template that the others explain wholly (or that the shells do not
    show at all) gets a row of zeros.
    """
    total = infos.sum(axis=0)
    size = len(total)
    result = np.zeros((size, size))
    for k in range(size):
        others = [j for j in range(size) if j != k and total[j, j] > 0]
        row = np.zeros(size)
        row[k] = 1.0
        if others:
            row[others] = -np.linalg.lstsq(total[np.ix_(others, others)], total[others, k])[0]
        left = float(row @ total @ row)
        if total[k, k] > 0 and left > LEAST_OWN * total[k, k]:
            result[k] = row
    return result


#: a pattern must keep so much of its own information beside the others: below it, the shells'
#: places (one row, say) do not tell them apart; numerical, no source
LEAST_OWN = 1e-3
