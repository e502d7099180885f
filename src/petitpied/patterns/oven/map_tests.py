"""The tests behind an oven's map: named patterns and spots against chance, units many or few."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from petitpied.patterns.oven import likeness as alike
from petitpied.patterns.oven.likeness import Likeness
from petitpied.patterns.oven.nested import beside, without
from petitpied.patterns.oven.scores import Weights, apart, column_scores, spot_scores, weigh
from petitpied.patterns.oven.surrogates import FEW_LIKE, shuffle_test
from petitpied.patterns.oven.templates import NAMED, Region, Spots, named_columns, spots_in
from petitpied.patterns.oven.tray_stack import LEAN, Stack
from petitpied.statistics.made_together import by_unit
from petitpied.statistics.serial import inflation, pooled_autocorrelation
from petitpied.statistics.sign_flips import ALPHA, LEAST_UNITS, Family, Verdicts, flip_test

Floats = NDArray[np.float64]

#: a spot is looked for where the shells tell at least this much of what they tell best
LEAST_INFO_REL = 0.1


@dataclass(frozen=True)
class Setting:
    """What one analysis needs again and again: named columns are already taken apart."""

    stack: Stack
    likeness: Likeness
    weights: Weights
    region: Region
    spots: Spots
    named: Floats  # (N, S, 3)


@dataclass(frozen=True)
class Tested:
    """All patterns tested together; and the spots once more where a slope or the edge stands
    out: ``spots`` says what they add to it. Else ``spots`` is the spots' part of the first."""

    family: Family
    verdicts: Verdicts
    spot_family: Family
    spots: Verdicts
    stepped: bool


def _spots_of(family: Family, verdicts: Verdicts) -> Tested:
    spot = np.isfinite(family.place_mm[:, 0])
    part = replace(
        verdicts, statistic=verdicts.statistic[spot], p_adjusted=verdicts.p_adjusted[spot],
        size=verdicts.size[spot], per_unit=verdicts.per_unit[spot],
    )  # fmt: skip
    own = Family(family.info[spot], family.place_mm[spot], family.alone[spot], family.pool_mm)
    return Tested(family, verdicts, own, part, False)


def setting_of(stack: Stack, region: Region) -> Setting:
    """Weights from all bakes, or stated ones where units are few; named patterns apart."""
    likeness = FEW_LIKE if stack.units < LEAST_UNITS else alike.estimate(stack)
    weights = weigh(stack, likeness)
    raw = named_columns(stack.x_mm, stack.y_mm, region) * stack.present[..., None]
    _, infos = column_scores(stack, weights, raw)
    return Setting(stack, likeness, weights, region, spots_in(region), raw @ apart(infos).T)


def _family(setting: Setting, named_info: Floats, spot_info: Floats) -> Family:
    """Named templates (and the mean lean, where ``named_info`` has a fourth) before spots."""
    dim = spot_info < LEAST_INFO_REL * spot_info.max(initial=0.0)
    info = np.concatenate([named_info, np.where(dim, 0.0, spot_info)])
    place = np.full((len(named_info), 2), np.nan)
    alone = np.arange(len(info)) == len(NAMED)
    if len(named_info) == len(NAMED):
        alone[:] = False
    return Family(info, np.vstack([place, setting.spots.places_mm]), alone, setting.spots.sigma_mm)


def _standing(family: Family, verdicts: Verdicts) -> list[int]:
    """Which slopes and edge stand out, where a spot does too."""
    spot = np.isfinite(family.place_mm[:, 0])
    if not (verdicts.p_adjusted[spot] <= ALPHA).any():
        return []
    return [k for k in range(len(NAMED)) if verdicts.p_adjusted[k] <= ALPHA]


def many_units(setting: Setting, rng: np.random.Generator) -> Tested:
    stack, weights = setting.stack, setting.weights
    score, infos = column_scores(stack, weights, setting.named)
    total = infos.sum(axis=0)
    info = np.diag(total)
    parts = [score]
    if stack.measure == LEAN:
        lean, lean_info = lean_scores(setting)
        parts.append(lean)
        info = np.append(info, lean_info.sum())
    spots, spot_info = spot_scores(stack, weights, setting.spots)
    family = _family(setting, info, spot_info)
    scores = by_unit(stack.unit, np.concatenate([*parts, spots], axis=1))
    inflation = _inflation(scores, family)
    verdicts = flip_test(scores, family, rng, inflation)
    if stack.measure != LEAN and 2 * verdicts.least_p > ALPHA:
        verdicts = _joined(setting, verdicts, rng)
    tested = _spots_of(family, verdicts)
    standing = _standing(family, verdicts)
    if not standing:
        return tested
    step = beside(
        stack, weights, setting.spots,
        (setting.named[..., standing], total[np.ix_(standing, standing)]),
    )  # fmt: skip
    left = step.scores(scores[:, -len(spot_info) :], scores[:, standing])
    own = step.family(family)
    return replace(
        tested, spot_family=own, spots=flip_test(left, own, rng, inflation), stepped=True
    )


def _inflation(scores: Floats, family: Family) -> float:
    """From units' scores (U, T, K): days in a row may be alike."""
    seen = (family.info > 0) & ~family.alone
    series = (scores[:, seen] / np.sqrt(family.info[seen])[:, None]).reshape(len(scores), -1)
    return inflation(pooled_autocorrelation(series), len(scores))


def _joined(setting: Setting, verdicts: Verdicts, rng: np.random.Generator) -> Verdicts:
    """Six units: flips reach 1 in 32 at best and 2 in 32 is too much, so that nearly half of
    the 5 % would lie idle. It goes to shuffles within the trays: a pattern that comes second of
    all flips counts with ``1/32 + p of the shuffles``. The sum of both chances of a false alarm
    is at most 5 % (Bonferroni, weighted)."""
    p, least = verdicts.p_adjusted, verdicts.least_p
    second = p <= 2 * least * (1 + 1e-9)
    if not second.any() or (p <= ALPHA).any():
        return verdicts
    stack = setting.stack
    few = replace(setting, likeness=FEW_LIKE, weights=weigh(stack, FEW_LIKE))
    shuffled = few_units(few, rng).verdicts
    joined = np.where(second, np.minimum(p, least + shuffled.p_adjusted), p)
    return replace(verdicts, p_adjusted=joined)


def few_units(setting: Setting, rng: np.random.Generator) -> Tested:
    stack, weights = setting.stack, setting.weights
    spots = setting.spots.columns(stack.x_mm, stack.y_mm, stack.present)
    score, infos = column_scores(stack, weights, setting.named)
    total = infos.sum(axis=0)
    _, spot_info = spot_scores(stack, weights, setting.spots)
    family = _family(setting, np.diag(total), spot_info)
    columns = np.concatenate([setting.named, spots], -1)
    tested = _spots_of(family, shuffle_test(stack, weights, columns, family, rng))
    standing = _standing(family, tested.verdicts)
    if not standing:
        return tested
    named, matrix = setting.named[..., standing], total[np.ix_(standing, standing)]
    step = beside(stack, weights, setting.spots, (named, matrix))
    sizes = np.linalg.lstsq(matrix, score[:, standing].sum(axis=0))[0]
    own, rest = step.family(family), without(stack, named, sizes)
    left = spots - np.einsum("nsj,tj->nst", named, step.shares)
    verdicts = shuffle_test(rest, weights, left, own, rng)
    return replace(tested, spot_family=own, spots=verdicts, stepped=True)


def lean_scores(setting: Setting) -> tuple[Floats, Floats]:
    """The tray's mean lean: scores (N, 1, 2) and information (N,)."""
    ones = setting.stack.present[..., None].astype(float)
    score, info = column_scores(setting.stack, setting.weights, ones, centred=False)
    return score, info[:, 0, 0]
