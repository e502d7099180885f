"""Is it one oven? Racks that bake otherwise, and a change on the way: tested before pooling.

A contrast of bakes (one rack against the others, late against early) beside what they have in
common: signs of the residuals' units are flipped (Freedman & Lane 1983; Winkler et al. 2014), the
largest statistic over all patterns (and breaks) holds 5 %.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.patterns.oven.map_tests import setting_of
from petitpied.patterns.oven.scores import column_scores
from petitpied.patterns.oven.several_measures import holm
from petitpied.patterns.oven.templates import region_of
from petitpied.patterns.oven.tray_stack import Stack
from petitpied.patterns.oven.turns_in_time import MOST_BREAKS, beside, residuals
from petitpied.statistics.made_together import by_unit
from petitpied.statistics.sign_flips import ALPHA, LEAST_UNITS, signs

Floats = NDArray[np.float64]

#: units on each side of a contrast: fewer say nothing of their own scatter
LEAST_EACH = 3
#: units that a break is looked for in, evenly chosen: hundreds place it well enough
MOST_UNITS = 300


@dataclass(frozen=True)
class RacksCompared:
    """``p`` (adjusted for the number of racks) that they are alike; None where too few units."""

    racks: tuple[str, ...]
    p: float | None

    @property
    def differ(self) -> bool:
        return self.p is not None and self.p <= ALPHA


@dataclass(frozen=True)
class Break:
    """From unit ``unit`` on the pattern is another one."""

    unit: int
    p: float


def _scores(stack: Stack) -> tuple[Floats, Floats]:
    """Scores (N, J, K) and information (N, J) of slopes and edge."""
    setting = setting_of(stack, region_of(stack))
    score, infos = column_scores(stack, setting.weights, setting.named)
    return score, np.einsum("njj->nj", infos)


def _largest(stack: Stack, own: Floats, told: tuple[Floats, Floats], flips: Floats) -> Floats:
    """Largest t (F,) over the patterns of a contrast (N,) beside a common mean."""
    score, info = told
    others = np.ones((len(own), 1))
    left, kept = beside(own, others, info)
    terms = by_unit(stack.unit, left[..., None] * residuals(score, info, others))
    sums = np.einsum("fu,utk->ftk", flips, terms)
    squares = (terms**2).sum(axis=(0, 2)) / terms.shape[-1]
    rest = squares - (sums**2).mean(axis=-1) / len(terms)
    t = np.sqrt((sums**2).sum(axis=-1) / np.maximum(rest, 1e-9 * squares + 1e-300))
    found = np.where(kept > 0, t, 0.0).max(axis=1)
    found[1:] *= np.sqrt(len(terms) / max(len(terms) - 1, 1))
    return np.asarray(found)


def _p(largest: Floats) -> float:
    return float((largest >= largest[0] * (1 - 1e-9)).mean())


def compare_racks(
    stack: Stack, racks: Sequence[str | None], rng: np.random.Generator
) -> RacksCompared:
    """``racks`` (N,): where each bake stood; bakes without are left out."""
    names = sorted({r for r in racks if r is not None})
    known = np.array([r is not None for r in racks])
    part, which = stack.part(np.flatnonzero(known)), [r for r in racks if r is not None]
    masks = [np.array([r == name for r in which]) for name in names]
    enough = len(names) > 1 and part.units >= LEAST_UNITS
    for mask in masks:
        enough = enough and len(np.unique(part.unit[mask])) >= LEAST_EACH
    if not enough:
        return RacksCompared(tuple(names), None)
    told, flips = _scores(part), signs(part.units, rng).astype(float)
    ps = [_p(_largest(part, m.astype(float), told, flips)) for m in masks]
    return RacksCompared(tuple(names), min(holm(ps[:1] if len(names) == 2 else ps)))


def find_break(stack: Stack, rng: np.random.Generator) -> Break | None:
    """The unit from which on the pattern is another, where one stands out; the largest statistic
    over all patterns and breaks."""
    units = np.unique(stack.unit)
    inner = np.arange(LEAST_EACH, len(units) - LEAST_EACH + 1)
    if len(units) < LEAST_UNITS + 2 or not len(inner):
        return None
    if len(inner) > MOST_BREAKS:
        inner = inner[np.unique(np.linspace(0, len(inner) - 1, MOST_BREAKS).round().astype(int))]
    if len(units) > MOST_UNITS:
        thinned = units[np.linspace(0, len(units) - 1, MOST_UNITS).round().astype(int)]
        return find_break(stack.part(np.flatnonzero(np.isin(stack.unit, thinned))), rng)
    told, flips = _scores(stack), signs(len(units), rng).astype(float)
    each = np.array(
        [_largest(stack, (stack.unit >= units[k]).astype(float), told, flips) for k in inner]
    )
    p = _p(each.max(axis=0))
    return Break(int(units[inner[int(each[:, 0].argmax())]]), p) if p <= ALPHA else None
