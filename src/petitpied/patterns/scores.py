"""What each bake says of each pattern: generalised least squares within the bake.

For a template g and a bake with values y, correlation R and a free mean, the score is
``g' P y`` and its information ``g' P g``, with ``P = R^-1 - R^-1 1 1' R^-1 / (1' R^-1 1)``. Sums of
scores over bakes divided by sums of information are the pooled estimate (Aitken).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.patterns.likeness import Likeness, correlation
from petitpied.patterns.templates import Spots
from petitpied.patterns.tray_stack import Stack

Floats = NDArray[np.float64]

#: bakes that are solved at once: keeps matrices of 36 shells below 10 MB
CHUNK = 500
#: bakes whose information is summed to know that of all, where spots are many
SAMPLED = 100


@dataclass(frozen=True)
class Scores:
    """``score`` (N, T, K) by bake, template and component; ``info`` (N, T)."""

    score: Floats
    info: Floats


def _solved(stack: Stack, likeness: Likeness, sides: Floats) -> Floats:
    """``R^-1 sides`` for (N, S, M) sides that are zero where no shell is."""
    if likeness.share == 0:
        return sides
    matrix = correlation(stack.x_mm, stack.y_mm, likeness)
    both = stack.present[:, :, None] & stack.present[:, None, :]
    matrix = np.where(both, matrix, np.eye(matrix.shape[-1]))
    return np.asarray(np.linalg.solve(matrix, sides))


def _projected(stack: Stack, likeness: Likeness, sides: Floats, *, centred: bool) -> Floats:
    """``P sides`` (N, S, M); without ``centred`` only ``R^-1 sides``."""
    if not centred:
        return _solved(stack, likeness, sides)
    ones = stack.present[..., None].astype(float)
    solved = _solved(stack, likeness, np.concatenate([sides, ones], axis=-1))
    rest, unit = solved[..., :-1], solved[..., -1]
    share = rest.sum(axis=1) / unit.sum(axis=1)[:, None]
    return np.asarray(rest - unit[..., None] * share[:, None])


def column_scores(
    stack: Stack, likeness: Likeness, columns: Floats, *, centred: bool = True
) -> tuple[Floats, Floats]:
    """Scores (N, J, K) and information matrices (N, J, J) of templates ``columns`` (N, S, J)."""
    scores, infos = [], []
    columns = columns * stack.present[..., None]
    for start in range(0, stack.count, CHUNK):
        chosen = slice(start, start + CHUNK)
        part, g = stack.part(chosen), columns[chosen]
        projected = _projected(part, likeness, g, centred=centred)
        turned = projected.transpose(0, 2, 1)
        scores.append(turned @ part.values)
        infos.append(turned @ g)
    return np.concatenate(scores), np.concatenate(infos)


def spot_scores(stack: Stack, likeness: Likeness, spots: Spots) -> tuple[Floats, Floats]:
    """Scores (N, T, K) of all spots, and their information (T,) summed over the bakes.

    The information of more than `SAMPLED` bakes is scaled up from an even choice of them.
    """
    scores = []
    for start in range(0, stack.count, CHUNK):
        part = stack.part(slice(start, start + CHUNK))
        projected = _projected(part, likeness, part.values, centred=True)
        first, second = spots.along(part.x_mm, part.y_mm, part.present)
        turned = first.transpose(0, 2, 1)
        by_component = [
            (turned @ (projected[..., k, None] * second)).reshape(part.count, -1)
            for k in range(projected.shape[-1])
        ]
        scores.append(np.stack(by_component, axis=-1))
    sample = stack.part(np.arange(0, stack.count, max(1, -(-stack.count // SAMPLED))))
    info = np.zeros(len(spots.places_mm))
    for one in range(sample.count):
        part = sample.part(slice(one, one + 1))
        g = spots.columns(part.x_mm, part.y_mm, part.present)
        info += (_projected(part, likeness, g, centred=True) * g).sum(axis=(0, 1))
    return np.concatenate(scores), info * (stack.count / sample.count)


def score_maps(stack: Stack, likeness: Likeness, columns: Floats) -> Floats:
    """Matrices (N, J, S) that take a bake's values to its scores."""
    projected = _projected(stack, likeness, columns * stack.present[..., None], centred=True)
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
