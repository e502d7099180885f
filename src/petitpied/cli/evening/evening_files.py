"""The evening's files: records and tables with verdicts, sheets to pair by, boxes, the page."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from petitpied.cli.evening.telling import PAGE, Answer
from petitpied.report.lot_part import lot_tray
from petitpied.report.material import Tray

if TYPE_CHECKING:
    from petitpied.figures.tray.box_pages import Shown
    from petitpied.history.store import Store
    from petitpied.report.blocks import Letterhead

TABLE = "evening.xlsx"
CUSTOMERS = "for_customers.html"


def record_files(trays: Sequence[Tray]) -> dict[str, bytes]:
    """Records and their tables by file name, verdicts filled in."""
    from petitpied.files.records.record_files import record_bytes
    from petitpied.files.records.table_files import csv_bytes

    files = {}
    for tray in trays:
        files[f"{tray.name}.json"] = record_bytes(tray.record)
        files[f"{tray.name}.csv"] = csv_bytes(tray.record)
    return files


def pages(
    answer: Answer, letterhead: "Letterhead | None", store: "Store | None", *, pdf: bool
) -> dict[str, bytes]:
    """Sheets, lists, pictures of boxes and the page, by file name."""
    from petitpied.files.records.workbook import trays_workbook

    page = _report(answer, letterhead, store, pdf=pdf)
    table = trays_workbook({tray.name: tray.record for tray in answer.sorting.trays})
    return {**_pair_files(answer), **_box_files(answer), TABLE: table, **page}


def _names(answer: Answer) -> Mapping[str, str]:
    return {tray.name: tray.name for tray in answer.sorting.trays}


def _pair_files(answer: Answer) -> dict[str, bytes]:
    """The list of pairs, and of each tray a sheet to pick by."""
    from petitpied.figures.raster import jpeg_bytes
    from petitpied.figures.tray.pair_pages import pair_pictures
    from petitpied.figures.tray.tray_sheet import tray_sheet
    from petitpied.text.lots.pairing_words import (
        left_lines,
        pair_codes,
        pair_lines,
        pair_listing,
        summary_text,
    )

    pairing = answer.sorting.pairing
    if pairing is None or not pairing.pairs:
        return {}
    names = _names(answer)
    seen = sum(tray.found for tray in answer.evening.trays)
    lines = [
        *pair_lines(pairing, names),
        *left_lines(pairing, (), names),
        summary_text(pairing, seen),
    ]
    files = {"pairs.txt": "\n".join([*lines, ""]).encode()}
    for tray in answer.sorting.trays:
        lot = lot_tray(tray)
        photo = None if tray.photo is None else tray.photo.pixels_bgr
        sheet = tray_sheet(
            lot, photo, pair_codes(pairing, lot), pair_listing(pairing, lot, names)
        )
        files[f"{tray.name}.pairs.jpg"] = jpeg_bytes(sheet)
    return {**files, **pair_pictures(pairing, _shown(answer))}


def _shown(answer: Answer) -> "Shown":
    from petitpied.figures.tray.box_pages import Shown

    trays = answer.sorting.trays
    return Shown(
        {tray.name: lot_tray(tray) for tray in trays},
        {tray.name: tray.photo.pixels_bgr for tray in trays if tray.photo is not None},
    )


def _box_files(answer: Answer) -> dict[str, bytes]:
    """The list of boxes, and a picture of each."""
    from petitpied.figures.tray.box_pages import box_lines, box_pictures, summary_text

    boxing, kind = answer.sorting.boxing, answer.sorting.kind
    if boxing is None or kind is None or not boxing.boxes:
        return {}
    lines = [*box_lines(boxing, _names(answer)), summary_text(boxing, kind)]
    return {
        "boxes.txt": "\n".join([*lines, ""]).encode(),
        **box_pictures(boxing, kind, _shown(answer)),
    }


def _report(
    answer: Answer, letterhead: "Letterhead | None", store: "Store | None", *, pdf: bool
) -> dict[str, bytes]:
    from petitpied.report.blocks import Letterhead
    from petitpied.report.customer import customer_report
    from petitpied.report.html import report_html
    from petitpied.report.model import Wishes, make_report
    from petitpied.text.evening.screen import page_lines

    sorting = answer.sorting
    head = Letterhead() if letterhead is None else letterhead
    wishes = Wishes(head, "", answer.limits, sorting.kind, pairs=True, store=store)
    report = make_report(sorting.trays, wishes, sorting)
    said = page_lines(answer.evening, answer.oven, answer.advice, answer.notes)
    report = replace(report, plain=said)
    files = {PAGE: report_html(report)}
    for_customers = customer_report(sorting, head)
    if for_customers is not None:
        files[CUSTOMERS] = report_html(for_customers)
    if pdf:
        from petitpied.report.pdf import report_pdf  # takes as long as all the rest

        files[PAGE.replace(".html", ".pdf")] = report_pdf(report)
    return files
