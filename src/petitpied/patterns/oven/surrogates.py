"""Few trays: shuffles within each tray that keep neighbours as alike as they may be by chance.

With fewer bakes than sign flips need, only the places within a tray can be shuffled. Shuffling
freely would take any smooth likeness of neighbours for a pattern, since shells of one tray share
their fate. So the shuffles keep a stated likeness: each is a random smooth field whose ranks say
which place gets which of the tray's own values (rank-matched surrogates: Theiler et al., Physica D
58, 1992; for maps: Burt et al., NeuroImage 220, 2020). Trays that were made together share the
field, since what they have in common may be that day's chance. One tray cannot tell how alike its
neighbours are by chance, so several degrees are tried and the worst p counts. A likeness that
reaches farther than the farthest tried cannot be told from a pattern: few trays only suggest.
"""

import numpy as np
from numpy.typing import NDArray

from petitpied.patterns.oven.likeness import NONE, Likeness, correlation
from petitpied.patterns.oven.scores import Weights, score_maps
from petitpied.patterns.oven.tray_stack import Stack
from petitpied.statistics.made_together import by_unit
from petitpied.statistics.sign_flips import Family, Verdicts, compare, spreads, statistics

Floats = NDArray[np.float64]

#: likeness that chance alone may give. No source: from none to nearly all of a tray's spread,
#: reaching up to 110 mm, near a quarter of a half-sheet tray's length
DEGREES = (
    NONE,
    *(Likeness(share, length) for share in (0.5, 0.9) for length in (45.0, 70.0, 110.0)),
)
#: likeness that the statistic is weighted by: fixed, since few trays cannot tell them
FEW_LIKE = Likeness(0.5, 70.0)
#: shuffles a degree, the data as they are among them: the least p is 0.002
SHUFFLES = 500


def shuffle_test(
    stack: Stack, weights: Weights, columns: Floats, family: Family, rng: np.random.Generator
) -> Verdicts:
    """Test of the templates ``columns`` (N, S, T) in few units; the worst p of all degrees."""
    maps = score_maps(stack, weights, columns)
    if stack.units == 1:  # shells as templates: what they score is P y, and y' P y the spread
        shells = np.eye(stack.present.shape[1])[None]
        maps = np.concatenate([maps, score_maps(stack, weights, shells)], axis=1)
    observed = by_unit(stack.unit, maps[:, : len(family.info)] @ stack.centred())
    squares = (observed**2).sum(axis=(0, 2))
    scale = spreads(observed.sum(axis=0)[None], squares, family, stack.units)[0]
    per_unit = family.info / scale
    size = observed.sum(axis=0) / np.where(family.info > 0, family.info, np.inf)[:, None]
    worst: Verdicts | None = None
    for degree in DEGREES:
        found = _shuffled(stack, maps, family, (degree, rng))
        verdict = compare(found.max(axis=1), found[0], (size, per_unit))
        worst = verdict if worst is None else _worse(worst, verdict)
    assert worst is not None
    return worst


def _shuffled(
    stack: Stack, maps: Floats, family: Family, chance: tuple[Likeness, np.random.Generator]
) -> Floats:
    """Statistics (SHUFFLES, T), those of the data first."""
    values = stack.centred()
    drawn = np.zeros((stack.count, SHUFFLES, *values.shape[1:]))
    for unit in np.unique(stack.unit):
        drawn[stack.unit == unit] = _shuffled_values(stack, values, unit, chance)
    scores = np.stack(
        [
            np.einsum("ts,fsk->ftk", one_map, one, optimize=True)
            for one_map, one in zip(maps, drawn, strict=True)
        ]
    )
    templates = len(family.info)
    if stack.units > 1:
        sums = by_unit(stack.unit, scores)
        squares = (sums**2).sum(axis=(0, 3))
        return statistics(sums.sum(axis=0), squares, family, stack.units)
    spread = (drawn * scores[:, :, templates:]).sum(axis=(0, 2, 3))
    return _share_explained(scores[:, :, :templates].sum(axis=0), spread, family)


def _share_explained(scores: Floats, spread: Floats, family: Family) -> Floats:
    """Root of each template's share of one unit's weighted spread (F,): there are no other
    units to know its variance from."""
    known = family.info > 0
    share = (scores**2).sum(axis=-1) / np.where(known, family.info, 1.0)
    return np.asarray(np.sqrt(share * known / np.maximum(spread, 1e-300)[:, None]))


def _worse(first: Verdicts, second: Verdicts) -> Verdicts:
    return Verdicts(
        first.statistic,
        np.maximum(first.p_adjusted, second.p_adjusted),
        max(first.critical, second.critical),
        first.least_p,
        first.size,
        first.per_unit,
    )


def _shuffled_values(
    stack: Stack, values: Floats, unit: np.int64, chance: tuple[Likeness, np.random.Generator]
) -> Floats:
    """Shuffles (B, SHUFFLES, S, K) of the values of a unit's bakes, the data as they are first."""
    degree, rng = chance
    bakes = np.flatnonzero(stack.unit == unit)
    present = stack.present[bakes]
    x, y = stack.x_mm[bakes][present], stack.y_mm[bakes][present]
    root = np.linalg.cholesky(correlation(x, y, degree) + 1e-9 * np.eye(len(x)))
    ends = np.cumsum(present.sum(axis=1))[:-1]
    result = np.zeros((len(bakes), SHUFFLES, *values.shape[1:]))
    for k in range(values.shape[2]):
        field = rng.normal(size=(SHUFFLES, len(x))) @ root.T
        for which, part in enumerate(np.split(field, ends, axis=1)):
            here = present[which]
            rank = np.argsort(np.argsort(part, axis=1), axis=1)
            result[which][:, here, k] = np.sort(values[bakes[which], here, k])[rank]
    result[:, 0] = values[bakes]
    return result
