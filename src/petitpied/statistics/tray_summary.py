"""What one record says in short: how many shells, how large, how even, which are odd."""

from collections.abc import Callable
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from petitpied.domain.quantity import Quantity
from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.domain.uncertainty import mean_of

#: modified z score above which a value counts as an outlier: Iglewicz & Hoaglin, "How to
#: Detect and Handle Outliers" (1993); NIST/SEMATECH e-Handbook, 1.3.5.17
ODD_Z = 3.5
#: standard deviation over median absolute deviation of a normal distribution, 1 / 0.6745
MAD_TO_SD = 1.4826
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
    """A quantity to compare; an empty word: that side is never odd."""

    name: str
    unit: str
    low: str
    high: str
    get: Callable[[Shell], Quantity | None]


def _relative_diameter(shell: Shell) -> Quantity | None:
    return None if shell.diameter_rel is None else Quantity(shell.diameter_rel, 0.0)


SIZE = _Criterion("diameter", "mm", "small", "large", lambda s: s.diameter_mm)
RELATIVE_SIZE = _Criterion(
    "diameter over the tray's median", "", "small", "large", _relative_diameter
)
SHAPE = (
    _Criterion("aspect ratio", "", "oval", "", lambda s: s.aspect_ratio),
    _Criterion("roundness", "mm", "", "not round", lambda s: s.roundness_mm),
    _Criterion("lean", "mm", "", "leaning", lambda s: s.lean_mm),
    _Criterion("foot spread", "mm", "", "wide foot", lambda s: s.foot_spread_mm),
    _Criterion("height", "mm", "flat", "", lambda s: s.height_mm),
)


def summarise(record: Record) -> Summary:
    """Statistics and odd ones out of a record's measured shells."""
    shells = tuple(s for s in record.shells if s.not_measured is None)
    sizes = [s.diameter_mm for s in shells if s.diameter_mm is not None]
    relative = [s.diameter_rel for s in shells if s.diameter_rel is not None]
    return Summary(
        found=len(record.shells),
        measured=len(shells),
        touching=sum(bool(s.touching) for s in record.shells),
        diameter_mm=mean_of(sizes) if sizes else None,
        spread_mm=_spread([q.value for q in sizes]),
        spread_rel=_spread(relative),
        odd=_odd_ones(shells, SIZE if sizes else RELATIVE_SIZE),
    )


def _spread(values: list[float]) -> Quantity | None:
    if len(values) < 2:
        return None
    spread = float(np.std(values, ddof=1))
    return Quantity(spread, spread / sqrt(2 * (len(values) - 1)))


def _odd_ones(shells: tuple[Shell, ...], size: _Criterion) -> tuple[Odd, ...]:
    found: dict[str, list[Oddity]] = {}
    for criterion in (size, *SHAPE):
        for shell_id, oddity in _odd_by(criterion, shells):
            found.setdefault(shell_id, []).append(oddity)
    return tuple(Odd(s.id, tuple(found[s.id])) for s in shells if s.id in found)


def _odd_by(criterion: _Criterion, shells: tuple[Shell, ...]) -> list[tuple[str, Oddity]]:
    """Ids of the shells odd in one quantity, and how odd.

    Robust z: distance from the median over the scatter of the shells (from the median absolute
    deviation) and the shell's own uncertainty together; the shared part is the same for all.
    """
    measured = [(s.id, q) for s in shells if (q := criterion.get(s)) is not None]
    if len(measured) < MIN_FOR_ODD:
        return []
    values = np.array([q.value for _, q in measured])
    median = float(np.median(values))
    scatter = MAD_TO_SD * float(np.median(np.abs(values - median)))
    odd = []
    for shell_id, quantity in measured:
        scale = hypot(scatter, quantity.u_own)
        z = (quantity.value - median) / scale if scale > 0 else 0.0
        word = criterion.high if z > ODD_Z else criterion.low if z < -ODD_Z else ""
        if word:
            found = Oddity(word, criterion.name, criterion.unit, quantity, median, z)
            odd.append((shell_id, found))
    return odd
