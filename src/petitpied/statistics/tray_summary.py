"""What one record says in short: how many shells, how large, how even, which are odd."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from petitpied.domain.measures import MEASURE, MEASURES
from petitpied.domain.measures import Odd as Words
from petitpied.domain.quantity import Quantity
from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.domain.uncertainty import mean_of
from petitpied.numerics.medians import MAD_TO_SD

#: modified z score above which a value counts as an outlier: Iglewicz & Hoaglin, "How to
#: Detect and Handle Outliers" (1993); NIST/SEMATECH e-Handbook, 1.3.5.17
ODD_Z = 3.5
#: with fewer shells the median deviation rests on one or two values: nothing is called odd
MIN_FOR_ODD = 5


@dataclass(frozen=True, slots=True)
class Odd:
    """A shell unlike the others, and in what."""

    id: str
    oddities: tuple["Oddity", ...]

    @property
    def words(self) -> tuple[str, ...]:
        """Short, as on a picture."""
        return tuple(oddity.word for oddity in self.oddities)


@dataclass(frozen=True, slots=True)
class Oddity:
    """One quantity by which a shell is unlike the others: its value, that of the median shell, and
    how many times the scatter it lies from it (robust z)."""

    word: str
    name: str
    unit: str
    decimals: int
    value: Quantity
    median: float
    z: float


@dataclass(frozen=True, slots=True)
class Summary:
    """Short result of one photo; quantities are None where nothing was measured.

    ``diameter_mm``: mean over the measured shells, its own part falling with their number, the
    shared part not. ``spread_mm``: standard deviation between shells, whose uncertainty is
    ``s / sqrt(2 (n - 1))`` (JCGM 100, E.4.3); ``spread_rel``: the same over the median.
    """

    found: int
    measured: int
    touching: int
    diameter_mm: Quantity | None
    spread_mm: Quantity | None
    spread_rel: Quantity | None
    odd: tuple[Odd, ...]


@dataclass(frozen=True, slots=True)
class _Criterion:
    """What is compared: its name and unit, what odd shells are called, the shells' quantities."""

    name: str
    unit: str
    decimals: int
    odd: Words
    quantities: tuple[tuple[str, Quantity], ...]


def _criteria(shells: Sequence[Shell]) -> list[_Criterion]:
    """All measures that make shells odd; without millimetres, the diameter over the median."""
    result = []
    for measure in MEASURES:
        if measure.odd is not None:
            known = tuple((s.id, q) for s in shells if (q := s.quantity(measure.field)) is not None)
            result.append(
                _Criterion(measure.words, measure.unit, measure.decimals, measure.odd, known)
            )
    if not any(s.sizes.diameter_mm for s in shells):
        share = tuple(
            (s.id, Quantity(s.sizes.diameter_rel, 0.0))
            for s in shells
            if s.sizes.diameter_rel is not None
        )
        words = MEASURE["diameter_mm"].odd or Words(0)
        result.append(_Criterion("diameter over the tray's median", "", 3, words, share))
    return sorted(result, key=lambda criterion: criterion.odd.rank)


def summarise(record: Record) -> Summary:
    """Statistics and odd ones out of a record's measured shells."""
    shells = tuple(s for s in record.shells if s.not_measured is None)
    sizes = [s.sizes.diameter_mm for s in shells if s.sizes.diameter_mm is not None]
    relative = [s.sizes.diameter_rel for s in shells if s.sizes.diameter_rel is not None]
    return Summary(
        found=len(record.shells),
        measured=len(shells),
        touching=sum(bool(s.place.touching) for s in record.shells),
        diameter_mm=mean_of(sizes) if sizes else None,
        spread_mm=_spread([q.value for q in sizes]),
        spread_rel=_spread(relative),
        odd=_odd_ones(shells),
    )


def _spread(values: list[float]) -> Quantity | None:
    if len(values) < 2:
        return None
    spread = float(np.std(values, ddof=1))
    return Quantity(spread, spread / sqrt(2 * (len(values) - 1)))


def _odd_ones(shells: tuple[Shell, ...]) -> tuple[Odd, ...]:
    found: dict[str, list[Oddity]] = {}
    for criterion in _criteria(shells):
        for shell_id, oddity in _odd_by(criterion):
            found.setdefault(shell_id, []).append(oddity)
    return tuple(Odd(s.id, tuple(found[s.id])) for s in shells if s.id in found)


def _odd_by(criterion: _Criterion) -> list[tuple[str, Oddity]]:
    """Ids of the shells odd in one quantity, and how odd.

    Robust z: distance from the median over the scatter of the shells (from the median absolute
    deviation) and the shell's own uncertainty together; the shared part is the same for all.
    """
    measured = criterion.quantities
    if len(measured) < MIN_FOR_ODD:
        return []
    values = np.array([q.value for _, q in measured])
    median = float(np.median(values))
    scatter = MAD_TO_SD * float(np.median(np.abs(values - median)))
    odd = []
    for shell_id, quantity in measured:
        scale = hypot(scatter, quantity.u_own)
        z = (quantity.value - median) / scale if scale > 0 else 0.0
        word = criterion.odd.high if z > ODD_Z else criterion.odd.low if z < -ODD_Z else ""
        if word:
            found = Oddity(
                word, criterion.name, criterion.unit, criterion.decimals, quantity, median, z
            )
            odd.append((shell_id, found))
    return odd
