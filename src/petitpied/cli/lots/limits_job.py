"""A starter limits file: the usual limits, or those by the baker's own trays."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from petitpied.domain.errors import LotError
from petitpied.files.records.lot_files import read_trays
from petitpied.sorting.limits import LIMITABLE
from petitpied.sorting.lot_trays import measured_of
from petitpied.sorting.starter_limits import (
    USUAL_ORIGIN,
    WANTED_TOPS,
    faults_forgiven,
    limits_from,
    starter_text,
    top_share,
    usual_limits,
)
from petitpied.text.lots.verdict_words import spoken
from petitpied.text.wording import share


@dataclass(frozen=True, slots=True)
class Starter:
    """The file's text, and what to say of it."""

    text: str
    lines: tuple[str, ...] = ()


def usual_starter() -> Starter:
    """The trade's usual limits."""
    return Starter(starter_text(usual_limits(), USUAL_ORIGIN))


def starter_from(records: Sequence[Path]) -> Starter:
    """Limits by what these trays do.

    Raises
    ------
    RecordError, LotError
        If a record cannot be used, or there is no measured shell in them.
    """
    trays = read_trays(records)
    shells = [m for tray in trays for m in measured_of(tray.record, tuple(LIMITABLE))]
    try:
        limits = limits_from(shells)
    except ValueError:
        raise LotError(
            what="no limits can be made from these records",
            why="there is no measured shell in them",
            next_step="inspect a photo of your best tray first, or take the usual: --new",
        ) from None
    there = [s for s in shells if s.not_measured is None]
    tops = top_share(there, limits)
    names = ", ".join(tray.name for tray in trays)
    said = f"{names}: {share(tops)} of {len(there)} shells are tops by these limits"
    lines = [said]
    if tops < WANTED_TOPS:
        lines.append("fewer than four in five: some shells lack a size; take the photo again")
    forgiven = [spoken(name) for name in faults_forgiven(limits)]
    if forgiven:
        named = ", ".join(forgiven)
        lines.append(f"these limits forgive more than usual: {named}; is this your best tray?")
    text = starter_text(limits, f"The numbers are what your own tray does. {said}.")
    return Starter(text, tuple(lines))
