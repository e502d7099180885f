"""The evening's answer, for the screen and as JSON."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typer

from petitpied.evening.advice import Advice, OvenSign, next_step
from petitpied.evening.answer import Evening, TrayAnswer, tray_answer
from petitpied.report.lot_part import Sorting
from petitpied.sorting.judging import judge_record
from petitpied.sorting.limits import GradeNames, Limits
from petitpied.sorting.lot import Verdict
from petitpied.text.evening.advice_words import advice_words, fault_words
from petitpied.text.evening.screen import screen
from petitpied.text.wording import printable

#: the page that the baker opens
PAGE = "evening.html"


@dataclass(frozen=True)
class Told:
    """What the answer is made from."""

    sorting: Sorting
    limits: Limits
    target_mm: float | None
    oven: OvenSign | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Answer:
    """The evening, what to do next, and what else is to be said."""

    sorting: Sorting
    limits: Limits
    evening: Evening
    oven: OvenSign | None
    advice: Advice
    notes: tuple[str, ...]


def answer_of(told: Told) -> Answer:
    """The answer of sorted trays."""
    sorting = told.sorting
    trays = tuple(
        tray_answer(
            tray.name, _flavour(tray), tray.record, judge_record(tray.record, told.limits)
        )
        for tray in sorting.trays
    )
    notes = [
        f"{t.name} holds shells of {len(t.colours)} colours ({' and '.join(map(str, t.colours))}), "
        "paired each for itself"
        for t in trays
        if t.colours
    ]
    return Answer(
        sorting,
        told.limits,
        _evening(sorting, trays, told.limits.grades),
        told.oven,
        next_step(trays, told.target_mm, told.oven),
        (*told.notes, *notes),
    )


def _flavour(tray: Any) -> str:
    said = "" if tray.facts is None else tray.facts.flavour or ""
    return printable(said or tray.record.flavour or "")


def _evening(sorting: Sorting, trays: tuple[TrayAnswer, ...], grades: GradeNames) -> Evening:
    pairing, boxing, kind = sorting.pairing, sorting.boxing, sorting.kind
    evening = Evening(trays, grades)
    if pairing is None or not pairing.pairs:
        return evening
    gaps = [pair.difference_mm.value for pair in pairing.pairs]
    good = (Verdict.TOP, Verdict.BOTTOM, None)
    made = {
        "pairs": len(gaps),
        "pair_gap_mm": sum(gaps) / len(gaps),
        "unpaired": sum(left.shell.verdict in good for left in pairing.left_over),
    }
    if boxing is None or kind is None:
        return Evening(trays, grades, **made)  # type: ignore[arg-type]
    whys = [left.why for left in boxing.left_over]
    return Evening(
        trays,
        grades,
        **made,  # type: ignore[arg-type]
        boxes=len(boxing.boxes),
        slots=kind.slots,
        box_range_mm=boxing.worst_range_mm,
        unboxed=len(whys),
        unboxed_why=max(set(whys), key=whys.count) if whys else "",
    )


def tell(answer: Answer, folder: Path, *, as_json: bool, changed: int) -> None:
    """On the standard output; the notes' order is that of their weight."""
    page = printable(str(folder / PAGE))
    if as_json:
        from petitpied.cli.options.lot_options import print_json

        print_json(answer_json(answer, page, changed))
        return
    for line in screen(answer.evening, answer.oven, answer.advice, answer.notes, page):
        typer.echo(line)


def answer_json(answer: Answer, page: str, changed: int) -> Mapping[str, Any]:
    """Everything, for programs."""
    from petitpied.figures.tray.box_pages import boxing_json
    from petitpied.text.lots.pairing_words import pairing_json

    evening, oven, pairing, boxing = (
        answer.evening, answer.oven, answer.sorting.pairing, answer.sorting.boxing,
    )  # fmt: skip
    return {
        "trays": [_tray_json(t) for t in evening.trays],
        "pairing": None if pairing is None else pairing_json(pairing, ()),
        "boxing": None
        if boxing is None or pairing is None
        else boxing_json(boxing, pairing, ()),
        "oven": None
        if oven is None
        else {
            "oven": oven.oven,
            "bakes": oven.bakes,
            "measure": oven.measure or None,
            "pattern": oven.kind or None,
            "text": oven.said or None,
            "p_over_all_measures": round(oven.chance, 5) if oven.measure else None,
            "shown": oven.shown,
        },
        "next": {
            "kind": answer.advice.kind,
            "sure": answer.advice.sure,
            "shells": answer.advice.shells,
            "text": advice_words(answer.advice),
        },
        "notes": list(answer.notes),
        "page": page,
        "files_written": changed,
    }


def _tray_json(tray: TrayAnswer) -> Mapping[str, Any]:
    mean = tray.mean_mm
    return {
        "name": tray.name,
        "flavour": tray.flavour or None,
        "shells": tray.found,
        "good": tray.good,
        "counts": {verdict.value: number for verdict, number in tray.counts.items()},
        "mean_diameter_mm": None if mean is None else round(mean.value, 3),
        "mean_diameter_u95_mm": None if mean is None else round(mean.u95, 3),
        "eight_of_ten_within_mm": None if tray.middle_mm is None else round(tray.middle_mm, 3),
        "colours": list(tray.colours),
        "not_top": _faults_json(tray),
    }


def _faults_json(tray: TrayAnswer) -> Sequence[Mapping[str, Any]]:
    return [
        {
            "id": fault.id,
            "verdict": fault.verdict.value,
            "measure": fault.reason.name,
            "kind": fault.reason.kind,
            "side": fault.reason.side,
            "text": fault_words(fault).strip("()"),
        }
        for fault in tray.faults
    ]
