"""Bakes of one measure side by side in padded arrays, so that sums run over all of them at once."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.bake import MEASURES, Bake
from petitpied.statistics.made_together import Units, units_of

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: the lean as one vector measure; its components are measures of their own
LEAN = "lean"
#: measures that point somewhere: a half turn of the tray turns their sign too
POINTING = (LEAN, "lean_x", "lean_y")
#: measures that the light's fall over the tray can fake
LIT = ("browning",)
#: measures that can be mapped, with their unit
MAPPED: dict[str, str] = {**MEASURES, LEAN: "mm"}
#: fewer measured shells than this say nothing of a pattern: mean, two slopes and a curvature
#: already take four
MIN_SHELLS = 5


@dataclass(frozen=True)
class Stack:
    """N bakes, up to S shells each, K components of the measure (2 for the lean, else 1).

    ``x_mm``, ``y_mm`` (N, S): tray frame, which is the oven's: the card's strip points at the
    door however the tray stood (design, section 3). ``values`` (N, S, K), zero where absent;
    ``present`` (N, S); ``turned`` (N,); ``unit`` (N,): what was made together has one number
    (`made_together`), in order of time. Every bake has at least `MIN_SHELLS` shells present.
    """

    measure: str
    x_mm: Floats
    y_mm: Floats
    values: Floats
    present: Bools
    turned: Bools
    unit: Units

    @property
    def count(self) -> int:
        """Number of bakes."""
        return len(self.values)

    @property
    def units(self) -> int:
        """Number of independent units."""
        return len(np.unique(self.unit))

    @property
    def measure_unit(self) -> str:
        return MAPPED[self.measure]

    @property
    def shells(self) -> int:
        """Number of measured shells in all bakes."""
        return int(self.present.sum())

    def centred(self) -> Floats:
        """Values minus their bake's mean (N, S, K), zero where absent."""
        weight = self.present / self.present.sum(axis=1, keepdims=True)
        mean = np.einsum("ns,nsk->nk", weight, self.values)
        return np.asarray((self.values - mean[:, None]) * self.present[..., None])

    def levelled(self) -> "Stack":
        """Each bake's values less a plane's slopes and a round bowl over the tray, as light makes
        them (fall-off grows with the square of the distance from the middle: Kang & Weiss, ECCV
        2000, from memory); their mean stays."""
        weight = self.present[..., None].astype(float)
        count = np.maximum(weight.sum(axis=1, keepdims=True), 1.0)

        def about_mean(columns: Floats) -> Floats:
            mean = (weight * columns).sum(axis=1, keepdims=True) / count
            return np.asarray((columns - mean) * weight)

        places = about_mean(np.stack([self.x_mm, self.y_mm], axis=-1)) / 100.0
        bowl = about_mean((places**2).sum(axis=-1, keepdims=True))
        smooth = np.concatenate([places, bowl], axis=-1)
        turned = smooth.transpose(0, 2, 1)
        sizes = np.linalg.solve(turned @ smooth + 1e-9 * np.eye(3), turned @ self.centred())
        return replace(self, values=self.values - smooth @ sizes)

    def part(self, chosen: slice | NDArray[np.intp]) -> "Stack":
        """Some of the bakes."""
        return Stack(
            self.measure,
            self.x_mm[chosen],
            self.y_mm[chosen],
            self.values[chosen],
            self.present[chosen],
            self.turned[chosen],
            self.unit[chosen],
        )


def usable(bakes: Sequence[Bake], measure: str) -> list[Bake]:
    """The bakes that a stack of this measure holds."""
    names = ("lean_x", "lean_y") if measure == LEAN else (measure,)
    result = []
    for bake in bakes:
        shells = bake.shells
        if all(name in shells.values for name in names):
            there = np.isfinite(shells.x_mm) & np.isfinite(shells.y_mm)
            for name in names:
                there &= np.isfinite(shells.values[name])
            if int(there.sum()) >= MIN_SHELLS:
                result.append(bake)
    return result


def stack_bakes(bakes: Sequence[Bake], measure: str) -> Stack:
    """The bakes that have the measure on at least `MIN_SHELLS` shells, in their order.

    Raises
    ------
    ValueError
        If the measure is none of `MAPPED`.
    """
    if measure not in MAPPED:
        raise ValueError(f"measure must be one of {sorted(MAPPED)}, got {measure!r}")
    names = ("lean_x", "lean_y") if measure == LEAN else (measure,)
    usable = [b for b in bakes if all(name in b.shells.values for name in names)]
    lengths = np.array([len(b.shells.x_mm) for b in usable], np.intp)
    rows = int(lengths.max(initial=0))
    filled = np.arange(rows) < lengths[:, None]

    def padded(parts: list[Floats]) -> Floats:
        result = np.zeros((len(usable), rows))
        if parts:
            result[filled] = np.concatenate(parts)
        return result

    x = padded([b.shells.x_mm for b in usable])
    y = padded([b.shells.y_mm for b in usable])
    parts = [padded([b.shells.values[name] for b in usable]) for name in names]
    values = np.stack(parts, axis=-1)
    present = filled & np.isfinite(values).all(axis=-1) & np.isfinite(x) & np.isfinite(y)
    values = np.where(present[..., None], values, 0.0)
    turned = np.array([b.facts.turn_deg == 180 for b in usable], bool)
    x, y = np.where(present, x, 0.0), np.where(present, y, 0.0)
    if measure == LEAN:
        values = without_spreading(np.stack([x, y], axis=-1), values, present)
    enough = np.flatnonzero(present.sum(axis=1) >= MIN_SHELLS)
    unit = units_of([b.facts for b in usable])
    return Stack(measure, x, y, values, present, turned, unit).part(enough)


def without_spreading(places_mm: Floats, lean_mm: Floats, present: Bools) -> Floats:
    """Leans (N, S, 2) less the part of each bake by which all point outwards, or all inwards,
    the more the farther from the middle: ``lean = a + b place``, ``b`` taken out.

    A photo cannot tell that part from rings a little higher or lower than thought (a ring's
    place shifts by its height times the view's slant, which grows with the place in just this
    way), and shells of one kitchen are as high in every bake: so no number of bakes can either.
    """
    weight = present / np.maximum(present.sum(axis=1, keepdims=True), 1)

    def about_mean(v: Floats) -> Floats:
        return np.asarray((v - np.einsum("ns,nsk->nk", weight, v)[:, None]) * present[..., None])

    place, lean = about_mean(places_mm), about_mean(lean_mm)
    reach = (place**2).sum(axis=(1, 2))
    slope = (place * lean).sum(axis=(1, 2)) / np.where(reach > 0, reach, 1.0)
    return np.asarray(lean_mm - slope[:, None, None] * place)
