"""From the size wanted to the size to pipe, and the pitch that keeps spread shells apart.

Words: *growth* is the baked minus the piped diameter. *pitch* is the distance between the
middles of two neighbours.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, hypot, inf, sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: pitches are rounded up to this: finer steps can neither be drawn by hand nor matter
PITCH_STEP_MM = 0.5
#: by how far a piped round misses its place, standard deviation on each axis, where no record
#: tells: common practice, no source
DEFAULT_PLACE_SD_MM = 1.0


@dataclass(frozen=True, slots=True)
class Growth:
    """How shells come out, mm.

    ``mean_mm``: baked minus piped diameter, ``u_mm`` its standard uncertainty. ``spread_mm``:
    standard deviation of the baked diameter between shells piped to one size, from ``count``
    shells (`inf`: taken as known). ``place_sd_mm``: how far a middle misses its place, on each
    axis.
    """

    mean_mm: float
    u_mm: float
    spread_mm: float
    count: float = inf
    place_sd_mm: float = DEFAULT_PLACE_SD_MM


@dataclass(frozen=True, slots=True)
class Pitch:
    """A pitch, and how likely shells touch: two neighbours, and any two of the sheet."""

    pitch_mm: float
    p_pair: float
    p_any: float
    pairs: int


def piped_diameter_mm(target_mm: float, growth: Growth) -> float:
    """Diameter to pipe so that the mean shell bakes to ``target_mm``.

    Raises
    ------
    ValueError
        If nothing positive is left.
    """
    piped = target_mm - growth.mean_mm
    if piped <= 0:
        raise ValueError(f"a growth of {growth.mean_mm} mm leaves nothing to pipe")
    return piped


def neighbours(rows: int, columns: int) -> int:
    """Pairs of side-by-side places in a square lattice."""
    return rows * (columns - 1) + columns * (rows - 1)


def touching(reach_mm: float, pitch_mm: float, growth: Growth, pairs: int = 1) -> Pitch:
    """How likely neighbours touch at a pitch.

    The gap of two neighbours, each reaching ``reach_mm / 2`` from its middle in the mean, is
    ``pitch - (D1 + D2) / 2`` plus what both miss their place by: variance
    ``spread^2 / 2 + 2 place_sd^2`` and, for the mean's own doubt, ``u^2``. The spread comes
    from ``count`` shells: the gap over its scale follows Student's t with ``count - 1`` degrees
    of freedom (the usual predictive distribution; DeGroot & Schervish, Probability and
    Statistics, 8.6). For ``pairs`` of neighbours Boole's bound: never too small.

    Parameters
    ----------
    reach_mm : float
        Widest caliper width of the mean baked shell along the line of two neighbours.
    """
    from scipy import stats  # slow to import, and not every use of this module needs it

    scale = sqrt(growth.spread_mm**2 / 2 + 2 * growth.place_sd_mm**2 + growth.u_mm**2)
    gap = pitch_mm - reach_mm
    if scale == 0:
        p_pair = float(gap < 0)
    elif growth.count == inf:
        p_pair = float(stats.norm.sf(gap / scale))
    else:
        p_pair = float(stats.t.sf(gap / scale, max(1.0, growth.count - 1)))
    return Pitch(pitch_mm, p_pair, min(1.0, pairs * p_pair), pairs)


def pitch_for(reach_mm: float, growth: Growth, risk: float, pairs: int) -> Pitch:
    """The smallest pitch, in whole `PITCH_STEP_MM`, at which the chance that any two of
    ``pairs`` neighbours touch is at most ``risk`` (0 to 1)."""
    if not 0 < risk < 1:
        raise ValueError(f"risk must lie between 0 and 1, got {risk}")
    steps = ceil(reach_mm / PITCH_STEP_MM)
    tried = touching(reach_mm, steps * PITCH_STEP_MM, growth, pairs)
    while tried.p_any > risk and tried.pitch_mm < 3 * reach_mm:
        steps += 1
        tried = touching(reach_mm, steps * PITCH_STEP_MM, growth, pairs)
    return tried


@dataclass(frozen=True)
class BakedTray:
    """What one record says of growth: (S,) arrays over its shells, NaN where not measured."""

    growth_mm: Floats
    diameter_mm: Floats
    feret_max_mm: Floats
    centre_mm: Floats  # (S, 2)
    rows: NDArray[np.int64]
    columns: NDArray[np.int64]
    u_shared_mm: float = 0.0  # of a growth, shared by the shells of the tray


def growth_of(trays: Sequence[BakedTray]) -> Growth | None:
    """Growth and its variation from measured trays; None where no shell has a growth.

    A tray is one bake: with two or more, the mean's uncertainty is that of the trays' means
    (s / sqrt(k), JCGM 100, 4.2.3), else that of the shells' and what they share.
    """
    grown = [t for t in trays if np.isfinite(t.growth_mm).any()]
    if not grown:
        return None
    means = np.array([np.nanmean(t.growth_mm) for t in grown])
    shells = np.concatenate([t.growth_mm[np.isfinite(t.growth_mm)] for t in grown])
    within = float(np.std(shells, ddof=1)) / sqrt(len(shells)) if len(shells) > 1 else 0.0
    u = hypot(within, max(t.u_shared_mm for t in grown))
    if len(means) > 1:
        u = max(u, float(np.std(means, ddof=1)) / sqrt(len(means)))
    apart = [t.diameter_mm - np.nanmean(t.diameter_mm) for t in grown]
    size = np.concatenate([a[np.isfinite(a)] for a in apart])
    count = len(size) - len(grown) + 1
    spread = sqrt(float((size**2).sum()) / max(1, count - 1))
    return Growth(float(means.mean()), u, spread, max(2, count), _place_sd(grown))


def caliper_over_diameter(trays: Sequence[BakedTray]) -> float:
    """Mean of the largest caliper width over the diameter; 1 where nothing was measured."""
    ratio = np.concatenate([t.feret_max_mm / t.diameter_mm for t in trays] or [np.array([])])
    ratio = ratio[np.isfinite(ratio)]
    return float(ratio.mean()) if len(ratio) else 1.0


def _place_sd(trays: Sequence[BakedTray]) -> float:
    """Scatter of the middles about a lattice fitted to each tray (every other row may be
    shifted), standard deviation on one axis."""
    squares, freedom = 0.0, 0
    for tray in trays:
        good = np.isfinite(tray.centre_mm).all(axis=1)
        rows, columns = tray.rows[good], tray.columns[good]
        terms = np.column_stack([np.ones(len(rows)), rows, columns, rows % 2])
        rank = int(np.linalg.matrix_rank(terms)) if len(rows) else 0
        if len(rows) <= rank + 2:
            continue
        fit = np.linalg.lstsq(terms, tray.centre_mm[good], rcond=None)[0]
        squares += float(((tray.centre_mm[good] - terms @ fit) ** 2).sum())
        freedom += 2 * (len(rows) - rank)
    return sqrt(squares / freedom) if freedom else DEFAULT_PLACE_SD_MM
