"""The trays of a lot: their records, the values of their shells, how many have each verdict."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from petitpied.domain.measures import MEASURE
from petitpied.domain.quantity import Quantity
from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.domain.surface import Foot, SurfaceMark
from petitpied.sorting.limits import LIMITABLE
from petitpied.sorting.lot import Verdict
from petitpied.sorting.verdicts import Count, Measured, Value


@dataclass(frozen=True)
class LotTray:
    """One record of a lot: what it says, and a short name for people.

    ``key``: the file's place within the lot's folder, as in `LotShell.record`, tables and JSON.
    ``given``: the file as the baker named it.
    """

    key: str
    name: str
    record: Record
    flavour: str = ""
    given: str = ""


@dataclass(frozen=True)
class Aside:
    """A shell that could not be taken into the lot, and why."""

    record: str
    id: str
    why: str


def value_of(shell: Shell, name: str) -> Value | None:
    """A measured value by its limit's name; marks with confidences become a count."""
    field, _, part = LIMITABLE[name].field.partition(".")
    surface = shell.surface
    if field in MEASURE:
        return shell.quantity(field)
    if field == "foot":
        return _of_foot(surface.foot, part)
    if field == "peak":
        if surface.dimples is None:  # both are looked for at once
            return None
        return Count(() if surface.peak is None else (surface.peak.confidence,))
    marks: tuple[SurfaceMark, ...] | None = getattr(surface, field)
    return None if marks is None else Count(tuple(mark.confidence for mark in marks))


def _of_foot(foot: Foot | None, part: str) -> Value | None:
    if foot is None:
        return None
    if part in ("none", "hidden"):
        return None if foot.state == "unsure" else Count((1.0,) if foot.state == part else ())
    found: Quantity | None = getattr(foot, part)
    return found


def quantity_of(shell: Shell, name: str) -> Quantity | None:
    """A measured quantity by its name, where the shell has it."""
    value = value_of(shell, name)
    return value if isinstance(value, Quantity) else None


def count_of(shell: Shell, name: str) -> int | None:
    """How many there are, where a limit's name is a count."""
    value = value_of(shell, name)
    return value.likely if isinstance(value, Count) else None


def measured_of(record: Record, names: Sequence[str]) -> tuple[Measured, ...]:
    """What each shell of a record can be judged by, and why it lacks the rest."""
    return tuple(_measured(shell, names) for shell in record.shells)


def _measured(shell: Shell, names: Sequence[str]) -> Measured:
    values = {n: v for n in names if (v := value_of(shell, n)) is not None}
    reasons = dict(shell.missing)
    missing = {}
    for name in names:
        if name not in values:
            field = LIMITABLE[name].field
            why = reasons.get(field) or reasons.get(field.partition(".")[0])
            missing[name] = why or _why_foot_unknown(shell, name) or "not measured"
    return Measured(values, missing, shell.not_measured)


def _why_foot_unknown(shell: Shell, name: str) -> str:
    if LIMITABLE[name].field.startswith("foot.") and shell.surface.foot is not None:
        return "the camera looked too straight down to see under the cap"
    return ""


def verdict_counts(shells: Sequence[Shell]) -> Mapping[Verdict, int]:
    """How many shells have each verdict, best first."""
    return {v: sum(s.verdict == v.value for s in shells) for v in Verdict}
