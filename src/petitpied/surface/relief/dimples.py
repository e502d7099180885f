"""Dimples and peaks: relief that stands out from the dome, by its shading under the known light.

A small network looks at all caps under the tray's light (`relief_network`); how high a peak is, its
shading tells (`peak_height`). Of a dimple and a peak in one place, the clearer one stays; what is a
long crack's own wall goes.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.quantity import Quantity
from petitpied.surface.caps.domes import SIDE, Maps, Shading, X, Y
from petitpied.surface.caps.light_direction import SLOPE_U_REL, LightDirection
from petitpied.surface.relief.peak_height import PEAK_WIDE_MM, PeakShade, peak_height_mm, peak_shade
from petitpied.surface.relief.relief_network import CELL_X, CELL_Y, CELLS, ReliefMaps, relief_maps

Floats = NDArray[np.float64]

#: score (logarithm of odds) from which a place is a dimple, a peak; chosen on 72 traced trays that
#: the network did not learn from, where F1 is greatest and hardly changes
DIMPLE_SCORE, PEAK_SCORE = 3.0, 2.3
#: chance that a mark with a score is one: logistic of slope times score plus this, on those trays
DIMPLE_CHANCE, PEAK_CHANCE = (0.80, -2.57), (0.95, -2.52)
#: a cap with more is lumpy (common practice, no source)
MOST_MARKS = 4
#: two dimples of one cap lie at least this far apart, mm, and parts of the clearer one's diameter:
#: their walls would be one (common practice, no source)
APART_MM, APART_REL = 5.0, 0.75
#: standard uncertainties of a dimple's depth and diameter: root mean square errors on drawn trays
#: with dimples of every wall that the network did not learn from (86 dimples; 0.25 and 0.83 mm on
#: the traced ones)
DEPTH_U_MM, DIAMETER_U_MM = 0.3, 0.9
#: smallest depth and height that is told, mm: a shallower one is lost in the cap's grain
LEAST_DEPTH_MM = 0.3
#: a peak's form is taken for the usual one: its width, and its height (0.25 mm of 0.9 to 1.4, root
#: mean square, on those 72 trays)
PEAK_WIDTH_U_REL, PEAK_HEIGHT_U_REL = 0.3, 0.3
#: a crack longer than this many diameters of a mark is not the mark's own wall: on those 72 trays
#: the one false dimple of a cracked shell goes, and no true one
CRACK_REL = 0.5


@dataclass(frozen=True)
class Relief:
    """One mark: its cap, its middle (2,) in parts of the cap's radius, diameter, a dimple's depth
    or a peak's height, how far its score is above what is told, and how sure."""

    cap: int
    place: Floats
    diameter_mm: Quantity
    depth_mm: Quantity
    clear: float
    confidence: float


def find_relief(
    shading: Shading, light: LightDirection, radius_mm: Floats, mm_per_cell: float
) -> tuple[tuple[Relief, ...], tuple[Relief, ...]]:
    """Dimples, clearest first within a cap, and at most one peak a cap; none where the light shows
    no relief. ``radius_mm`` (S,) of the caps."""
    if not light.shows_relief:
        return (), ()
    maps = relief_maps(shading, light)
    shade = peak_shade(shading, mm_per_cell)
    dimples, peaks = [], []
    for cap, radius in enumerate(radius_mm):
        apart_mm = np.maximum(APART_REL * maps.diameter_mm[cap], APART_MM)
        places = _proposals(maps.dimple[cap], DIMPLE_SCORE, apart_mm / float(radius))
        dimples += [_dimple(cap, maps, place) for place in places[:MOST_MARKS]]
        places = _proposals(maps.peak[cap], PEAK_SCORE, apart_mm / float(radius))
        peaks += [_peak(cap, shading, place, shade) for place in places[:1]]
    return told_apart(dimples, peaks, radius_mm)


def _proposals(scores: Maps, least: float, apart_rel: Maps) -> list[tuple[int, int, float]]:
    """Cells (row, column) whose scores (CELLS, CELLS) are highest as far as ``apart_rel`` (CELLS,
    CELLS, parts of the cap's radius) round them, and the scores; highest first."""
    left = scores.copy()
    found = []
    while float(left.max()) >= least:
        row, column = (int(v) for v in np.unravel_index(int(left.argmax()), left.shape))
        found.append((row, column, float(left[row, column])))
        away = np.hypot(CELL_X - CELL_X[row, column], CELL_Y - CELL_Y[row, column])
        near = away < apart_rel[row, column]
        left[near] = -np.inf
    return found


def _sure(score: float, chance: tuple[float, float]) -> float:
    slope, start = chance
    return round(float(np.clip(1 / (1 + np.exp(-(slope * score + start))), 0.01, 0.99)), 2)


def _dimple(cap: int, maps: ReliefMaps, proposal: tuple[int, int, float]) -> Relief:
    """Its middle is the scores' own about the highest, so that it is finer than a cell."""
    row, column, score = proposal
    near = np.s_[max(row - 1, 0) : row + 2, max(column - 1, 0) : column + 2]
    odds = np.exp(maps.dimple[cap][near] - score)
    x, y = CELL_X[near], CELL_Y[near]
    middle = np.array([(odds * x).sum(), (odds * y).sum()], float) / float(odds.sum())
    depth = max(float(maps.depth_mm[cap, row, column]), LEAST_DEPTH_MM)
    return Relief(
        cap,
        middle,
        Quantity(float(maps.diameter_mm[cap, row, column]), DIAMETER_U_MM),
        Quantity(depth, DEPTH_U_MM),
        score - DIMPLE_SCORE,
        _sure(score, DIMPLE_CHANCE),
    )


def _peak(
    cap: int, shading: Shading, proposal: tuple[int, int, float], shade: PeakShade
) -> Relief:
    row, column, score = proposal
    step = SIDE // CELLS
    cell = (row * step + step // 2, column * step + step // 2)
    height, cell = peak_height_mm(shading.rest[cap], shading.weight[cap], cell, shade)
    height = max(height, LEAST_DEPTH_MM)
    row, column = (min(max(v, 0), SIDE - 1) for v in cell)
    return Relief(
        cap,
        np.array([X[row, column], Y[row, column]], float),
        Quantity(PEAK_WIDE_MM, PEAK_WIDTH_U_REL * PEAK_WIDE_MM),
        Quantity(height, PEAK_HEIGHT_U_REL * height, SLOPE_U_REL * height),
        score - PEAK_SCORE,
        _sure(score, PEAK_CHANCE),
    )


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
    """Dimples and peaks; of those that lie on each other, what is clearer stays."""

    def stays(mark: Relief, others: Sequence[Relief], part: float) -> bool:
        return not any(
            other.cap == mark.cap
            and other.clear > mark.clear
            and np.hypot(*(other.place - mark.place)) * radius_mm[mark.cap]
            < part * (mark.diameter_mm.value + other.diameter_mm.value)
            for other in others
        )

    return (
        tuple(d for d in dimples if stays(d, peaks, 0.5)),
        tuple(p for p in peaks if stays(p, dimples, 0.5)),
    )
