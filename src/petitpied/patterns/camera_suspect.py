"""Is it the camera? What is fixed to the photo looks like the oven while photos come from one side.

Two ways clear the camera: a pattern larger than the view's own uncertainty could fake, where the
lens was measured (one that was not may be worse than is usual); or photos from several sides of the
tray, over which what is fixed to the photo turns and the oven does not.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as t_distribution

from petitpied.domain.bake import Bake
from petitpied.patterns.oven.findings import CameraSuspect, Finding
from petitpied.patterns.oven.map_tests import lean_scores, setting_of
from petitpied.patterns.oven.scores import column_scores
from petitpied.patterns.oven.templates import Spots, region_of
from petitpied.patterns.oven.tray_stack import LEAN, Stack, stack_bakes, usable
from petitpied.statistics.made_together import Units

Floats = NDArray[np.float64]

#: measures that are lengths in the photo over its scale: the view's doubt bounds what it can fake
SIZES = ("diameter", "cap_diameter", "piped_diameter")
#: of an angle between photos, from which they count as from another side
OTHER_SIDE_DEG = 90.0
#: two-sided 95 % of a normal
Z = 1.96
#: a direction is told apart from the oven where this part of its variety is left; numerical
LEAST_LEFT = 1e-6


def suspect(bakes: Sequence[Bake], measure: str, finding: Finding) -> CameraSuspect:
    """Of a pattern in the tray frame that stands out in an oven's map, or on the oven's side."""
    having = usable(bakes, measure)
    stack = stack_bakes(bakes, measure)
    away = _away(having)
    sides = None if away is None else _sides(away, stack.unit)
    could = _could_fake(having, stack, finding) if measure in SIZES else None
    effect = finding.effect
    if effect is None or effect.u95 is None:
        return CameraSuspect(False, "", could, sides)
    measured = all(b.camera is not None and b.camera.profiled for b in having)
    if measured and could is not None and abs(effect.value) - effect.u95 > could:
        return CameraSuspect(True, "size", could, sides)
    if away is not None and finding.kind != "centre-edge" and _stays(stack, finding, away):
        return CameraSuspect(True, "sides", could, sides)
    return CameraSuspect(False, "", could, sides)


def _away(bakes: Sequence[Bake]) -> Floats | None:
    """Direction (N, 2) that is up in each bake's photo, tray frame; shorter where photos of one
    tray came from several sides. None where one is not known."""
    cameras = [b.camera for b in bakes]
    known = [c for c in cameras if c is not None]
    if len(known) < len(cameras) or not known:
        return None
    angle = np.deg2rad([c.azimuth_deg for c in known])
    steady = np.array([c.steady for c in known])
    return np.asarray(steady[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))


def _sides(away: Floats, unit: Units) -> tuple[int, int]:
    """Units from the side that most photos are from, and from others."""
    mean = away.sum(axis=0)
    first = away[int(np.argmax(away @ mean))]
    other = away @ first <= np.cos(np.deg2rad(OTHER_SIDE_DEG)) * np.linalg.norm(first) + 1e-9
    return len(np.unique(unit[~other])), len(np.unique(unit[other]))


def _could_fake(bakes: Sequence[Bake], stack: Stack, finding: Finding) -> float | None:
    """What slope or edge the view's own uncertainty makes of shells that are all alike, 95 %: a
    lens is the same in all photos, so many do not make it smaller."""
    doubts = [b.camera for b in bakes if b.camera is not None]
    if not doubts:
        return None
    size = float(stack.values[stack.present].mean())
    across, front, edge = np.median(
        [(d.across_rel, d.front_rel, d.edge_rel) for d in doubts], axis=0
    )
    rel = {"across": across, "front-back": front, "centre-edge": edge}.get(
        finding.kind, float(np.hypot(np.hypot(across, front) / 2, edge))
    )
    return float(Z * rel * size) if rel > 0 else None


def _each(stack: Stack, finding: Finding) -> tuple[Floats, Floats]:
    """A pattern's size in each bake (N,), along its direction, and its information (N,)."""
    region = region_of(stack)
    setting = setting_of(stack, region)
    if finding.kind == "lean" and stack.measure == LEAN:
        score, info = lean_scores(setting)
    elif finding.kind == "lean":  # one component of it
        ones = stack.present[..., None].astype(float)
        score, matrix = column_scores(stack, setting.weights, ones, centred=False)
        info = matrix[:, 0, 0]
    else:
        if finding.kind == "spot" and finding.place_mm is not None:
            x, y = finding.place_mm
            spot = Spots(np.array([x]), np.array([y]), setting.spots.sigma_mm)
            column = spot.columns(stack.x_mm, stack.y_mm, stack.present)
        else:
            k = ("across", "front-back", "centre-edge").index(finding.kind)
            column = setting.named[..., k : k + 1]
        score, matrix = column_scores(stack, setting.weights, column)
        info = matrix[:, 0, 0]
    along = np.ones(1)
    if score.shape[-1] == 2:
        angle = np.deg2rad((finding.effect and finding.effect.direction_deg) or 0.0)
        along = np.array([np.cos(angle), np.sin(angle)])
    return np.asarray(score[:, 0] @ along), info


def _stays(stack: Stack, finding: Finding, away: Floats) -> bool:
    """Does the pattern stay when what turns with the photo (and, where bakes were turned, with the
    tray) is taken out? The interval of what stays, units as clusters, must not hold zero."""
    score, info = _each(stack, finding)
    columns = [np.ones(stack.count), *away.T]
    if stack.turned.any() and not stack.turned.all():
        columns.append(np.where(stack.turned, -1.0, 1.0))
    design = np.column_stack(columns)
    others = design[:, 1:]
    good = info > 0
    weight = np.sqrt(np.where(good, info, 0.0))[:, None]
    shares = np.linalg.lstsq(weight * others, weight[:, 0])[0]
    left = 1 - others @ shares
    kept = float((info * left**2).sum())
    rank = int(np.linalg.matrix_rank(weight * design))
    freedom = stack.units - rank
    if kept <= LEAST_LEFT * float(info.sum()) or freedom < 2:
        return False
    value = float(left @ score) / kept
    each = np.where(good, score / np.where(good, info, 1.0), 0.0)
    rest = each - design @ np.linalg.lstsq(weight * design, weight[:, 0] * each)[0]
    terms = left * info * rest
    sums = np.bincount(np.unique(stack.unit, return_inverse=True)[1], terms)
    error = np.sqrt((sums**2).sum() * stack.units / freedom) / kept
    half = float(t_distribution.ppf(0.975, freedom)) * error
    known = finding.effect.value if finding.effect is not None else 0.0
    same = stack.measure == LEAN or value * known > 0
    return bool(same and abs(value) > half)
