"""An oven's map of one measure: from bakes to patterns that stand out, or do not."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from petitpied.domain.bake import Bake
from petitpied.domain.measures import SERIES
from petitpied.patterns.oven import likeness as alike
from petitpied.patterns.oven.effects import one_bake_effect, pooled_effect, spot_effect
from petitpied.patterns.oven.findings import Cell, Effect, Finding, Kind, OvenMap, Strength
from petitpied.patterns.oven.likeness import Likeness
from petitpied.patterns.oven.local_map import lean_field, map_cells
from petitpied.patterns.oven.neighbours import mean_morans_i
from petitpied.patterns.oven.scores import Weights, apart, column_scores, spot_scores, weigh
from petitpied.patterns.oven.surrogates import FEW_LIKE, shuffle_test
from petitpied.patterns.oven.templates import (
    NAMED,
    Region,
    Spots,
    named_columns,
    region_of,
    spots_in,
)
from petitpied.patterns.oven.tray_stack import LEAN, Stack, stack_bakes
from petitpied.statistics.directions import MeanDirection, mean_direction
from petitpied.statistics.sign_flips import ALPHA, LEAST_BAKES, Family, Verdicts, flip_test

Floats = NDArray[np.float64]

#: a spot is looked for where the shells tell at least this much of what they tell best
LEAST_INFO_REL = 0.1
#: power of the "smallest effect": 4 of 5, the common choice
POWER_Z = float(norm.ppf(0.8))
#: spread below this part of the values' size is rounding
FLAT_REL = 1e-9


@dataclass(frozen=True)
class _Setting:
    """What one analysis needs again and again: named columns are already taken apart."""

    stack: Stack
    likeness: Likeness
    weights: Weights
    region: Region
    spots: Spots
    named: Floats  # (N, S, 3)


def map_oven(bakes: Sequence[Bake], measure: str, rng: np.random.Generator) -> OvenMap:
    """Map of one measure over the bakes of one oven and rack, tray frame.

    At least `LEAST_BAKES` bakes: sign flips of whole bakes, "shows". Fewer: shuffles within
    trays, "suggests". ``measure``: a key of `petitpied.domain.measures.SERIES`.

    Raises
    ------
    ValueError
        If no bake has the measure on enough shells, or the measure is unknown.
    """
    stack = stack_bakes(bakes, measure)
    if stack.count == 0:
        raise ValueError(f"no bake has {measure} on enough shells")
    lean = stack if measure == LEAN else stack_bakes(bakes, LEAN)
    airflow = _airflow(lean)
    region = region_of(stack)
    setting = _setting(stack, region)
    centred = stack.centred()
    if float(np.abs(centred).max()) <= FLAT_REL * max(float(np.abs(stack.values).max()), 1e-300):
        return _flat(setting, airflow)
    few = stack.count < LEAST_BAKES
    lit = few and SERIES[measure].by_light
    if lit:
        setting = _setting(stack.levelled(), region)
    family, verdicts = _few(setting, rng) if few else _many(setting, rng)
    findings = _findings(setting, family, verdicts)
    if lit:
        findings = tuple(f if f.kind not in NAMED else _by_light(f.kind) for f in findings)
    strength: Strength = "nothing found"
    if any(f.stands_out for f in findings):
        strength = "suggests" if few else "shows"
    over = verdicts.p_adjusted <= ALPHA
    standing = family.place_mm[over & np.isfinite(family.place_mm[:, 0])]
    return OvenMap(
        measure=measure,
        unit=stack.unit,
        bakes=stack.count,
        shells=stack.shells,
        strength=strength,
        findings=findings,
        cells=_with_lean(map_cells(stack, region, standing), lean, region),
        region=region,
        smallest_effect_80=_smallest(setting, family, verdicts),
        more_bakes_to_halve=_more(stack.count),
        least_p=verdicts.least_p,
        likeness=setting.likeness,
        neighbours=mean_morans_i(stack),
        airflow=airflow,
        flat=False,
    )


def _setting(stack: Stack, region: Region) -> _Setting:
    """Weights from all bakes, or stated ones where bakes are few; named patterns apart."""
    likeness = FEW_LIKE if stack.count < LEAST_BAKES else alike.estimate(stack)
    weights = weigh(stack, likeness)
    raw = named_columns(stack.x_mm, stack.y_mm, region) * stack.present[..., None]
    _, infos = column_scores(stack, weights, raw)
    return _Setting(stack, likeness, weights, region, spots_in(region), raw @ apart(infos).T)


def _family(setting: _Setting, named_info: Floats, spot_info: Floats) -> Family:
    """Named templates (and the mean lean, where ``named_info`` has a fourth) before spots."""
    dim = spot_info < LEAST_INFO_REL * spot_info.max(initial=0.0)
    info = np.concatenate([named_info, np.where(dim, 0.0, spot_info)])
    place = np.full((len(named_info), 2), np.nan)
    alone = np.arange(len(info)) == len(NAMED)
    if len(named_info) == len(NAMED):
        alone[:] = False
    return Family(info, np.vstack([place, setting.spots.places_mm]), alone, setting.spots.sigma_mm)


def _many(setting: _Setting, rng: np.random.Generator) -> tuple[Family, Verdicts]:
    stack, weights = setting.stack, setting.weights
    score, infos = column_scores(stack, weights, setting.named)
    info = np.einsum("njj->j", infos)
    parts = [score]
    if stack.measure == LEAN:
        lean, lean_info = _lean_scores(setting)
        parts.append(lean)
        info = np.append(info, lean_info.sum())
    spots, spot_info = spot_scores(stack, weights, setting.spots)
    family = _family(setting, info, spot_info)
    verdicts = flip_test(np.concatenate([*parts, spots], axis=1), family, rng)
    if stack.measure == LEAN or 2 * verdicts.least_p <= ALPHA:
        return family, verdicts
    return family, _joined(setting, verdicts, rng)


def _joined(setting: _Setting, verdicts: Verdicts, rng: np.random.Generator) -> Verdicts:
    """Six bakes: flips reach 1 in 32 at best and 2 in 32 is too much, so that nearly half of
    the 5 % would lie idle. It goes to shuffles within the trays: a pattern that comes second of
    all flips counts with ``1/32 + p of the shuffles``. The sum of both chances of a false alarm
    is at most 5 % (Bonferroni, weighted)."""
    p, least = verdicts.p_adjusted, verdicts.least_p
    second = p <= 2 * least * (1 + 1e-9)
    if not second.any() or (p <= ALPHA).any():
        return verdicts
    stack = setting.stack
    few = replace(setting, likeness=FEW_LIKE, weights=weigh(stack, FEW_LIKE))
    _, shuffled = _few(few, rng)
    joined = np.where(second, np.minimum(p, least + shuffled.p_adjusted), p)
    return replace(verdicts, p_adjusted=joined)


def _few(setting: _Setting, rng: np.random.Generator) -> tuple[Family, Verdicts]:
    stack = setting.stack
    spots = setting.spots.columns(stack.x_mm, stack.y_mm, stack.present)
    _, infos = column_scores(stack, setting.weights, setting.named)
    _, spot_info = spot_scores(stack, setting.weights, setting.spots)
    family = _family(setting, np.einsum("njj->j", infos), spot_info)
    return family, shuffle_test(
        setting.stack, setting.weights, np.concatenate([setting.named, spots], -1), family, rng
    )


def _lean_scores(setting: _Setting) -> tuple[Floats, Floats]:
    """The tray's mean lean: scores (N, 1, 2) and information (N,)."""
    ones = setting.stack.present[..., None].astype(float)
    score, info = column_scores(setting.stack, setting.weights, ones, centred=False)
    return score, info[:, 0, 0]


def _findings(setting: _Setting, family: Family, verdicts: Verdicts) -> tuple[Finding, ...]:
    """Patterns, those that stand out first, by p and then by what they explain."""
    named = int(np.isnan(family.place_mm[:, 0]).sum())
    found = [_named(setting, family, verdicts, k) for k in range(named)]
    if setting.stack.measure == LEAN and named == len(NAMED):
        found.append(_few_leans(setting))
    best = named + int(np.argmax(verdicts.statistic[named:]))
    found.append(_spot(setting, family, verdicts, best))
    worth = verdicts.worth(family)
    size = [*worth[:named], worth[best]]
    if len(size) < len(found):
        size.insert(named, -np.inf)

    def rank(k: int) -> tuple[bool, float, float]:
        p = found[k].p_adjusted
        return not found[k].stands_out, 1.0 if p is None else p, -size[k]

    return tuple(found[k] for k in sorted(range(len(found)), key=rank))


def _named(setting: _Setting, family: Family, verdicts: Verdicts, k: int) -> Finding:
    kind: Kind = (*NAMED, "lean")[k]  # type: ignore[assignment]
    if family.info[k] <= 0:
        why = "the shells' places do not show it: they lie on one line, or too few"
        return Finding(kind, None, None, False, None, why)
    if k == len(NAMED):
        score, info = _lean_scores(setting)
        effect = pooled_effect(score[:, 0], info, setting.stack.unit)
    else:
        effect = _effect(setting, setting.named[..., k])
    p = float(verdicts.p_adjusted[k])
    return Finding(kind, effect, p, p <= ALPHA)


def _by_light(kind: Kind) -> Finding:
    """A slope or an edge of browning in few photos: nulls of rendered trays by a window, one
    photo each, gave a slope 4 times in 48, and a spot at the brighter end 11 times; three photos
    each a brown edge 31 times in 200; less a plane and a bowl, none of these, a spot 11 times."""
    why = (
        "the light that falls over the tray makes such a pattern too: this takes at least "
        f"{LEAST_BAKES} bakes, photographed from different sides"
    )
    return Finding(kind, None, None, False, None, why)


def _spot(setting: _Setting, family: Family, verdicts: Verdicts, k: int) -> Finding:
    if family.info[k] <= 0:
        return Finding("spot", None, None, False, None, "too few shells to look for a spot")
    x, y = family.place_mm[k]
    p = float(verdicts.p_adjusted[k])
    place = (float(x), float(y))
    stack = setting.stack
    if stack.count >= 2:
        known = np.isfinite(family.place_mm[:, 0]) & (verdicts.per_unit > 0)
        size, error = verdicts.size[known], 1 / verdicts.per_unit[known]
        effect = spot_effect(size, error, stack.count, stack.unit)
        return Finding("spot", effect, p, p <= ALPHA, place)
    spot = Spots(np.array([x]), np.array([y]), setting.spots.sigma_mm)
    column = spot.columns(stack.x_mm, stack.y_mm, stack.present)[..., 0]
    return Finding("spot", _effect(setting, column), p, p <= ALPHA, place)


def _few_leans(setting: _Setting) -> Finding:
    stack = setting.stack
    score, info = _lean_scores(setting)
    if stack.count >= 2:
        effect = pooled_effect(score[:, 0], info, stack.unit)
    else:
        effect = one_bake_effect(score[:, 0], info, (0.0, 0), stack.unit)
    why = f"shells of one tray lean together, so this takes at least {LEAST_BAKES} bakes"
    return Finding("lean", effect, None, False, None, why)


def _effect(setting: _Setting, column: Floats) -> Effect:
    """Pooled effect of one template (N, S)."""
    stack = setting.stack
    score, info = column_scores(stack, setting.weights, column[..., None])
    if stack.count >= 2:
        return pooled_effect(score[:, 0], info[:, 0, 0], stack.unit)
    left = _left_over(setting, column)
    return one_bake_effect(score[:, 0], info[:, 0, 0], left, stack.unit)


def _left_over(setting: _Setting, column: Floats) -> tuple[float, int]:
    """Weighted squares that the named patterns and ``column`` leave in one tray, and degrees
    of freedom."""
    stack = setting.stack
    shells = np.eye(stack.present.shape[1])[None]
    projector = column_scores(stack, setting.weights, shells)[1][0]  # P
    design = np.column_stack([setting.named[0], column[0]])
    inner = design.T @ projector
    values = stack.centred()[0]
    fitted = design @ np.linalg.lstsq(inner @ design, inner @ values)[0]
    rest = values - fitted
    rank = int(np.linalg.matrix_rank(inner @ design))
    squares = float(np.einsum("sk,st,tk->", rest, projector, rest))
    return squares, int(stack.present.sum()) - 1 - rank


def _smallest(setting: _Setting, family: Family, verdicts: Verdicts) -> float | None:
    """Spot that 4 of 5 such histories would find, at a middling place; one tray: None, its
    test has no fixed threshold."""
    known = np.isfinite(family.place_mm[:, 0]) & (family.info > 0)
    if setting.stack.count < 2 or not np.isfinite(verdicts.critical) or not known.any():
        return None
    per_unit = verdicts.per_unit[known]
    return float((verdicts.critical + POWER_Z) / np.median(per_unit))


def _more(count: int) -> int:
    """Bakes that halve the smallest effect: errors fall with the root of their number; at
    least as many as make sign flips possible."""
    return max(3 * count, LEAST_BAKES - count)


def _airflow(lean: Stack) -> MeanDirection | None:
    """Mean lean of each bake's shells, tray frame, tested over bakes."""
    if lean.count == 0:
        return None
    weight = lean.present / lean.present.sum(axis=1, keepdims=True)
    return mean_direction(np.einsum("ns,nsk->nk", weight, lean.values))


def _with_lean(cells: tuple[Cell, ...], lean: Stack, region: Region) -> tuple[Cell, ...]:
    if lean.count == 0:
        return cells
    field = lean_field(lean, region)
    return tuple(replace(cell, lean_mm=field.get(cell.middle_mm)) for cell in cells)


def _flat(setting: _Setting, airflow: MeanDirection | None) -> OvenMap:
    """All shells read the same: there is nothing to compare."""
    stack = setting.stack
    kinds: tuple[Kind, ...] = ("across", "front-back", "centre-edge", "spot")
    why = "all shells of every bake read the same"
    return OvenMap(
        measure=stack.measure,
        unit=stack.unit,
        bakes=stack.count,
        shells=stack.shells,
        strength="nothing found",
        findings=tuple(Finding(kind, None, None, False, None, why) for kind in kinds),
        cells=map_cells(stack, setting.region, np.empty((0, 2))),
        region=setting.region,
        smallest_effect_80=None,
        more_bakes_to_halve=_more(stack.count),
        least_p=1.0,
        likeness=alike.NONE,
        neighbours=None,
        airflow=airflow,
        flat=True,
    )
