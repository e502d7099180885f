"""Bakes in order of time as series: each bake's mean, spread, and count of faults."""

import operator
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.bake import MEASURES, Bake

Floats = NDArray[np.float64]
Units = NDArray[np.int64]

#: what a series can be of, to its unit: the measures, and the lean's size
SERIES_UNITS = {**MEASURES, "lean": "mm"}
COMPARE: dict[str, Callable[[Floats, float], NDArray[np.bool_]]] = {
    ">=": operator.ge,
    "<=": operator.le,
    ">": operator.gt,
    "<": operator.lt,
}


@dataclass(frozen=True)
class BakeSeries:
    """Bake by bake (N,): shells with a value, their mean and standard deviation.

    A bake without the measure has count 0 and NaN; with one shell the deviation is NaN.
    """

    counts: Floats
    means: Floats
    sds: Floats


@dataclass(frozen=True, slots=True)
class Fault:
    """A shell is faulty if its measure compares so with a limit, in the measure's unit."""

    measure: str
    compare: str  # a key of `COMPARE`
    limit: float

    def __str__(self) -> str:
        return f"{self.measure} {self.compare} {self.limit:g} {SERIES_UNITS[self.measure]}"


def shell_values(bake: Bake, measure: str) -> Floats:
    """Values (S,) of a bake's shells, NaN where not measured; empty where no shell has any."""
    values = bake.shells.values
    if measure == "lean":
        x, y = values.get("lean_x"), values.get("lean_y")
        return np.zeros(0) if x is None or y is None else np.hypot(x, y)
    return values.get(measure, np.zeros(0))


def measured(bakes: Sequence[Bake]) -> tuple[str, ...]:
    """Names of the series that at least one bake has."""
    there = {name for bake in bakes for name in bake.shells.values}
    if {"lean_x", "lean_y"} <= there:
        there.add("lean")
    return tuple(name for name in SERIES_UNITS if name in there)


def bake_series(bakes: Sequence[Bake], measure: str, units: Units | None = None) -> BakeSeries:
    """Means and spreads of a measure, by bake; or by unit, ``units`` (N,) naming each bake's."""
    values, which = _flat(bakes, measure, units)
    n = _count(bakes, units)
    counts = np.bincount(which, minlength=n).astype(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.bincount(which, values, n) / counts
        squares = np.bincount(which, (values - means[which]) ** 2, n)
        sds = np.sqrt(np.where(counts > 1, squares / (counts - 1), np.nan))
    return BakeSeries(counts, means, sds)


def fault_counts(
    bakes: Sequence[Bake], fault: Fault, units: Units | None = None
) -> tuple[Floats, Floats]:
    """Faulty shells (N,) and shells that could be judged (N,) of each bake, or of each unit."""
    values, which = _flat(bakes, fault.measure, units)
    faulty = COMPARE[fault.compare](values, fault.limit).astype(float)
    n = _count(bakes, units)
    counts = np.bincount(which, minlength=n).astype(float)
    return np.asarray(np.bincount(which, faulty, n), float), counts


def _count(bakes: Sequence[Bake], units: Units | None) -> int:
    return len(bakes) if units is None else int(units.max(initial=-1)) + 1


def _flat(bakes: Sequence[Bake], measure: str, units: Units | None) -> tuple[Floats, Units]:
    """All known values (V,) and the index (V,) of each one's bake or unit."""
    each = [shell_values(bake, measure) for bake in bakes]
    owner = np.arange(len(each)) if units is None else units
    which = np.repeat(owner, [len(v) for v in each])
    values = np.concatenate(each) if each else np.zeros(0)
    known = np.isfinite(values)
    return values[known], which[known]
