"""A report's numbers and sentences, made once from records, history and the baker's files."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from petitpied import __version__
from petitpied.domain.errors import LotError
from petitpied.figures.charts.charts import Sized, diameter_chart
from petitpied.report.blocks import Block, Bullets, Chart, Letterhead, Paragraph, Report, Section
from petitpied.report.lot_part import (
    Sorting,
    boxes_sentence,
    limit_marks,
    pairs_sentence,
    sort_trays,
    sorting_sections,
    verdict_sentence,
)
from petitpied.report.material import Tray
from petitpied.report.oven_part import oven_sections
from petitpied.report.tray_part import measuring_section, shells_section, tray_section
from petitpied.sorting.box_file import BoxKind
from petitpied.sorting.limits import Limits
from petitpied.statistics.tray_summary import Summary, summarise
from petitpied.text.cautions import REPORT_CAUTIONS
from petitpied.text.summary_words import headline
from petitpied.text.wording import printable

if TYPE_CHECKING:
    from petitpied.history.store import Store


@dataclass(frozen=True)
class Wishes:
    """What the baker asks for besides the trays; ``store``: the history, for maps of ovens."""

    letterhead: Letterhead
    title: str = ""
    limits: Limits | None = None
    box: BoxKind | None = None
    pairs: bool = False
    store: "Store | None" = None


def make_report(trays: Sequence[Tray], wishes: Wishes) -> Report:
    """The report of one tray or several.

    Raises
    ------
    LotError
        If there is no tray, or not one shell.
    """
    if not any(tray.record.shells for tray in trays):
        raise LotError(
            what="nothing to report",
            why="there is no shell in the records",
            next_step="inspect a photo of a baked tray first",
        )
    sorting = sort_trays(trays, wishes.limits, wishes.box, pairs=wishes.pairs)
    trays = sorting.trays
    summaries = [summarise(tray.record) for tray in trays]
    shown = [tray_section(t, s, len(trays)) for t, s in zip(trays, summaries, strict=True)]
    found = [
        *_diameters(trays, wishes.limits),
        *sorting_sections(sorting),
        *oven_sections(trays, wishes.store),
    ]
    sections = [
        *(found + shown if len(trays) > 1 else shown + found),  # of many trays the sum first
        measuring_section(trays),
        shells_section(trays),
        cautions_section(),
    ]
    return Report(
        title=wishes.title or _title(trays),
        date=_date(trays),
        letterhead=wishes.letterhead,
        plain=(*_plain(trays, summaries), *_cracked(trays), *_sorted_words(sorting)),
        sections=tuple(sections),
        message=tuple(_message(trays, summaries)),
        made_by=f"petitpied {__version__}",
    )


def _title(trays: Sequence[Tray]) -> str:
    if len(trays) > 1:
        return f"Macaron shells of {len(trays)} trays"
    facts = trays[0].facts
    if facts is not None and facts.flavour:
        return f"Macaron shells: {printable(facts.flavour)}"
    return f"Macaron shells: {trays[0].name}"


def _date(trays: Sequence[Tray]) -> str:
    """From the photos' own clocks: the report's day does not matter."""
    taken = sorted(t.record.photo.taken_at for t in trays if t.record.photo.taken_at)
    if not taken:
        return "The photo holds no date." if len(trays) == 1 else "The photos hold no dates."
    first, last = (printable(t)[:16].replace("T", " ") for t in (taken[0], taken[-1]))
    return f"Photo taken {first}" if first == last else f"Photos taken {first} to {last}"


def _plain(trays: Sequence[Tray], summaries: Sequence[Summary]) -> list[str]:
    """The result in plain words."""
    sizes = diameters(trays)
    found = sum(s.found for s in summaries)
    where = "on the tray" if len(trays) == 1 else f"on {len(trays)} trays"
    lines = [f"{found} {'shell' if found == 1 else 'shells'} {where}."]
    if len(sizes) > 1:
        low, high = np.percentile(sizes, [10, 90])
        lines.append(
            f"Typical size {np.median(sizes):.1f} mm; eight of ten lie between "
            f"{low:.1f} and {high:.1f} mm."
        )
    odd = [(t, o) for t, s in zip(trays, summaries, strict=True) for o in s.odd]
    if odd:
        several = len(trays) > 1
        named = [
            f"{f'{t.name} ' if several else ''}{o.id} ({', '.join(o.words)})" for t, o in odd[:8]
        ]
        more = f" and {len(odd) - 8} more" if len(odd) > 8 else ""
        word = "Odd one out" if len(odd) == 1 else "Odd ones out"
        lines.append(f"{word}: {', '.join(named)}{more}.")
    elif found >= 5:
        lines.append("No shell is unlike the others.")
    return lines


def _cracked(trays: Sequence[Tray]) -> list[str]:
    """Which shells show cracks, where these were looked for."""
    looked = [(t, s) for t in trays for s in t.record.shells if s.cracks is not None]
    if not looked:
        return []
    several = len(trays) > 1
    cracked = [f"{t.name} {s.id}" if several else s.id for t, s in looked if s.cracks]
    if not cracked:
        return ["No shell shows a crack."]
    more = f" and {len(cracked) - 12} more" if len(cracked) > 12 else ""
    return [f"Cracked: {', '.join(cracked[:12])}{more}."]


def _sorted_words(sorting: Sorting) -> list[str]:
    words = [verdict_sentence(sorting)]
    if sorting.pairing is not None:
        words.append(pairs_sentence(sorting.pairing))
    if sorting.boxing is not None and sorting.kind is not None:
        words.append(boxes_sentence(sorting.boxing, sorting.kind))
    return [sentence for sentence in words if sentence]


def _message(trays: Sequence[Tray], summaries: Sequence[Summary]) -> list[str]:
    lines = []
    for tray, summary in zip(trays, summaries, strict=True):
        name = f"{tray.name}: " if len(trays) > 1 else ""
        lines.append(f"{name}{headline(summary)} (± holds 95 %)")
    return lines


def diameters(trays: Sequence[Tray]) -> list[float]:
    """All measured diameters, mm."""
    return [
        s.diameter_mm.value for t in trays for s in t.record.shells if s.diameter_mm is not None
    ]


def _diameters(trays: Sequence[Tray], limits: Limits | None) -> list[Section]:
    shells = [s for t in trays for s in t.record.shells]
    unit, marks = "mm", limit_marks(limits)
    sized = [Sized(s.diameter_mm.value, s.verdict or "") for s in shells if s.diameter_mm]
    if not sized:
        unit, marks = "% of the median", ()
        sized = [Sized(100 * s.diameter_rel) for s in shells if s.diameter_rel is not None]
    if not sized:
        return []
    sizes = [s.value for s in sized]
    chart = diameter_chart(sized, marks, unit)
    blocks: list[Block] = [
        Paragraph(
            f"Smallest {min(sizes):.1f}, median {np.median(sizes):.1f}, largest "
            f"{max(sizes):.1f} {unit}."
        ),
        Chart(chart, "Each mark is one shell, at its diameter."),
    ]
    return [Section("Diameters", tuple(blocks))]


def cautions_section() -> Section:
    items = tuple(
        (c.title, c.text + (f" (Source: {c.source.rstrip('.')}.)" if c.source else ""))
        for c in REPORT_CAUTIONS
    )
    return Section("Cautions", (Bullets(items),))
