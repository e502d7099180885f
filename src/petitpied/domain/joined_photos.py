"""Several photos of one tray as one bake: surer sizes, and how far the photos differ."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.bake import BakeShells
from petitpied.domain.same_tray import Registration

Floats = NDArray[np.float64]

#: a value whose own uncertainty is not known counts as if it had this, in its unit
USUAL_U = 0.1


@dataclass(frozen=True)
class Photo:
    """A further photo of a tray: its shells, and the way to the first photo's frame."""

    shells: BakeShells
    registration: Registration


def joined(first: BakeShells, others: Sequence[Photo]) -> BakeShells:
    """All shells in the first photo's frame: means weighted by own uncertainties, shells that the
    first photo does not show added. A mean's own uncertainty falls as independent ones do; what
    all shells of a photo share (scale, lens) is not in it."""
    result = first
    for further in others:
        result = _with_shells(result, further)
    names = {n for one in (first, *(p.shells for p in others)) for n in one.values}
    values, u_own = {}, {}
    count = len(result.ids)
    for name in sorted(names):
        total, weight = np.zeros(count), np.zeros(count)
        for which, shells in enumerate((first, *(p.shells for p in others))):
            photo = None if which == 0 else others[which - 1]
            index = np.arange(len(first.ids)) if photo is None else _index(result, first, photo)
            value, u = _turned(shells, name, photo)
            w = np.where(np.isfinite(value), 1 / np.maximum(u, 1e-3) ** 2, 0.0)
            np.add.at(total, index, np.where(w > 0, w * np.nan_to_num(value), 0.0))
            np.add.at(weight, index, w)
        known = weight > 0
        values[name] = np.where(known, total / np.where(known, weight, 1.0), np.nan)
        u_own[name] = np.where(known, 1 / np.sqrt(np.where(known, weight, 1.0)), np.nan)
    kept = {n: u for n, u in u_own.items() if n in first.u_own}
    return BakeShells(
        result.ids, result.rows, result.columns, result.x_mm, result.y_mm, values, kept
    )


def _turned(shells: BakeShells, name: str, photo: Photo | None) -> tuple[Floats, Floats]:
    """Values (S,) and own uncertainties; what points somewhere turns with the frame."""
    missing = np.full(len(shells.ids), np.nan)
    value = shells.values.get(name, missing)
    if photo is not None and name in ("lean_x", "lean_y"):
        both = np.stack([shells.values.get(n, missing) for n in ("lean_x", "lean_y")])
        value = (photo.registration.turn @ both)[("lean_x", "lean_y").index(name)]
    u = shells.u_own.get(name, np.full(len(shells.ids), USUAL_U))
    return value, np.where(np.isfinite(u), u, USUAL_U)


def _new(photo: Photo) -> list[int]:
    found = {j for _, j in photo.registration.pairs}
    return [j for j in range(len(photo.shells.ids)) if j not in found]


def _with_shells(base: BakeShells, photo: Photo) -> BakeShells:
    """Places of the photo's shells that the first photo does not show, added; their rows and
    columns by the lattice of the others."""
    new = _new(photo)
    if not new:
        return base
    places = np.column_stack([photo.shells.x_mm, photo.shells.y_mm])[new]
    moved = photo.registration.to_first(places)
    design = np.column_stack([np.ones(len(base.ids)), base.x_mm, base.y_mm])
    lattice = np.linalg.lstsq(design, np.column_stack([base.rows, base.columns]))[0]
    at = np.rint(np.column_stack([np.ones(len(new)), moved]) @ lattice).astype(np.int64)
    taken = set(base.ids)
    ids = [name if (name := photo.shells.ids[j]) not in taken else f"{name}+" for j in new]
    return BakeShells(
        (*base.ids, *ids),
        np.concatenate([base.rows, at[:, 0]]),
        np.concatenate([base.columns, at[:, 1]]),
        np.concatenate([base.x_mm, moved[:, 0]]),
        np.concatenate([base.y_mm, moved[:, 1]]),
        {},
    )


def _index(result: BakeShells, first: BakeShells, photo: Photo) -> NDArray[np.intp]:
    """Where each shell of the photo lies in the result."""
    index = np.zeros(len(photo.shells.ids), np.intp)
    for i, j in photo.registration.pairs:
        index[j] = i
    new = _new(photo)
    if new:
        places = photo.registration.to_first(
            np.column_stack([photo.shells.x_mm, photo.shells.y_mm])[new]
        )
        there = np.column_stack([result.x_mm, result.y_mm])
        gap = np.hypot(*np.moveaxis(places[:, None] - there[None], 2, 0))
        gap[:, : len(first.ids)] = np.inf
        index[new] = gap.argmin(axis=1)
    return index


def scatter_mm(first: BakeShells, photo: Photo, measure: str = "diameter") -> float | None:
    """How far two photos of a tray differ on a shell (root mean square); None where not known."""
    one, two = first.values.get(measure), photo.shells.values.get(measure)
    if one is None or two is None:
        return None
    i, j = np.array(photo.registration.pairs).T
    apart = one[i] - two[j]
    known = apart[np.isfinite(apart)]
    return float(np.sqrt((known**2).mean())) if len(known) else None
