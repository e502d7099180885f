"""Does a pattern follow the oven, or the hand that piped? Turned bakes tell the odd parts."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as f_distribution
from scipy.stats import norm
from scipy.stats import t as t_distribution

from petitpied.domain.bake import Bake
from petitpied.patterns.oven import likeness as alike
from petitpied.patterns.oven import turns_in_time
from petitpied.patterns.oven.effects import pooled_effect
from petitpied.patterns.oven.findings import CameraSuspect, Effect, Finding, Kind
from petitpied.patterns.oven.hand_frame import in_hand_frame
from petitpied.patterns.oven.map_tests import LEAST_INFO_REL
from petitpied.patterns.oven.mirrored import Mirrored, mirrored_scores
from petitpied.patterns.oven.oven_map import FLAT_REL, map_oven
from petitpied.patterns.oven.scores import weigh
from petitpied.patterns.oven.templates import about_origin, region_of
from petitpied.patterns.oven.tray_stack import Stack, stack_bakes
from petitpied.patterns.oven.turns_in_time import Mixing, mixing
from petitpied.statistics.made_together import by_unit
from petitpied.statistics.sign_flips import (
    ALPHA,
    LEAST_UNITS,
    Family,
    Verdicts,
    compare,
    flip_test,
    signs,
    spreads,
    statistics,
)

Floats = NDArray[np.float64]

#: units each way round before the other side is ruled out
LEAST_EACH = 3
#: once one side stands out, the other side must be this sure to be blamed too: a wrong side
#: must be rarer than 1 in 100 (the project's own demand), with room for approximation
SECOND_ALPHA = 0.002
#: bakes each way round that a first plan aims at; the project's own figure is for 6 and 6
AIM_EACH = 6
#: threshold of the largest statistic for plans before there are enough bakes to know it:
#: as some ten independent places would give at 5 %, two-sided, normal
USUAL_CRITICAL = float(norm.isf(0.05 / 2 / 10))
POWER_Z = float(norm.ppf(0.8))


@dataclass(frozen=True, slots=True)
class PlanStep:
    """So many next bakes, turned or not, and what all bakes could then show (4 times of 5):
    the smallest difference between opposite sides, in the measure's unit."""

    bakes: int
    turn_deg: int
    smallest_effect_80: float | None


@dataclass(frozen=True)
class OvenOrHand:
    """``oven``, ``hand``: the strongest pattern that follows each, None where it cannot be
    told. ``even``: the strongest pattern that turning cannot attribute. ``split``: piping and
    baking were told apart by photos before the bake instead."""

    measure: str
    unit: str
    unturned: int
    turned: int
    oven: Finding | None
    hand: Finding | None
    even: Finding | None
    split: bool
    units: int
    mixed: float
    second_doubtful: bool  # the other side is below 5 % too, but not sure enough
    plan: tuple[PlanStep, ...]
    camera: CameraSuspect | None = None  # of the oven's part, where it was looked at

    @property
    def separable(self) -> bool:
        """Were there enough bakes to tell anything apart?"""
        return self.oven is not None or self.hand is not None


def tell_apart(bakes: Sequence[Bake], measure: str, rng: np.random.Generator) -> OvenOrHand:
    """Oven or hand, for one measure over the bakes of one oven and rack.

    Raises
    ------
    ValueError
        If no bake has the measure on enough shells, or the measure is unknown.
    """
    stack = stack_bakes(bakes, measure)
    if stack.count == 0:
        raise ValueError(f"no bake has {measure} on enough shells")
    before = stack_bakes(bakes, "growth")
    if measure in ("diameter", "growth", "piped_diameter") and before.units >= LEAST_UNITS:
        return _by_photos_before(bakes, stack, rng)
    return _by_turning(stack, rng)


def _by_turning(stack: Stack, rng: np.random.Generator) -> OvenOrHand:
    turned = int(stack.turned.sum())
    unturned = stack.count - turned
    region = about_origin(region_of(stack))
    weights = weigh(stack, alike.estimate(stack))
    flat = float(np.abs(stack.centred()).max()) <= FLAT_REL * float(np.abs(stack.values).max())
    told = mirrored_scores(stack, weights, region, separable=True)
    mixed = mixing(stack.turned, stack.unit)
    enough = min(units_each_way(stack)) >= LEAST_EACH and stack.units >= LEAST_UNITS
    oven = hand = even = None
    doubtful, critical = False, USUAL_CRITICAL
    if enough and mixed.enough and not flat:
        verdicts = [_test_part(told, stack, part, mixed, rng) for part in PARTS]
        oven, hand, doubtful = _decide(
            *(_strongest(told, stack, part, v) for part, v in zip(PARTS, verdicts, strict=True))
        )
        critical = verdicts[0].critical
    if stack.units >= LEAST_UNITS and not flat:
        even = _even(stack, mirrored_scores(stack, weights, region, separable=False), rng)
    noise = _noise_per_bake(told, stack)
    plan = _plan(unturned, turned, None if noise is None or flat else noise, critical)
    if enough and not mixed.enough:
        plan = _plan(0, 0, None if noise is None or flat else noise, critical)
    return OvenOrHand(
        stack.measure, stack.measure_unit, unturned, turned, oven, hand, even, False,
        stack.units, mixed.share, doubtful, plan,
    )  # fmt: skip


def units_each_way(stack: Stack) -> tuple[int, int]:
    """Units with straight bakes, and with turned ones."""
    return len(np.unique(stack.unit[~stack.turned])), len(np.unique(stack.unit[stack.turned]))


PARTS = ("oven", "hand")


def _signs_of(part: str, turned: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """(N,) signs of the part's odd effect by bake, and of the other part's."""
    same = np.ones(len(turned))
    switched = np.where(turned, -1.0, 1.0)
    return (same, switched) if part == "oven" else (switched, same)


def _weights(info: Floats, turned: NDArray[np.bool_]) -> Floats:
    """(N, T) weights so that the two ways round count alike: ``1 / (2 I)`` of the own way."""
    ways = np.where(turned[:, None], info[turned].sum(axis=0), info[~turned].sum(axis=0))
    return np.where(ways > 0, 0.5 / np.where(ways > 0, ways, 1.0), 0.0)


def _family(told: Mirrored, info: Floats) -> Family:
    spot = np.isfinite(told.place_mm[:, 0])
    dim = spot & (info < LEAST_INFO_REL * info[spot].max(initial=0.0))
    alone = np.array([kind == "lean" for kind in told.kinds])
    return Family(np.where(dim, 0.0, info), told.place_mm, alone, told.sigma_mm)


def _part_family(told: Mirrored, turned: NDArray[np.bool_]) -> Family:
    """Templates with the information of a balanced mean (or half difference) of both ways."""
    variance = (_weights(told.info, turned) ** 2 * told.info).sum(axis=0)
    return _family(told, np.where(variance > 0, 1 / np.where(variance > 0, variance, 1.0), 0.0))


def _test_part(
    told: Mirrored, stack: Stack, part: str, mixed: Mixing, rng: np.random.Generator
) -> Verdicts:
    """One part against chance, the other part's effect taken out first: signs of the residuals'
    units are flipped (Freedman & Lane 1983, recommended by Winkler et al. 2014), widened for what
    was taken out. Done for no change of the other side, and for one at each break: the worst p
    of each template counts."""
    worst: Verdicts | None = None
    for late in (None, *mixed.breaks):
        found = _beside_change(told, stack, (part, late), rng)
        if worst is None:
            worst = found
        else:
            p = np.maximum(worst.p_adjusted, found.p_adjusted)
            worst = replace(worst, p_adjusted=p)
    assert worst is not None
    return worst


def _beside_change(
    told: Mirrored, stack: Stack, which: tuple[str, int | None], rng: np.random.Generator
) -> Verdicts:
    """``which``: the part, and the unit from which on the other side may have changed."""
    part, late = which
    own, other = _signs_of(part, stack.turned)
    others = other[:, None]
    if late is not None:
        others = np.column_stack([other, other * (stack.unit >= late)])
    left, info = turns_in_time.beside(own, others, told.info)
    family = _family(told, info)
    rest = turns_in_time.residuals(told.score, told.info, others)
    terms = by_unit(stack.unit, left[..., None] * rest)
    units = len(terms)
    flips = signs(units, rng).astype(np.float32)
    scale = max(float(np.abs(terms).max(initial=0.0)), 1e-300)
    flat = (terms / scale).reshape(units, -1).astype(np.float32)
    sums = scale * (flips @ flat).reshape(len(flips), *terms.shape[1:]).astype(float)
    sums[0] = terms.sum(axis=0)
    squares = (terms**2).sum(axis=(0, 2))
    found = statistics(sums, squares, family, units)
    taken = others.shape[1]
    largest = found.max(axis=1) * np.sqrt(units / max(units - taken, 1))
    largest[0] = found[0].max()
    per_unit = family.info / spreads(sums[:1], squares, family, units)[0]
    size = sums[0] / np.where(family.info > 0, family.info, np.inf)[:, None]
    return compare(largest, found[0], (size, per_unit))


def _strongest(told: Mirrored, stack: Stack, part: str, verdicts: Verdicts) -> Finding:
    k = verdicts.strongest(_part_family(told, stack.turned))
    own, _ = _signs_of(part, stack.turned)
    effect = _balanced_effect(told.score[:, k], told.info[:, k], own, stack)
    place = told.place_mm[k]
    where = (float(place[0]), float(place[1])) if np.isfinite(place[0]) else None
    if where is not None and effect.direction_deg is None and effect.value < 0:
        # the same odd difference, told of the place that is higher
        odd = stack.measure not in ("lean_x", "lean_y")
        where = (-where[0], -where[1]) if odd else where
        effect = replace(effect, value=-effect.value) if odd else effect
    return Finding(cast(Kind, told.kinds[k]), effect, float(verdicts.p_adjusted[k]), False, where)


def _balanced_effect(score: Floats, info: Floats, own: Floats, stack: Stack) -> Effect:
    """Mean of both ways round (or half their difference), the variance from the units'
    disagreement within each way; Student's t with two degrees of freedom less than units."""
    weights = _weights(info[:, None], stack.turned)[:, 0]
    value = (own * weights) @ score
    terms = np.zeros((stack.count, score.shape[1]))
    widened = 1.0
    for way in (False, True):
        here = stack.turned == way
        n, total = len(np.unique(stack.unit[here])), float(info[here].sum())
        mean = score[here].sum(axis=0) / total
        terms[here] = (score[here] - info[here, None] * mean) * (own * weights)[here, None]
        widened = max(widened, n / (n - 1))
    squares = widened * (by_unit(stack.unit, terms) ** 2).sum(axis=0)
    freedom = stack.units - 2
    if score.shape[1] == 1:
        half = t_distribution.ppf(0.975, freedom) * np.sqrt(squares[0])
        return Effect(float(value[0]), float(half), stack.measure_unit)
    factor = 2 * freedom / (freedom - 1) * f_distribution.ppf(0.95, 2, freedom - 1)
    angle = float(np.rad2deg(np.arctan2(value[1], value[0])))
    return Effect(
        float(np.hypot(*value)), float(np.sqrt(factor * squares.mean())), stack.measure_unit, angle
    )


def _decide(oven: Finding, hand: Finding) -> tuple[Finding, Finding, bool]:
    """Which side stands out: Holm's step for two sides, and `SECOND_ALPHA` for the second."""
    ps = [cast(float, f.p_adjusted) for f in (oven, hand)]
    first = 0 if ps[0] <= ps[1] else 1
    adjusted = min(1.0, 2 * ps[first])
    other = max(ps[1 - first], adjusted)
    found = adjusted <= ALPHA
    second = found and ps[1 - first] <= SECOND_ALPHA
    marks: list[Any] = [None, None]
    both = (oven, hand)
    marks[first] = replace(both[first], p_adjusted=adjusted, stands_out=found)
    marks[1 - first] = replace(both[1 - first], p_adjusted=other, stands_out=second)
    return marks[0], marks[1], bool(found and not second and other <= ALPHA)


def _even(stack: Stack, told: Mirrored, rng: np.random.Generator) -> Finding:
    """The strongest pattern that a half turn leaves as it is."""
    family = _family(told, told.info.sum(axis=0))
    verdicts = flip_test(by_unit(stack.unit, told.score), family, rng)
    k = verdicts.strongest(family)
    score, info = by_unit(stack.unit, told.score[:, k]), by_unit(stack.unit, told.info[:, k])
    effect = pooled_effect(score, info, stack.measure_unit)
    effect = replace(effect, direction_deg=None)
    place = told.place_mm[k]
    where = (float(place[0]), float(place[1])) if np.isfinite(place[0]) else None
    p = float(verdicts.p_adjusted[k])
    return Finding(cast(Kind, told.kinds[k]), effect, p, p <= ALPHA, where)


def _by_photos_before(bakes: Sequence[Bake], stack: Stack, rng: np.random.Generator) -> OvenOrHand:
    """Piping is what the raw rounds show (hand frame), baking is the growth (oven frame): even
    parts are told apart too."""
    oven = map_oven(bakes, "growth", rng).findings[0]
    hand = map_oven(in_hand_frame(bakes), "piped_diameter", rng).findings[0]
    if oven.p_adjusted is None or hand.p_adjusted is None:
        first, second, doubtful = oven, hand, False
    else:
        first, second, doubtful = _decide(oven, hand)
    turned = int(stack.turned.sum())
    return OvenOrHand(
        stack.measure, stack.measure_unit, stack.count - turned, turned, first, second, None, True,
        stack.units, 1.0, doubtful, (),
    )  # fmt: skip


def _noise_per_bake(told: Mirrored, stack: Stack) -> float | None:
    """Standard deviation of one bake's estimate of the first slope (or lean), typical bake."""
    k = len([kind for kind in told.kinds if kind != "spot"]) - 1 if "lean" in told.kinds else 0
    info, score = told.info[:, k], told.score[:, k]
    good = info > LEAST_INFO_REL * np.median(info)
    if good.sum() < 2:
        return None
    each = score[good] / info[good, None]
    spread = np.zeros(each.shape[1])
    freedom = 0
    for way in (False, True):
        here = stack.turned[good] == way
        if here.sum() >= 2:
            spread += ((each[here] - each[here].mean(axis=0)) ** 2).sum(axis=0)
            freedom += int(here.sum()) - 1
    return float(np.sqrt(spread.mean() / freedom)) if freedom else None


def _plan(unturned: int, turned: int, noise: float | None, critical: float) -> tuple[PlanStep, ...]:
    """Even the two ways round out to `AIM_EACH`, or to twice as many once they are there."""
    aim = max(AIM_EACH, unturned, turned)
    if unturned == turned and unturned >= AIM_EACH:
        aim = 2 * unturned
    steps, now = [], {180: turned, 0: unturned}
    for way in (180, 0):
        missing = aim - now[way]
        if missing > 0:
            now[way] = aim
            steps.append((missing, way))
    if not np.isfinite(critical):
        critical = USUAL_CRITICAL
    smallest = None
    if noise is not None:
        smallest = (critical + POWER_Z) * noise / 2 * float(np.sqrt(1 / now[0] + 1 / now[180]))
    return tuple(PlanStep(count, way, smallest) for count, way in steps)
