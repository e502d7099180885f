"""The trays of a lot: their records, the values of their shells, how many have each verdict."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from petitpied.domain.quantity import Quantity
from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.sorting.lot import Verdict
from petitpied.sorting.verdicts import Count, Value


@dataclass(frozen=True)
class LotTray:
    """One record of a lot: what it says, and a short name for people.

    ``key``: the file as the baker named it; as in `LotShell.record`.
    """

    key: str
    name: str
    record: Record
    flavour: str = ""


@dataclass(frozen=True)
class Aside:
    """A shell that could not be taken into the lot, and why."""

    record: str
    id: str
    why: str


def value_of(shell: Shell, name: str) -> Value | None:
    """A measured value by its name; marks with confidences become a count."""
    value = getattr(shell, name)
    if isinstance(value, tuple):
        return Count(tuple(mark.confidence for mark in value))
    return value if isinstance(value, Quantity) else None


def quantity_of(shell: Shell, name: str) -> Quantity | None:
    """A measured quantity by its name, where the shell has it."""
    value = value_of(shell, name)
    return value if isinstance(value, Quantity) else None


def verdict_counts(shells: Sequence[Shell]) -> Mapping[Verdict, int]:
    """How many shells have each verdict, best first."""
    return {v: sum(s.verdict == v.value for s in shells) for v in Verdict}
