"""What was made together: bakes of one batter, or of one day, are one independent unit.

Trays of one batter share its folding, its rest and its piping, trays of one day the kitchen's air
and the oven's mood. Counted as independent they make chance look like a finding: so signs are
flipped, means are taken and intervals are made by unit (exchangeability blocks: Winkler et al.,
Multi-level block permutation, NeuroImage 123, 2015).
"""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.bake import BakeFacts

Floats = NDArray[np.float64]
Units = NDArray[np.int64]

#: the same batch name again after a longer pause is a new batter that got an old name: batter
#: does not keep for two days (common practice, no source)
SAME_BATTER = timedelta(hours=48)


def units_of(facts: Sequence[BakeFacts]) -> Units:
    """Number (N,) of the unit that each bake belongs to, from 0 on, in order of time.

    Bakes of one batch are one unit, else those of one calendar day and flavour. A bake whose
    batch (or flavour) was not logged belongs to the only one logged on that day, where there is
    just one.
    """
    batches: dict[date, set[str]] = defaultdict(set)
    flavours: dict[date, set[str]] = defaultdict(set)
    for f in facts:
        batches[f.baked_at.date()] |= {f.batch} if f.batch is not None else set()
        flavours[f.baked_at.date()] |= {f.flavour} if f.flavour is not None else set()
    latest: dict[str, float] = {}
    known: dict[tuple[object, ...], int] = {}
    result = np.zeros(len(facts), np.int64)
    times = [f.baked_at.timestamp() for f in facts]
    number_of: dict[str, int] = defaultdict(int)
    for i in sorted(range(len(facts)), key=times.__getitem__):
        f, day = facts[i], facts[i].baked_at.date()
        batch = f.batch or _only(batches[day])
        key: tuple[object, ...]
        if batch is not None:
            if times[i] - latest.get(batch, times[i]) > SAME_BATTER.total_seconds():
                number_of[batch] += 1
            latest[batch] = times[i]
            key = ("batch", batch, number_of[batch])
        else:
            key = ("day", day, f.flavour or _only(flavours[day]))
        result[i] = known.setdefault(key, len(known))
    return result


def _only(names: set[str]) -> str | None:
    return next(iter(names)) if len(names) == 1 else None


def by_unit(units: Units, values: Floats) -> Floats:
    """Sums (U, ...) of values (N, ...) over the bakes of each unit, in the units' order."""
    order = np.argsort(units, kind="stable")
    starts = np.flatnonzero(np.diff(units[order], prepend=units[order[:1]] - 1))
    return np.asarray(np.add.reduceat(values[order], starts, axis=0))


def means_by_unit(units: Units, values: Floats) -> Floats:
    """Means (U,) of values (N,) over the bakes of each unit that have one; NaN where none has."""
    known = np.isfinite(values)
    count = by_unit(units, known.astype(float))
    total = by_unit(units, np.where(known, values, 0.0))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(count > 0, total / count, np.nan))
