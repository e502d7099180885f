"""Dimples and peaks: relief that stands out from the dome, by its shading under the known light.

A dimple is dark towards the light and bright beyond it, a bump the other way round, a speck is
dark all round, and a swirl's seam has no such pair. What is left of each cap's brightness beside
the common dome is compared, place by place, with what a dimple of each size would show: the slope
of its profile along the light (Lambert's law for small slopes), and the shade on all its walls.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.quantity import Quantity
from petitpied.surface.domes import REACH, SIDE, Maps, Shading, X, Y
from petitpied.surface.light_direction import (
    SLOPE_U_REL,
    LightDirection,
    brightness_of_slope,
)

Floats = NDArray[np.float64]

#: diameters looked for, mm; a dimple below 6 mm is taken for a bubble's mark
DIAMETERS_MM = (6.2, 7.6, 9.4)
#: profile of a dimple: depth exp(-(r / (STEEP * radius))^4), flat within, steep at the wall
STEEP = 0.72
#: depth at which the walls' brightness is looked up (it is not quite even in slope)
TYPICAL_MM = 1.3
#: looked at round the middle of a mark, relative to its diameter
WINDOW_REL = 0.62
#: the wall of a mark lies within this part of the cap; nearer to the rim the dome itself is steep
WITHIN_REL = 0.85
#: share of a window that must be seen (not masked by a crack, a seam, the rim)
SEEN_REL = 0.45
#: depth from which a mark counts, mm: dimples of 1 mm, read with 20 % uncertainty
LEAST_DEPTH_MM = 0.75
#: share of the window's brightness that a dimple of this kind must explain, by its slope along the
#: light, and with the shade of its walls. The true ones of the tuning scenes have 0.80 to 0.94,
#: cracks and lumps up to 0.75
LEAST_ALONG, LEAST_EXPLAINED = 0.70, 0.78
#: and how far it must stand out: root mean square of what it explains against the cap's own
#: unevenness (robust spread), for on a lumpy cap each lump looks like a dimple; and in itself
#: (logarithm of brightness). True ones of the tuning scenes have 2.6 and more, lumps up to 2.2
LEAST_STANDOUT, LEAST_SWING = 2.1, 0.06
#: a cap with more is lumpy
MOST_MARKS = 4
#: a mark whose tint is odd in a few of its cells only is a sprinkle or a bead: kurtosis of tint,
#: where it is odd at all (logarithm, its 98th percentile). Of 87 true marks on 86 traced trays 98 %
#: had less, of 26 false ones, most on decorated shells, three in four had more
MOST_SPOTTED, ODD_TINT = 4.7, 0.1
#: profile of a peak as a nozzle leaves it: a needle on a cone, shares and radii in mm
PEAK_PARTS = ((0.6, 0.9), (0.4, 2.6))
PEAK_WINDOW_MM = 3.6
#: a peak stands within this of the cap's middle, mm
PEAK_WITHIN_MM = 4.0
LEAST_PEAK_MM, LEAST_PEAK_EXPLAINED = 0.6, 0.6
#: its contrast (height times the light's gain), in itself and against the cap's unevenness
LEAST_PEAK_CONTRAST, PEAK_OVER_SPREAD = 0.3, 10.0
#: where a mark's middle lies: a fifth of its diameter's walls, common practice
DIAMETER_U_REL = 0.12
#: a crack longer than this many diameters of a mark is not the mark's own wall: on 82 traced trays
#: four of five false dimples on cracked shells go, and no true one, down to 0.4
CRACK_REL = 0.5


@dataclass(frozen=True)
class Relief:
    """One mark: its cap, its middle (2,) in parts of the cap's radius, diameter, a dimple's depth
    or a peak's height, the share of brightness that it ``explained``, and how sure."""

    cap: int
    place: Floats
    diameter_mm: Quantity
    depth_mm: Quantity
    explained: float
    confidence: float


@dataclass(frozen=True)
class _Answer:
    """How each place answers to one template: depth by its shading, strength of the walls' shade
    beside that, the shares of brightness explained, the energy that they are shares of, and the
    cells seen; all (S, SIDE, SIDE)."""

    along: Maps
    shade: Maps
    by_along: Maps
    by_shade: Maps
    by_across: Maps
    by_risen: Maps
    energy: Maps
    seen: Maps

    @property
    def explained(self) -> Maps:
        """By slope along the light and shade on the walls, less what points across the light."""
        return np.asarray(
            self.by_along * (self.along > 0) + self.by_shade * (self.shade > 0) - self.by_across
        )


@dataclass(frozen=True)
class _Template:
    """Kernels for a depth of one millimetre: shading, the same turned across the light, shade on
    all walls, shading of the same form risen; and the window that they are seen in."""

    along: Maps
    across: Maps
    shade: Maps
    risen: Maps
    window: Maps


def _template(
    slope_of: Any, window_mm: float, shading: Shading, light: LightDirection, mm_per_cell: float
) -> _Template:
    """What a depression of `TYPICAL_MM` shows, a millimetre of it; ``slope_of`` gives its wall's
    slope (rising outward) at distances from its middle, mm, for a depth of a millimetre."""
    reach = int(np.ceil(window_mm / mm_per_cell))
    axis = np.arange(-reach, reach + 1) * mm_per_cell
    x, y = np.meshgrid(axis, axis)
    r = np.hypot(x, y)
    rise = slope_of(r)
    unit = np.maximum(r, 1e-6)
    # a wall that rises away from the middle leans towards the middle
    lean = [-TYPICAL_MM * rise * axis / unit for axis in (x, y)]
    facing = brightness_of_slope(shading, *lean) / TYPICAL_MM
    risen = brightness_of_slope(shading, *(-part for part in lean)) / TYPICAL_MM
    turned = -light.gain * rise * (y * light.toward[0] - x * light.toward[1]) / unit
    window = (r <= window_mm).astype(np.float32)
    parts = []
    for part in (facing, turned, -np.abs(rise), risen):
        soft = cv2.GaussianBlur(part, (0, 0), 0.9)
        parts.append(np.asarray((soft - (soft * window).sum() / window.sum()) * window, np.float32))
    return _Template(parts[0], parts[1], parts[2], parts[3], window)


def _dimple_slope(diameter_mm: float) -> Any:
    scale = STEEP * diameter_mm / 2
    return lambda r: 4 * (r / scale) ** 3 / scale * np.exp(-((r / scale) ** 4))


def _peak_slope(r: Floats) -> Floats:
    """A peak falls outward."""
    return sum((-2 * part * r / w**2 * np.exp(-((r / w) ** 2)) for part, w in PEAK_PARTS), 0 * r)


def _filtered(maps: Maps, kernel: Maps) -> Maps:
    """Correlation of every map (S, M, M) with a kernel.

    All in one column: beyond the used part of each cap all is 0, so that no mark's window reaches
    into the next one.
    """
    column = np.ascontiguousarray(maps).reshape(-1, maps.shape[2])
    out = cv2.filter2D(column, cv2.CV_32F, kernel, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(out, np.float32).reshape(maps.shape)


def _answers(
    rest: Maps, weight: Maps, masked: bool, template: _Template, within: NDArray[np.bool_]
) -> _Answer:
    """``masked``: by a swirl's seams, each cap by its own; else all caps are seen alike."""
    seen = np.maximum(_filtered(weight if masked else weight[:1], template.window), 1e-3)
    level = _filtered(rest, template.window) / seen
    energy: Any = _filtered(rest * rest, template.window) - seen * level * level
    energy = np.maximum(energy, 1e-6)
    part: Any = seen / template.window.sum()

    def answer(kernel: Maps) -> tuple[Maps, Maps]:
        """Least squares on what is seen: kernel and level together."""
        match: Any = _filtered(rest, kernel)
        size: Any
        if masked:
            mean = _filtered(weight, kernel) / seen
            size = _filtered(weight, kernel * kernel) - seen * mean * mean
            match = match - level * seen * mean
        else:
            size = part * float((kernel * kernel).sum())
        size = np.maximum(size, 0.2 * float((kernel * kernel).sum()))
        return match / size, np.minimum(match * match / size / energy, 1)

    along, by_along = answer(template.along)
    _, by_across = answer(template.across)
    shade, by_shade = answer(template.shade)
    risen, by_risen = answer(template.risen)
    valid = within & (part >= SEEN_REL)
    return _Answer(
        along * valid,
        shade * valid,
        by_along,
        by_shade,
        by_across,
        by_risen * (risen > 0),
        energy,
        seen,
    )


def find_dimples(
    shading: Shading, light: LightDirection, radius_mm: Floats, mm_per_cell: float
) -> tuple[Relief, ...]:
    """Dimples of all caps, deepest first within a cap; none where the light shows no relief."""
    if not light.shows_relief:
        return ()
    rest = shading.rest * shading.weight
    best: Any = None
    bumps = np.zeros_like(rest)
    for number, diameter in enumerate(DIAMETERS_MM):
        template = _template(
            _dimple_slope(diameter), WINDOW_REL * diameter, shading, light, mm_per_cell
        )
        within = REACH + 0.5 * STEEP * diameter / float(np.median(radius_mm)) < WITHIN_REL
        answer = _answers(rest, shading.weight, shading.swirled, template, within)
        explained = answer.explained
        depth = np.maximum(answer.along, 0)
        score = np.maximum(explained, 0) * answer.energy * (depth > 0)
        swing = np.sqrt(score / np.maximum(answer.seen, 1))
        layers = np.stack(
            [score, depth, answer.by_along, explained, swing, np.full_like(score, number)]
        )
        bumps = np.maximum(bumps, answer.by_risen * answer.energy)
        best = layers if best is None else np.where(layers[:1] > best[:1], layers, best)
    found: list[Relief] = []
    for cap in range(len(rest)):
        least = max(LEAST_SWING, LEAST_STANDOUT * _spread(shading, cap))
        layers = np.concatenate([best[:, cap], bumps[cap][None]])
        marks = _marks(cap, layers, float(radius_mm[cap]), least)[:MOST_MARKS]
        found += [m for m in marks if shading.swirled or not _is_spotted(m, shading, radius_mm)]
    return tuple(found)


def _is_spotted(mark: Relief, shading: Shading, radius_mm: Floats) -> bool:
    """Is it a small thing of another colour that looks like relief?"""
    away = np.hypot(X - mark.place[0], Y - mark.place[1]) * radius_mm[mark.cap]
    tint = shading.tint[mark.cap][away < mark.diameter_mm.value / 2].astype(float)
    if float(np.quantile(tint, 0.98)) < ODD_TINT:
        return False
    return bool((tint**4).mean() > MOST_SPOTTED * (tint**2).mean() ** 2)


def _spread(shading: Shading, cap: int) -> float:
    """Robust spread of what a cap has beside the common dome."""
    seen = shading.rest[cap][shading.weight[cap] > 0.5]
    return 1.4826 * float(np.median(np.abs(seen))) if len(seen) else np.inf


def _marks(cap: int, layers: Maps, radius_mm: float, least_swing: float) -> list[Relief]:
    """Marks of one cap, those that explain most first; each hides its surroundings.

    A bump's shaded side looks like half a dimple: where a bump explains more, there is no dimple.
    """
    scores, depths, alongs, explaineds, swings, numbers, bumps = layers
    good = (
        (depths >= LEAST_DEPTH_MM)
        & (swings >= least_swing)
        & (alongs >= LEAST_ALONG)
        & (explaineds >= LEAST_EXPLAINED)
    )
    score = scores * good
    marks: list[Relief] = []
    while float(score.max()) > 0:
        row, column = np.unravel_index(int(score.argmax()), score.shape)
        diameter = DIAMETERS_MM[int(numbers[row, column])]
        place = np.array([X[row, column], Y[row, column]], float)
        seen = (float(depths[row, column]), float(explaineds[row, column]), diameter)
        near = np.hypot(X - place[0], Y - place[1]) * radius_mm < 0.75 * diameter
        if float(bumps[near].max()) <= scores[row, column]:
            marks.append(_dimple(cap, place, seen))
        score[near] = 0
    return marks


def _dimple(cap: int, place: Floats, seen: tuple[float, float, float]) -> Relief:
    depth, explained, diameter = seen
    clear = min(1.0, (explained - LEAST_EXPLAINED) / 0.12)
    sure = 0.5 + 0.49 * clear * min(1.0, 0.3 + (depth - LEAST_DEPTH_MM) / 0.5)
    return Relief(
        cap,
        place,
        Quantity(diameter, DIAMETER_U_REL * diameter),
        Quantity(depth, 0.1 * depth, SLOPE_U_REL * depth),
        explained,
        round(float(sure), 2),
    )


def find_peaks(
    shading: Shading, light: LightDirection, radius_mm: Floats, mm_per_cell: float
) -> tuple[Relief, ...]:
    """At most one peak a cap, near its middle."""
    if not light.shows_relief:
        return ()
    template = _template(_peak_slope, PEAK_WINDOW_MM, shading, light, mm_per_cell)
    # only the middle of each cap, and as far as a window there reaches
    half = min(SIDE // 2, int(np.ceil((PEAK_WITHIN_MM + PEAK_WINDOW_MM) / mm_per_cell)) + 2)
    inner = np.s_[SIDE // 2 - half : SIDE // 2 + half]
    weight = np.ascontiguousarray(shading.weight[:, inner, inner])
    rest = shading.rest[:, inner, inner] * weight
    reach, across, along = REACH[inner, inner], X[inner, inner], Y[inner, inner]
    answer = _answers(rest, weight, shading.swirled, template, reach < 0.6)
    tall, explained = np.maximum(answer.along, 0), answer.by_along - answer.by_across
    found: list[Relief] = []
    for cap, radius in enumerate(radius_mm):
        near = reach * radius < PEAK_WITHIN_MM
        score = tall[cap] * np.maximum(explained[cap], 0) * near
        row, column = np.unravel_index(int(score.argmax()), score.shape)
        height = float(tall[cap, row, column])
        share = float(explained[cap, row, column])
        least = max(LEAST_PEAK_CONTRAST, PEAK_OVER_SPREAD * _spread(shading, cap))
        strong = height * light.gain >= least and height >= LEAST_PEAK_MM
        if strong and share >= LEAST_PEAK_EXPLAINED:
            sure = float(np.clip(share * min(1.0, height / 0.8), 0.3, 0.99))
            place = np.array([across[row, column], along[row, column]], float)
            wide = 2 * PEAK_PARTS[1][1]
            mark = Relief(
                cap,
                place,
                Quantity(wide, 0.3 * wide),
                Quantity(height, 0.3 * height, SLOPE_U_REL * height),
                share,
                round(sure, 2),
            )
            if shading.swirled or not _is_spotted(mark, shading, radius_mm):
                found.append(mark)
    return tuple(found)


def without_cracked(
    marks: Sequence[Relief],
    cracks: Sequence[Sequence[Floats]],
    radius_mm: Floats,
    longest_rel: float = CRACK_REL,
) -> tuple[Relief, ...]:
    """The marks that are no crack's own relief.

    ``cracks``: for each cap, centre lines (N, 2) in parts of its radius. A crack of more than
    ``longest_rel`` times a mark's diameter that passes through the mark has raised lips and a
    shaded wall of its own; a short one within it may be the dimple's wall.
    """
    return tuple(
        mark
        for mark in marks
        if not any(
            _runs_through(mark, path, radius_mm[mark.cap], longest_rel) for path in cracks[mark.cap]
        )
    )


def _runs_through(mark: Relief, path: Floats, radius_mm: float, longest_rel: float) -> bool:
    if len(path) < 2:
        return False
    away = np.hypot(*(path - mark.place).T) * radius_mm
    length = float(np.hypot(*np.diff(path, axis=0).T).sum()) * radius_mm
    diameter = mark.diameter_mm.value
    return bool(away.min() < 0.6 * diameter and length > longest_rel * diameter)


def told_apart(
    dimples: Sequence[Relief], peaks: Sequence[Relief], radius_mm: Floats
) -> tuple[tuple[Relief, ...], tuple[Relief, ...]]:
    """Dimples and peaks; of those that lie on each other, what explains more stays."""

    def stays(mark: Relief, others: Sequence[Relief], part: float) -> bool:
        return not any(
            other.cap == mark.cap
            and other.explained > mark.explained
            and np.hypot(*(other.place - mark.place)) * radius_mm[mark.cap]
            < part * (mark.diameter_mm.value + other.diameter_mm.value)
            for other in others
        )

    return (
        tuple(d for d in dimples if stays(d, peaks, 0.5)),
        tuple(p for p in peaks if stays(p, dimples, 0.5)),
    )
