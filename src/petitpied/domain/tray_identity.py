"""Do two photos show one and the same tray? Told by its shells: where they lie, how large they are.

A tray's shells miss their lattice each by its own chance, and differ in size: two photos of one
tray agree in both to what a photo can measure, two trays of one piping sheet do not. The evidence
is a likelihood ratio, summed over the shells found in both; each shell may be an exception (eaten,
nudged, badly measured), so that a few never decide.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from petitpied.domain.bake import BakeShells
from petitpied.domain.same_tray import TURNS_DEG, Registration, rigid_fit

Floats = NDArray[np.float64]

#: sizes that tell shells apart, with how well two photos agree on one shell's, mm (standard
#: deviation of a difference; from pairs of photos of traced trays, with room for worse ones)
SIZES_MM = {"diameter": 0.25, "cap_diameter": 0.35, "roundness": 0.2}
#: how well two photos agree on a shell's place, mm each way
PLACE_MM = 0.45
#: a tray's own scatter about its lattice counts at most so much: the rest may be the sheet's, which
#: other trays piped on it share (a steady hand's; common practice, no source)
MOST_SCATTER_MM = 0.6
#: a shell of one photo is looked for so far from where one of the other lies, mm
NEAR_MM, VOTE_MM = 12.0, 4.0
#: shells that both photos must show, and the part of the smaller find that must be found again: two
#: crops of a third from opposite sides leave half
FEWEST, FOUND_REL = 6, 0.5
#: places of the lattice that are tried: a crop fits a larger tray at many
MOST_SHIFTS = 16
#: a shell is an exception with this chance: then its differences say nothing
EXCEPTION = 0.08
#: two photos of one tray differ less in its median diameter: a crop, and a scale 2 % off
MEANS_APART_MM = 2.0
#: natural logarithm of the odds that evidence must reach: one in 160,000 for two trays taken
#: at random; trays of one day are a few, and simulated different trays stay far below
SURE = 12.0


@dataclass(frozen=True)
class SameTray:
    """``registration`` takes the second photo's places to the first's frame; ``evidence``: natural
    logarithm of the likelihood ratio."""

    registration: Registration
    evidence: float


def same_tray(first: BakeShells, second: BakeShells) -> SameTray | None:
    """Is it the same tray? None where it is not, or cannot be told: whatever the view, the crop,
    the card's place, a half or quarter turn between, or shells eaten meanwhile."""
    a, b = _places(first), _places(second)
    if min(len(a), len(b)) < FEWEST:
        return None
    best: SameTray | None = None
    tree = cKDTree(a)
    for angle in TURNS_DEG:
        c, s = np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))
        turn = np.array([[c, -s], [s, c]])
        for shift in _shifts(a, b @ turn.T):
            found = _settled(tree, a, b, (turn, shift))
            if found is None:
                continue
            evidence = _evidence(first, second, found)
            if best is None or evidence > best.evidence:
                best = SameTray(found, evidence)
    return best if best is not None and best.evidence >= SURE else None


def _places(shells: BakeShells) -> Floats:
    return np.column_stack([shells.x_mm, shells.y_mm])


def _shifts(a: Floats, b: Floats) -> list[Floats]:
    """Shifts (2,) under which most places of b fall near one of a, best first."""
    shifts = (a[:, None] - b[None]).reshape(-1, 2)
    cells, inverse, counts = np.unique(
        np.round(shifts / (2 * VOTE_MM)).astype(int), axis=0, return_inverse=True,
        return_counts=True,
    )  # fmt: skip
    at = {tuple(cell): i for i, cell in enumerate(cells.tolist())}
    around = np.array(
        [
            sum(counts[at[(x + i, y + j)]] for i in (-1, 0, 1) for j in (-1, 0, 1)
                if (x + i, y + j) in at)
            for x, y in cells.tolist()
        ]
    )  # fmt: skip
    need = max(FEWEST, FOUND_REL * min(len(a), len(b)))
    taken: list[Floats] = []
    for k in np.argsort(-around, kind="stable"):
        if around[k] < need or len(taken) >= MOST_SHIFTS:
            break
        middle = shifts[inverse.ravel() == k].mean(axis=0)
        if all(np.hypot(*(middle - t)) > 5 * VOTE_MM for t in taken):
            taken.append(middle)
    return taken


def _settled(
    tree: cKDTree, a: Floats, b: Floats, start: tuple[Floats, Floats]
) -> Registration | None:
    turn, shift = start
    need = max(FEWEST, FOUND_REL * min(len(a), len(b)))
    for within in (NEAR_MM, NEAR_MM / 2, NEAR_MM / 2):
        gap, nearest = tree.query(b @ turn.T + shift, distance_upper_bound=within)
        mine = np.flatnonzero(np.isfinite(gap))
        _, first = np.unique(nearest[mine], return_index=True)  # each place of a once
        mine = mine[first]
        if len(mine) < need:
            return None
        rest = a[nearest[mine]] - b[mine] @ turn.T - shift
        good = np.hypot(*(rest - np.median(rest, axis=0)).T)
        kept = mine[good <= max(2.5 * float(np.median(good)), 0.5)]
        if len(kept) < FEWEST:
            return None
        turn, shift = rigid_fit(b[kept], a[nearest[kept]])
    pairs = tuple((int(nearest[i]), int(i)) for i in mine)
    rest = b[mine] @ turn.T + shift - a[nearest[mine]]
    rms = float(np.sqrt(np.median((rest**2).sum(axis=1)) / np.log(2)))
    return Registration(turn, shift, pairs, rms)


def _evidence(first: BakeShells, second: BakeShells, found: Registration) -> float:
    """Sum over the pairs of shells; each at least ``log(EXCEPTION)``."""
    i, j = np.array(found.pairs).T
    apart = _places(first)[i] - found.to_first(_places(second)[j])
    columns = _smooth(_places(first)[i])
    scatter = [
        2 * min(_off_lattice(first, k), _off_lattice(second, k), MOST_SCATTER_MM) ** 2 + PLACE_MM**2
        for k in (0, 1)
    ]
    terms = sum(_ratio(_left(apart[:, k], columns), PLACE_MM**2, scatter[k]) for k in (0, 1))
    likely: tuple[float, Floats] = (0.0, np.zeros(len(i)))
    for name, error in SIZES_MM.items():
        one, two = first.values.get(name), second.values.get(name)
        if one is None or two is None:
            continue
        each = (_left(one[i], columns), _left(two[j], columns))
        spread = min(float(np.nanvar(v)) for v in each)
        if not np.isfinite(spread):
            continue
        ratio = _ratio(_left(one[i] - two[j], columns), error**2, 2 * spread + error**2)
        if ratio.sum() > likely[0] or not likely[1].any():
            likely = (float(ratio.sum()), ratio)  # sizes hang together: the one that tells most
    same = np.logaddexp(np.log(1 - EXCEPTION) + terms + likely[1], np.log(EXCEPTION))
    return float(same.sum())


def _ratio(apart: Floats, same: float, other: float) -> Floats:
    """Log likelihood ratio of differences under two variances; 0 where not known."""
    ratio = 0.5 * np.log(other / same) - apart**2 / 2 * (1 / same - 1 / other)
    return np.asarray(np.where(np.isfinite(apart), ratio, 0.0))


def _smooth(places: Floats) -> Floats:
    """Columns (P, 4) of what a view may add smoothly: level, slopes and a bowl."""
    x, y = ((places - places.mean(axis=0)) / 100.0).T
    return np.column_stack([np.ones(len(x)), x, y, x * x + y * y])


def _left(values: Floats, columns: Floats) -> Floats:
    """Values (P,) less what is smooth over the tray, NaN kept."""
    known = np.isfinite(values)
    rest = np.full(len(values), np.nan)
    if known.sum() <= columns.shape[1]:
        return rest
    fitted = columns[known] @ np.linalg.lstsq(columns[known], values[known])[0]
    freedom = np.sqrt(known.sum() / (known.sum() - columns.shape[1]))
    rest[known] = (values[known] - fitted) * freedom
    return rest


def _off_lattice(shells: BakeShells, axis: int) -> float:
    """Standard deviation of the places from the lattice of their rows and columns, mm."""
    places = _places(shells)[:, axis]
    design = np.column_stack(
        [np.ones(len(places)), shells.columns, shells.rows, shells.rows % 2,
         shells.rows * shells.columns, shells.rows**2, shells.columns**2]
    )  # fmt: skip
    rest = places - design @ np.linalg.lstsq(design, places)[0]
    rank = int(np.linalg.matrix_rank(design))
    if len(places) <= rank:
        return 0.0
    robust = 1.4826 * float(np.median(np.abs(rest)))
    return robust * float(np.sqrt(len(places) / (len(places) - rank)))


def _alike_in_size(first: BakeShells, second: BakeShells) -> bool:
    """Mean diameters within `MEANS_APART_MM`: quick to see."""
    means = []
    for shells in (first, second):
        known = shells.values.get("diameter", np.zeros(0))
        known = known[np.isfinite(known)]
        if not len(known):
            return False
        means.append(float(np.median(known)))
    return abs(means[0] - means[1]) <= MEANS_APART_MM


def earlier_photo(shells: BakeShells, others: Sequence[BakeShells]) -> tuple[int, SameTray] | None:
    """Which of the others is the same tray, by the strongest evidence; None where none is."""
    found = [
        (k, told)
        for k, one in enumerate(others)
        if _alike_in_size(one, shells) and (told := same_tray(one, shells))
    ]
    return max(found, key=lambda pair: pair[1].evidence) if found else None
