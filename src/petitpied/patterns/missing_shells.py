"""Shells that are missing or not measured: where, and what they could hide.

If small shells at the edge are not measured, those that are look large. So where missing goes with
place, a finding must stand whatever the missing ones were: they are filled in as the most extreme
part of their place's shells, against the finding (sharp bounds under selection: Horowitz & Manski,
Econometrica 63, 1995; the tail's mean of a normal distribution).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.stats import fisher_exact, norm

from petitpied.domain.bake import Bake, BakeShells
from petitpied.patterns.oven.findings import Finding, MissingShells, OvenMap
from petitpied.patterns.oven.oven_map import map_oven
from petitpied.patterns.oven.tray_stack import LEAN, usable
from petitpied.statistics.sign_flips import ALPHA

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: a place counts as one where shells are piped from this share of the bakes on: a majority
PIPED_IN = 0.5
#: fewer missing than this part of all are not asked about: as many shells, all extreme, move a
#: place's mean by a twentieth of the scatter
LEAST_REL = 0.02


@dataclass(frozen=True)
class Missing:
    """Places (P, 2) of the lattice, tray frame, mm, and in how many of ``bakes`` each is missing or
    not measured (P,); ``p``: of missing being as frequent everywhere, by edge and by halves."""

    measure: str
    place_mm: Floats
    missing: NDArray[np.int64]
    bakes: int
    p: float

    @property
    def count(self) -> int:
        return int(self.missing.sum())

    @property
    def told(self) -> MissingShells:
        """For words and JSON."""
        order = np.argsort(-self.missing, kind="stable")
        places = tuple(
            (float(self.place_mm[k, 0]), float(self.place_mm[k, 1]), int(self.missing[k]))
            for k in order
            if self.missing[k] > 0
        )
        return MissingShells(self.bakes, places, self.goes_with_place)

    @property
    def goes_with_place(self) -> bool:
        whole = self.bakes * len(self.missing)
        return self.p <= ALPHA and self.count > LEAST_REL * whole


def missing_shells(bakes: Sequence[Bake], measure: str) -> Missing | None:
    """Where shells are missing, over bakes of one lattice; None where trays have no common one, or
    for the lean, which is told of as a vector."""
    having = [] if measure == LEAN else usable(bakes, measure)
    if len(having) < 2:
        return None
    at, place, seen = _lattice(having, measure)
    if len(at) < 5:
        return None
    missing = (~seen).sum(axis=0)
    return Missing(measure, place, missing, len(having), _uneven(place, missing, len(having)))


def _lattice(bakes: Sequence[Bake], measure: str) -> tuple[list[tuple[int, int]], Floats, Bools]:
    """Rows and columns that most bakes have, their places (P, 2), and whether each bake (N, P) has
    a value there."""
    each = [b.shells for b in bakes]
    bake = np.repeat(np.arange(len(each)), [len(s.ids) for s in each])
    row, column = (np.concatenate([getattr(s, n) for s in each]) for n in ("rows", "columns"))
    x, y = (np.concatenate([getattr(s, n) for s in each]) for n in ("x_mm", "y_mm"))
    known = np.isfinite(np.concatenate([s.values[measure] for s in each]))
    there = np.isfinite(x) & np.isfinite(y)
    cells, which, counts = np.unique(
        np.column_stack([row, column])[there], axis=0, return_inverse=True, return_counts=True
    )
    kept = np.flatnonzero(counts >= PIPED_IN * len(bakes))
    number = np.full(len(cells), -1)
    number[kept] = np.arange(len(kept))
    cell = number[which.ravel()]
    order = np.argsort(cell, kind="stable")
    starts = np.searchsorted(cell[order], np.arange(len(kept) + 1))
    xy = np.column_stack([x, y])[there][order]
    place = np.array([np.median(xy[i:j], axis=0) for i, j in pairwise(starts)]).reshape(-1, 2)
    seen = np.zeros((len(bakes), len(kept)), bool)
    ours = (cell >= 0) & known[there]
    seen[bake[there][ours], cell[ours]] = True
    at = [(int(r), int(c)) for r, c in cells[kept]]
    return at, place, seen


def _uneven(place: Floats, missing: NDArray[np.int64], bakes: int) -> float:
    """Least p of Fisher's test for edge against inside, and each pair of halves, times three."""
    middle = (place.min(axis=0) + place.max(axis=0)) / 2
    half = np.maximum(np.ptp(place, axis=0) / 2, 1.0)
    rel = (place - middle) / half
    parts = (np.abs(rel).max(axis=1) > 0.75, rel[:, 0] > 0, rel[:, 1] > 0)
    least = 1.0
    for part in parts:
        if part.all() or not part.any():
            continue
        gone = [int(missing[part].sum()), int(missing[~part].sum())]
        there = [bakes * int(part.sum()) - gone[0], bakes * int((~part).sum()) - gone[1]]
        least = min(least, float(fisher_exact([gone, there])[1]))
    return min(1.0, 3 * least)


def filled(bakes: Sequence[Bake], missing: Missing, worth: Floats) -> tuple[Bake, ...]:
    """Bakes with the missing shells as they may have been at worst: the extreme part of their
    place's, upwards where ``worth`` (P,) is above 0, else downwards."""
    having = usable(bakes, missing.measure)
    at, place, seen = _lattice(having, missing.measure)
    share = np.clip(missing.missing / missing.bakes, 1e-9, 0.999)
    tail = norm.pdf(norm.ppf(share)) / share * np.sign(worth)
    result = []
    for bake, known in zip(having, seen, strict=True):
        gone = np.flatnonzero(~known)
        values = bake.shells.values[missing.measure]
        there = np.isfinite(values)
        mean, spread = float(values[there].mean()), float(values[there].std())
        guess = mean + spread * tail[gone]
        shells = _with(bake.shells, missing.measure, (at, place, gone), guess)
        result.append(replace(bake, shells=shells))
    return tuple(result)


def _with(
    shells: BakeShells,
    measure: str,
    gone: tuple[list[tuple[int, int]], Floats, NDArray[np.intp]],
    guess: Floats,
) -> BakeShells:
    at, place, which = gone
    known = np.isfinite(shells.values[measure])
    rows = np.array([at[k][0] for k in which], np.int64)
    columns = np.array([at[k][1] for k in which], np.int64)
    return BakeShells(
        (*(i for i, k in zip(shells.ids, known, strict=True) if k), *(f"?{k}" for k in which)),
        np.concatenate([shells.rows[known], rows]),
        np.concatenate([shells.columns[known], columns]),
        np.concatenate([shells.x_mm[known], place[which, 0]]),
        np.concatenate([shells.y_mm[known], place[which, 1]]),
        {measure: np.concatenate([shells.values[measure][known], guess])},
    )


def bounded(
    found: OvenMap, bakes: Sequence[Bake], missing: Missing | None, rng: np.random.Generator
) -> OvenMap:
    """The map, with findings withheld that missing shells could have made."""
    if missing is None or not missing.goes_with_place or found.strongest is None:
        return found
    kept = []
    for finding in found.findings:
        if not finding.stands_out or finding.effect is None or finding.kind == "lean":
            kept.append(finding)
            continue
        worst = filled(bakes, missing, -_worth(finding, missing.place_mm))
        again = map_oven(worst, found.measure, rng).findings
        stands = any(_same(one, finding) for one in again)
        why = "withheld: shells missing there could have made it"
        kept.append(finding if stands else replace(finding, stands_out=False, why=why))
    strength = found.strength if any(f.stands_out for f in kept) else "nothing found"
    return replace(found, findings=tuple(kept), strength=strength)


def _same(one: Finding, finding: Finding) -> bool:
    if one.kind != finding.kind or not one.stands_out:
        return False
    if one.effect is None or finding.effect is None:
        return False
    return one.effect.value * finding.effect.value > 0


def _worth(finding: Finding, place: Floats) -> Floats:
    """Whether a shell at a place (P,) that is larger makes the finding larger (1) or smaller."""
    middle = (place.min(axis=0) + place.max(axis=0)) / 2
    half = np.maximum(np.ptp(place, axis=0) / 2, 1.0)
    rel = (place - middle) / half
    sign = 1.0 if finding.effect is None or finding.effect.value >= 0 else -1.0
    if finding.kind == "across":
        shape = rel[:, 0]
    elif finding.kind == "front-back":
        shape = rel[:, 1]
    elif finding.kind == "centre-edge" or finding.place_mm is None:
        shape = np.abs(rel).max(axis=1) - 0.75
    else:  # nearer to the spot than a quarter of the tray
        away = np.linalg.norm((place - finding.place_mm) / half, axis=1)
        shape = 0.5 - away
    return np.asarray(sign * np.where(shape == 0, 1e-9, shape))
