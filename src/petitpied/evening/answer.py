"""What one evening's trays came to: how many shells are good, which are not and why, how even."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from petitpied.domain.quantity import Quantity
from petitpied.domain.record import Record
from petitpied.domain.uncertainty import mean_of
from petitpied.sorting.colours_apart import large_groups
from petitpied.sorting.judging import JudgedRecord
from petitpied.sorting.limits import GradeNames
from petitpied.sorting.lot import Verdict
from petitpied.sorting.verdicts import Reason

#: eight of ten: the percentiles between which a tray is called even
MIDDLE_PERCENT = (10.0, 90.0)


@dataclass(frozen=True)
class Fault:
    """A shell that is no top: its grade, and the first reason; None where nothing was measured."""

    id: str
    verdict: Verdict
    reason: Reason


@dataclass(frozen=True)
class TrayAnswer:
    """One tray. ``mean_mm``: mean diameter; ``middle_mm``: eight of ten shells differ by no more;
    ``colours``: groups of shells of quite different colours, where there is more than one."""

    name: str
    flavour: str
    counts: Mapping[Verdict, int]
    faults: tuple[Fault, ...]
    mean_mm: Quantity | None
    middle_mm: float | None
    colours: tuple[int, ...] = ()
    camera_height_mm: float | None = None

    @property
    def found(self) -> int:
        """All shells seen."""
        return sum(self.counts.values())

    @property
    def good(self) -> int:
        """Tops and bottoms."""
        return self.counts[Verdict.TOP] + self.counts[Verdict.BOTTOM]


@dataclass(frozen=True)
class Evening:
    """All trays of one evening and what was made of them.

    ``pairs``: how many macarons, None where nothing could be paired, and by how much their two
    halves differ on average; ``unpaired``: good shells without a partner. ``boxes`` of ``slots``;
    ``unboxed``: macarons in none; None without a box file's worth of answers.
    """

    trays: tuple[TrayAnswer, ...]
    grades: GradeNames
    pairs: int | None = None
    pair_gap_mm: float = 0.0
    unpaired: int = 0
    boxes: int | None = None
    slots: int = 0
    box_range_mm: float | None = None
    unboxed: int = 0
    unboxed_why: str = ""

    def count(self, verdict: Verdict) -> int:
        """Shells of one grade over all trays."""
        return sum(tray.counts[verdict] for tray in self.trays)


def tray_answer(name: str, flavour: str, record: Record, judged: JudgedRecord) -> TrayAnswer:
    """The answer of one record and its judgements."""
    faults = tuple(
        Fault(shell.id, found.verdict, found.reasons[0])
        for shell, found in zip(record.shells, judged.judgements, strict=True)
        if found.verdict is not Verdict.TOP and found.reasons
    )
    sizes = [s.sizes.diameter_mm for s in record.shells if s.sizes.diameter_mm is not None]
    values = [q.value for q in sizes]
    low, high = np.percentile(values, MIDDLE_PERCENT) if len(values) > 1 else (0.0, 0.0)
    view = record.view
    return TrayAnswer(
        name=name,
        flavour=flavour,
        counts={v: sum(j.verdict is v for j in judged.judgements) for v in Verdict},
        faults=faults,
        mean_mm=mean_of(sizes) if sizes else None,
        middle_mm=float(high - low) if len(values) > 1 else None,
        colours=colours_of(record),
        camera_height_mm=None if view is None else -float(view.camera_centre_mm[2]),
    )


def colours_of(record: Record) -> tuple[int, ...]:
    """How many shells have each of a tray's colours, where they differ at a glance; else empty."""
    labs = [s.surface.colour.lab for s in record.shells if s.surface.colour is not None]
    return large_groups(np.array(labs)) if labs else ()
