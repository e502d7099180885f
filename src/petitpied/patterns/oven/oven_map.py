"""An oven's map of one measure: from bakes to patterns that stand out, or do not."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from petitpied.domain.bake import Bake
from petitpied.patterns.oven import likeness as alike
from petitpied.patterns.oven.effects import one_unit_effect, pooled_effect, spot_effect
from petitpied.patterns.oven.findings import Cell, Effect, Finding, Kind, OvenMap, Strength
from petitpied.patterns.oven.local_map import lean_field, map_cells
from petitpied.patterns.oven.map_tests import (
    Setting,
    Tested,
    few_units,
    lean_scores,
    many_units,
    setting_of,
)
from petitpied.patterns.oven.neighbours import mean_morans_i
from petitpied.patterns.oven.scores import column_scores
from petitpied.patterns.oven.templates import (
    NAMED,
    Region,
    Spots,
    region_of,
)
from petitpied.patterns.oven.tray_stack import LEAN, LIT, Stack, stack_bakes
from petitpied.statistics.directions import MeanDirection, mean_direction
from petitpied.statistics.made_together import by_unit, means_by_unit
from petitpied.statistics.sign_flips import (
    ALPHA,
    LEAST_UNITS,
    Family,
    Verdicts,
)

Floats = NDArray[np.float64]

#: power of the "smallest effect": 4 of 5, the common choice
POWER_Z = float(norm.ppf(0.8))
#: spread below this part of the values' size is rounding
FLAT_REL = 1e-9


def map_oven(bakes: Sequence[Bake], measure: str, rng: np.random.Generator) -> OvenMap:
    """Map of one measure over the bakes of one oven and rack, tray frame.

    At least `LEAST_UNITS` units (what was made together is one): sign flips of whole units,
    "shows". Fewer: shuffles within trays, "suggests". ``measure``: a key of
    `petitpied.patterns.oven.tray_stack.MAPPED`.

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
    setting = setting_of(stack, region)
    centred = stack.centred()
    if float(np.abs(centred).max()) <= FLAT_REL * max(float(np.abs(stack.values).max()), 1e-300):
        return _flat(setting, airflow)
    few = stack.units < LEAST_UNITS
    lit = few and measure in LIT
    if lit:
        setting = setting_of(stack.levelled(), region)
    tested = few_units(setting, rng) if few else many_units(setting, rng)
    findings = _findings(setting, tested)
    if lit:
        findings = tuple(f if f.kind not in NAMED else _by_light(f.kind) for f in findings)
    strength: Strength = "nothing found"
    if any(f.stands_out for f in findings):
        strength = "suggests" if few else "shows"
    marked = tested.spot_family.place_mm[tested.spots.p_adjusted <= ALPHA]
    return OvenMap(
        measure=measure,
        unit=stack.measure_unit,
        bakes=stack.count,
        units=stack.units,
        shells=stack.shells,
        strength=strength,
        findings=findings,
        cells=_with_lean(map_cells(stack, region, marked), lean, region),
        region=region,
        smallest_effect_80=_smallest(setting, tested.family, tested.verdicts),
        more_units_to_halve=_more(stack.units),
        least_p=tested.verdicts.least_p,
        likeness=setting.likeness,
        neighbours=mean_morans_i(stack),
        airflow=airflow,
        flat=False,
    )


def _findings(setting: Setting, tested: Tested) -> tuple[Finding, ...]:
    """Patterns, those that stand out first, by p and then by what they explain."""
    family, verdicts = tested.family, tested.verdicts
    named = int(np.isnan(family.place_mm[:, 0]).sum())
    found = [_named(setting, family, verdicts, k) for k in range(named)]
    if setting.stack.measure == LEAN and named == len(NAMED):
        found.append(_few_leans(setting))
    best = named + int(np.argmax(verdicts.statistic[named:]))
    found.append(_spot(setting, tested))
    worth = verdicts.worth(family)
    size = [*worth[:named], worth[best]]
    if len(size) < len(found):
        size.insert(named, -np.inf)

    def rank(k: int) -> tuple[bool, float, float]:
        p = found[k].p_adjusted
        return not found[k].stands_out, 1.0 if p is None else p, -size[k]

    return tuple(found[k] for k in sorted(range(len(found)), key=rank))


def _named(setting: Setting, family: Family, verdicts: Verdicts, k: int) -> Finding:
    kind: Kind = (*NAMED, "lean")[k]  # type: ignore[assignment]
    if family.info[k] <= 0:
        why = "the shells' places do not show it: they lie on one line, or too few"
        return Finding(kind, None, None, False, None, why)
    if k == len(NAMED):
        score, info = _by_units(setting.stack, *lean_scores(setting))
        effect = pooled_effect(score[:, 0], info, setting.stack.measure_unit, verdicts.inflation)
    else:
        effect = _effect(setting, setting.named[..., k], verdicts.inflation)
    return _held(Finding(kind, effect, float(verdicts.p_adjusted[k]), False), verdicts, k)


def _held(found: Finding, verdicts: Verdicts, k: int) -> Finding:
    """A pattern stands out if its p says so and its interval does not hold zero: its own, or the
    one that belongs to the test (threshold of the largest statistic, for all patterns at once)."""
    effect, p = found.effect, found.p_adjusted
    if effect is None or p is None or p > ALPHA:
        return found
    if effect.u95 is None or effect.u95 < abs(effect.value):
        return replace(found, stands_out=True)
    of_test = verdicts.critical / verdicts.per_unit[k] if verdicts.per_unit[k] > 0 else np.inf
    size = float(np.linalg.norm(verdicts.size[k])) * (
        np.sign(verdicts.size[k, 0]) if verdicts.size.shape[1] == 1 else 1.0
    )
    if verdicts.least_p <= ALPHA and of_test < abs(size):
        return replace(
            found, stands_out=True, effect=replace(effect, value=size, u95=float(of_test))
        )
    return replace(found, why="its interval holds zero")


def _by_light(kind: Kind) -> Finding:
    """A slope or an edge of browning in few photos: nulls of rendered trays by a window, one
    photo each, gave a slope 4 times in 48, and a spot at the brighter end 11 times; three photos
    each a brown edge 31 times in 200; less a plane and a bowl, none of these, a spot 11 times."""
    why = (
        "the light that falls over the tray makes such a pattern too: this takes at least "
        f"{LEAST_UNITS} bakes, photographed from different sides"
    )
    return Finding(kind, None, None, False, None, why)


def _spot(setting: Setting, tested: Tested) -> Finding:
    family, verdicts = tested.spot_family, tested.spots
    k = int(np.argmax(verdicts.statistic))
    if family.info[k] <= 0:
        why = "too few shells to look for a spot"
        if tested.stepped:
            why = "the other patterns explain it"
        return Finding("spot", None, None, False, None, why)
    x, y = family.place_mm[k]
    p = float(verdicts.p_adjusted[k])
    place = (float(x), float(y))
    stack = setting.stack
    if stack.units >= 2:
        known = (family.info > 0) & (verdicts.per_unit > 0)
        size, error = verdicts.size[known], 1 / verdicts.per_unit[known]
        effect = spot_effect(size, error, stack.units, stack.measure_unit)
    else:
        spot = Spots(np.array([x]), np.array([y]), setting.spots.sigma_mm)
        column = spot.columns(stack.x_mm, stack.y_mm, stack.present)[..., 0]
        effect = _effect(setting, column, 1.0)
    found = _held(Finding("spot", effect, p, False, place), verdicts, k)
    if tested.stepped and not found.stands_out:
        return replace(found, why="it adds nothing to the slopes and the edge")
    return found


def _few_leans(setting: Setting) -> Finding:
    stack = setting.stack
    score, info = _by_units(stack, *lean_scores(setting))
    if stack.units >= 2:
        effect = pooled_effect(score[:, 0], info, stack.measure_unit)
    else:
        effect = one_unit_effect(score[:, 0], info, (0.0, 0), stack.measure_unit)
    why = f"trays made together lean together, so this takes at least {LEAST_UNITS} days or batters"
    return Finding("lean", effect, None, False, None, why)


def _by_units(stack: Stack, score: Floats, info: Floats) -> tuple[Floats, Floats]:
    return by_unit(stack.unit, score), by_unit(stack.unit, info)


def _effect(setting: Setting, column: Floats, inflation: float) -> Effect:
    """Pooled effect of one template (N, S)."""
    stack = setting.stack
    score, infos = column_scores(stack, setting.weights, column[..., None])
    score, info = _by_units(stack, score, infos[:, 0, 0])
    if stack.units >= 2:
        return pooled_effect(score[:, 0], info, stack.measure_unit, inflation)
    # trays made together share what chance did: they count as one
    left = _left_over(setting, column)
    return one_unit_effect(score[:, 0] / stack.count, info / stack.count, left, stack.measure_unit)


def _left_over(setting: Setting, column: Floats) -> tuple[float, int]:
    """Weighted squares that the named patterns and ``column`` leave in a unit's trays, and
    degrees of freedom."""
    stack = setting.stack
    shells = np.eye(stack.present.shape[1])[None]
    projectors = column_scores(stack, setting.weights, shells)[1]  # P
    design = np.concatenate([setting.named, column[..., None]], axis=-1)
    inner = design.transpose(0, 2, 1) @ projectors
    values = stack.centred()
    matrix = (inner @ design).sum(axis=0)
    fitted = design @ np.linalg.lstsq(matrix, (inner @ values).sum(axis=0))[0]
    rest = values - fitted
    rank = int(np.linalg.matrix_rank(matrix))
    squares = float(np.einsum("nsk,nst,ntk->", rest, projectors, rest))
    return squares, int(stack.present.sum()) - stack.count - rank


def _smallest(setting: Setting, family: Family, verdicts: Verdicts) -> float | None:
    """Spot that 4 of 5 such histories would find, at a middling place; one tray: None, its
    test has no fixed threshold."""
    known = np.isfinite(family.place_mm[:, 0]) & (family.info > 0)
    if setting.stack.units < 2 or not np.isfinite(verdicts.critical) or not known.any():
        return None
    per_unit = verdicts.per_unit[known]
    return float((verdicts.critical + POWER_Z) / np.median(per_unit))


def _more(count: int) -> int:
    """Units that halve the smallest effect: errors fall with the root of their number; at
    least as many as make sign flips possible."""
    return max(3 * count, LEAST_UNITS - count)


def _airflow(lean: Stack) -> MeanDirection | None:
    """Mean lean of each bake's shells, tray frame, tested over bakes."""
    if lean.count == 0:
        return None
    weight = lean.present / lean.present.sum(axis=1, keepdims=True)
    each = np.einsum("ns,nsk->nk", weight, lean.values)
    return mean_direction(np.column_stack([means_by_unit(lean.unit, v) for v in each.T]))


def _with_lean(cells: tuple[Cell, ...], lean: Stack, region: Region) -> tuple[Cell, ...]:
    if lean.count == 0:
        return cells
    field = lean_field(lean, region)
    return tuple(replace(cell, lean_mm=field.get(cell.middle_mm)) for cell in cells)


def _flat(setting: Setting, airflow: MeanDirection | None) -> OvenMap:
    """All shells read the same: there is nothing to compare."""
    stack = setting.stack
    kinds: tuple[Kind, ...] = ("across", "front-back", "centre-edge", "spot")
    why = "all shells of every bake read the same"
    return OvenMap(
        measure=stack.measure,
        unit=stack.measure_unit,
        bakes=stack.count,
        units=stack.units,
        shells=stack.shells,
        strength="nothing found",
        findings=tuple(Finding(kind, None, None, False, None, why) for kind in kinds),
        cells=map_cells(stack, setting.region, np.empty((0, 2))),
        region=setting.region,
        smallest_effect_80=None,
        more_units_to_halve=_more(stack.units),
        least_p=1.0,
        likeness=alike.NONE,
        neighbours=None,
        airflow=airflow,
        flat=True,
    )
