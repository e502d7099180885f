"""What a report says of sorting: verdicts, yield, faults, pairs, boxes."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from petitpied.domain.shell import Shell
from petitpied.figures.charts.box_chart import box_chart
from petitpied.figures.charts.charts import Mark, count_chart
from petitpied.piping.recipe import GoodShare
from petitpied.report.blocks import Block, Bullets, Chart, Paragraph, Section, Table
from petitpied.report.material import Tray
from petitpied.report.pictures import box_photo, pair_sheet
from petitpied.sorting.box_file import BoxKind
from petitpied.sorting.limits import GradeNames, Limit, Limits
from petitpied.sorting.lot import Verdict
from petitpied.text.wording import printable, share, with_u95

if TYPE_CHECKING:  # solvers and statistics are slow to import: only where they are used
    from petitpied.sorting.boxes import Boxing
    from petitpied.sorting.lot_trays import LotTray
    from petitpied.sorting.pairing import Pairing

#: faults with a word of their own; others are "NAME too large" or "too small"
FAULT_WORDS = {
    "crack_length_mm": "cracked",
    "lopsided_mm": "lopsided foot",
    "one_sided_foot_mm": "one-sided foot",
    "lumpiness_mm": "lumpy",
}
BOX_TIME_S = 5.0  # for evening out the colours
MOST_BOX_CHARTS = 12
MOST_PAIRS = 200


@dataclass(frozen=True)
class Sorting:
    """What sorting made of the trays; parts that were not asked for are None."""

    trays: tuple[Tray, ...]  # with verdicts in their records, where limits were given
    limits: Limits | None
    notes: tuple[str, ...] = ()
    pairing: "Pairing | None" = None
    kind: BoxKind | None = None
    boxing: "Boxing | None" = None

    @property
    def shells(self) -> tuple[Shell, ...]:
        return tuple(shell for tray in self.trays for shell in tray.record.shells)


def sort_trays(
    trays: Sequence[Tray],
    limits: Limits | None,
    kind: BoxKind | None,
    *,
    pairs: bool,
    mix_flavours: bool = False,
    limits_of: Callable[[Tray], Limits] | None = None,
) -> Sorting:
    """Judge, pair and box, as far as asked; trays without a scale are neither judged nor paired.
    ``limits_of``: where trays have limits of their own."""
    notes: list[str] = []
    sorted_trays = list(trays)
    if limits is not None:
        from petitpied.files.records.lot_files import judged

        for i, tray in enumerate(trays):
            if tray.record.view is not None:
                own = limits if limits_of is None else limits_of(tray)
                record, said = judged(tray.record, own)
                sorted_trays[i] = replace(tray, record=record)
                notes += said
    done = Sorting(tuple(sorted_trays), limits, tuple(dict.fromkeys(notes)))
    if not pairs and kind is None:
        return done
    from petitpied.files.records.lot_files import lot_of
    from petitpied.sorting.pairing import pair_lot

    lot = [lot_tray(tray) for tray in sorted_trays if tray.record.view is not None]
    pairing = pair_lot(lot_of(lot)[0], mix_flavours=mix_flavours)
    boxing = None
    if kind is not None:
        from petitpied.sorting.boxes import fill_boxes, macaron

        numbered = enumerate(pairing.pairs, 1)
        macarons = [
            macaron(number, pair, kind.filling_height_mm)
            for number, pair in numbered
            if pair.grade is not Verdict.BOTTOM  # a gift box holds none of two bottoms
        ]
        boxing = fill_boxes(macarons, kind, BOX_TIME_S)
    return replace(done, pairing=pairing, kind=kind, boxing=boxing)


def lot_tray(tray: Tray) -> "LotTray":
    """The tray as sorting sees it; its name is its key."""
    from petitpied.sorting.lot_trays import LotTray

    said = "" if tray.facts is None else tray.facts.flavour or ""
    flavour = said or tray.record.flavour or ""
    return LotTray(tray.name, tray.name, tray.record, flavour)


def good_share(sorting: Sorting) -> GoodShare | None:
    """Tops of judged shells; None without limits or shells."""
    judged_shells = [s for s in sorting.shells if s.verdict is not None]
    if not judged_shells:
        return None
    passed = sum(s.verdict == Verdict.TOP for s in judged_shells)
    return GoodShare(passed, len(judged_shells))


def verdict_sentence(sorting: Sorting) -> str:
    """As in "By your limits 28 of 31 shells are top; 2 bottom."; "" without limits."""
    counted = good_share(sorting)
    if counted is None:
        return ""
    others = Counter(s.verdict for s in sorting.shells if s.verdict not in (None, Verdict.TOP))
    grades = GradeNames() if sorting.limits is None else sorting.limits.grades
    words = {
        Verdict.BOTTOM: grades.bottom,
        Verdict.CRUMBS: grades.crumbs,
        Verdict.BY_EYE: "to check by eye",
    }
    parts = [f"{others[v]} {word}" for v, word in words.items() if others[v]]
    tail = f"; {', '.join(parts)}" if parts else ""
    return f"By your limits {counted.good} of {counted.baked} shells are {grades.top}{tail}."


def limit_marks(limits: Limits | None) -> tuple[Mark, ...]:
    """Limits and target of the diameter, for the axis of the chart."""
    limit = _diameter_limit(limits)
    if limit is None:
        return ()
    places = (("from", limit.low), ("wanted", limit.target), ("to", limit.high))
    return tuple(Mark(v, f"{word} {v:g}") for word, v in places if v is not None)


def _diameter_limit(limits: Limits | None) -> Limit | None:
    passes = () if limits is None else limits.tops
    return next((limit for limit in passes if limit.name == "diameter_mm"), None)


def sorting_sections(sorting: Sorting) -> list[Section]:
    """Yield and faults, pairs, boxes: those that were asked for."""
    sections = []
    if sorting.limits is not None and good_share(sorting) is not None:
        sections.append(_yield_section(sorting, sorting.limits))
    if sorting.pairing is not None:
        sections.append(_pairs_section(sorting, sorting.pairing))
    if sorting.boxing is not None and sorting.kind is not None:
        sections.append(_boxes_section(sorting, sorting.boxing, sorting.kind))
    return sections


def _yield_section(sorting: Sorting, limits: Limits) -> Section:
    from petitpied.sorting.yields import wilson

    counted = good_share(sorting)
    if counted is None:
        raise ValueError("no shell was judged")
    interval = wilson(counted.good, counted.baked)
    blocks: list[Block] = [
        Paragraph(verdict_sentence(sorting), "strong"),
        Paragraph(
            f"Yield {share(interval.value)} (for a process like this {share(interval.low)} to "
            f"{share(interval.high)}, 95 % sure)."
        ),
    ]
    faults = _faults(sorting, limits)
    if faults:
        chart = count_chart(faults, counted.baked)
        blocks.append(Chart(chart, "Faults by kind; a shell may have several."))
    capable = _capability_line(sorting, limits)
    if capable:
        blocks.append(Paragraph(capable))
    blocks.append(
        Paragraph(
            f"A shell is a {limits.grades.top} when the chance that it is out of your limits is at "
            f"most {share(limits.risk)}; too near to tell is checked by eye.",
            "note",
        )
    )
    blocks += [Paragraph(_note(note), "note") for note in sorting.notes]
    return Section("Yield and faults", tuple(blocks))


def _note(note: str) -> str:
    """A note as a sentence; a quantity's name at its beginning is spoken."""
    from petitpied.text.lots.verdict_words import spoken

    first, _, rest = note.partition(" ")
    words = f"{spoken(first)} {rest}"
    return f"{words[:1].upper()}{words[1:]}."


def _faults(sorting: Sorting, limits: Limits) -> list[tuple[str, int]]:
    """Faults by kind, most frequent first: values surely outside what a top may have."""
    counts: Counter[str] = Counter()
    for shell in sorting.shells:
        for limit in limits.tops:
            word = _fault(shell, limit)
            if word:
                counts[word] += 1
    return counts.most_common(10)


def _fault(shell: Shell, limit: Limit) -> str:
    from petitpied.sorting.lot_trays import count_of, quantity_of
    from petitpied.text.lots.verdict_words import spoken

    if shell.verdict in (Verdict.BOTTOM, Verdict.CRUMBS) and limit.high is not None:
        counted = count_of(shell, limit.name)
        if counted is not None and counted > limit.high:
            return spoken(limit.name)
    quantity = quantity_of(shell, limit.name)
    if quantity is None or shell.verdict not in (Verdict.BOTTOM, Verdict.CRUMBS):
        return ""
    too_low = limit.low is not None and quantity.value < limit.low
    too_high = limit.high is not None and quantity.value > limit.high
    if not (too_low or too_high):
        return ""
    side = "too large" if too_high else "too small"
    return FAULT_WORDS.get(limit.name, f"{spoken(limit.name)} {side}")


def _capability_line(sorting: Sorting, limits: Limits) -> str:
    from petitpied.sorting.yields import capability
    from petitpied.text.lots.sorting_words import outside_text

    limit = _diameter_limit(limits)
    sizes = [s.sizes.diameter_mm for s in sorting.shells if s.sizes.diameter_mm is not None]
    able = None if limit is None else capability(sizes, limit)
    if limit is None or able is None:
        return ""
    return (
        f"Diameter: mean {able.mean:.1f} mm, usual spread {able.spread:.1f} mm; "
        f"{outside_text(limit, able)}."
    )


def _pairs_section(sorting: Sorting, pairing: "Pairing") -> Section:
    from petitpied.text.lots.pairing_words import code_of, turn_text

    several = len(sorting.trays) > 1

    def place(record: str, shell_id: str) -> str:
        return f"{printable(record)} {shell_id}" if several else printable(shell_id)

    rows = tuple(
        (
            code_of(number, pair),
            place(pair.a.record, pair.a.id),
            place(pair.b.record, pair.b.id),
            with_u95(pair.difference_mm, ""),
            turn_text(pair),
        )
        for number, pair in enumerate(pairing.pairs[:MOST_PAIRS], 1)
    )
    heads = ("pair", "shell", "with", "difference, mm", "turn the second")
    blocks: list[Block] = [Paragraph(pairs_sentence(pairing), "strong")]
    blocks += _pair_pictures(sorting, pairing)
    if rows:
        numeric = (False, False, False, True, False)
        blocks.append(Table("Pairs in picking order", heads, rows, numeric))
        blocks.append(
            Paragraph(
                "The shell named first lies below. Where a turn is told, turn the second (right: "
                'clockwise), then fold it over sideways onto the first. "b": of two bottoms. '
                "Difference of diameters ± 95 %.",
                "note",
            )
        )
    if pairing.left_over:
        left = [(place(o.shell.record, o.shell.id), o.why) for o in pairing.left_over]
        blocks += [Paragraph("Left over:"), _by_reason(left)]
    return Section("Pairs", tuple(blocks))


def _pair_pictures(sorting: Sorting, pairing: "Pairing") -> list[Block]:
    """The sheet of each tray whose photo is there: same number, one macaron."""
    from petitpied.text.lots.pairing_words import pair_codes

    pictures: list[Block] = []
    for tray in sorting.trays:
        if tray.photo is not None and tray.record.view is not None and pairing.pairs:
            lot = lot_tray(tray)
            codes = pair_codes(pairing, lot)
            pictures.append(pair_sheet(lot, tray.photo, codes, len(sorting.trays)))
    return pictures


def _by_reason(left: Sequence[tuple[str, str]]) -> Bullets:
    """Who is left over, gathered by why."""
    gathered: dict[str, list[str]] = {}
    for name, why in left:
        gathered.setdefault(printable(why), []).append(name)
    return Bullets(tuple((", ".join(names), why) for why, names in gathered.items()))


def pairs_sentence(pairing: "Pairing") -> str:
    """As in "15 pairs, one shell left over."."""
    count, left = len(pairing.pairs), len(pairing.left_over)
    words = f"{count} {'pair' if count == 1 else 'pairs'}"
    if left:
        words += f", {left} {'shell' if left == 1 else 'shells'} left over"
    if count:
        mean = sum(p.difference_mm.value for p in pairing.pairs) / count
        words += f"; the two of a pair differ by {mean:.1f} mm on average"
    return words + "."


def _boxes_section(sorting: Sorting, boxing: "Boxing", kind: BoxKind) -> Section:
    blocks: list[Block] = [Paragraph(boxes_sentence(boxing, kind), "strong")]
    for number, box in enumerate(boxing.boxes[:MOST_BOX_CHARTS], 1):
        numbers = ", ".join(str(one.number) for one in box.macarons)
        caption = f"Box {number}: pairs {numbers}; sizes within {box.range_mm:.1f} mm."
        photographed = any(tray.photo is not None for tray in sorting.trays)
        if photographed:
            blocks.append(box_photo(number, boxing, kind, sorting.trays, caption))
        else:
            blocks.append(Chart(box_chart(box, kind, number), caption))
    if boxing.left_over:
        left = [(f"pair {o.macaron.number}", o.why) for o in boxing.left_over]
        blocks += [Paragraph("In no box:"), _by_reason(left)]
    blocks += [Paragraph(f"{n[:1].upper()}{n[1:]}.", "note") for n in boxing.notes]
    return Section("Boxes", tuple(blocks))


def boxes_sentence(boxing: "Boxing", kind: BoxKind) -> str:
    """As in "2 boxes of 6 filled; within a box the diameters differ by at most 1.2 mm."."""
    count = len(boxing.boxes)
    word = "box" if count == 1 else "boxes"
    text = f"{count} {word} of {kind.slots} filled"
    if boxing.worst_range_mm is not None:
        text += f"; within a box the diameters differ by at most {boxing.worst_range_mm:.1f} mm"
    return text + "."
