"""Shells as a spreadsheet (XLSX) that opens by a double click in any country: numbers are numbers
whatever the decimal sign, and no text is a formula. Written by XlsxWriter.
"""

import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from petitpied.domain.quantity import Quantity
from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.text.shell_faults import fault_words
from petitpied.text.wording import printable

#: what a baker wants first: head, field of the shell, decimals; each with its ± beside it
FIRST = (
    ("diameter, mm", "diameter_mm", 2),
    ("foot spread, mm", "foot_spread_mm", 2),
    ("out of round, mm", "roundness_mm", 2),
    ("foot off the middle, mm", "lean_mm", 2),
    ("cracks, mm", "crack_length_mm", 1),
    ("browner (+) or paler (-), steps", "browning", 1),
)
#: the rest, behind
BEHIND = (
    ("cap, mm", "cap_diameter_mm", 2),
    ("foot, mm", "foot_diameter_mm", 2),
    ("smallest width, mm", "feret_min_mm", 2),
    ("largest width, mm", "feret_max_mm", 2),
    ("height, mm", "height_mm", 1),
    ("piped, mm", "piped_diameter_mm", 2),
    ("growth, mm", "growth", 2),
    ("aspect ratio", "aspect_ratio", 3),
    ("circularity", "circularity", 3),
    ("lumps, mm", "lumpiness_mm", 2),
    ("edge browner (+), steps", "edge_browning", 1),
)
#: Excel's own limits of a sheet's name, and of a cell's text
SHEET_LETTERS, CELL_LETTERS = 31, 32_000
NOT_IN_SHEETS = re.compile(r"[\[\]:*?/\\']")
#: in the file's properties, so that the same shells give the same bytes
CREATED = datetime(2000, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Column:
    """A column's head, its cells, and the decimals of its numbers (None: as they are)."""

    head: str
    cells: Sequence[Any]
    decimals: int | None = None


def trays_workbook(trays: Mapping[str, Record]) -> bytes:
    """A sheet for each tray by its name: a row a shell; the first columns stay in view."""
    return workbook_bytes({name: _columns(record) for name, record in trays.items()}, frozen=2)


def _columns(record: Record) -> list[Column]:
    shells = record.shells
    surfaces = [s.surface for s in shells]
    columns = [
        Column("shell", [s.id for s in shells]),
        Column("grade", [s.verdict for s in shells]),
        Column("why", ["; ".join(s.reasons) or s.not_measured for s in shells]),
        Column("marks", [", ".join(fault_words(s)) or None for s in shells]),
    ]
    for number, part in enumerate((FIRST, BEHIND)):
        for head, field, decimals in part:
            columns += _pair(shells, head, field, decimals)
        if number == 0:
            columns.append(Column("touches", [" ".join(s.place.touching) or None for s in shells]))
    columns += [
        Column("foot", [None if s.foot is None else s.foot.state for s in surfaces]),
        Column("dimples", [None if s.dimples is None else len(s.dimples) for s in surfaces], 0),
        Column(
            "dark specks", [None if s.pinholes is None else len(s.pinholes) for s in surfaces], 0
        ),
        Column("row from the back", [s.place.row + 1 for s in shells], 0),
        Column("place from the left", [s.place.column + 1 for s in shells], 0),
        Column("doubts", ["; ".join(s.doubts) or None for s in shells]),
    ]
    return [c for c in columns if c.head == "shell" or any(v is not None for v in c.cells)]


def _pair(shells: Sequence[Shell], head: str, field: str, decimals: int) -> list[Column]:
    """A quantity's values and their ±, 95 %."""
    found = [shell.quantity(field) for shell in shells]
    known = [q if isinstance(q, Quantity) else None for q in found]
    unit = head.rpartition(", ")[2] if ", " in head else ""
    return [
        Column(head, [None if q is None else q.value for q in known], decimals),
        Column(f"± {unit} (95 %)".replace("  ", " "),
               [None if q is None else q.u95 for q in known], decimals),
    ]  # fmt: skip


def rows_workbook(name: str, heads: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> bytes:
    """Any table on one sheet."""
    table = list(rows)
    columns = [Column(head, [row[head] for row in table]) for head in heads]
    return workbook_bytes({name: columns}, frozen=1)


def workbook_bytes(sheets: Mapping[str, Sequence[Column]], *, frozen: int) -> bytes:
    """Sheets of columns; heads bold and in view, ``frozen`` columns on the left too."""
    import xlsxwriter

    stream = io.BytesIO()
    book = xlsxwriter.Workbook(
        stream,
        {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
         "strings_to_numbers": False, "nan_inf_to_errors": False},
    )  # fmt: skip
    book.set_properties({"created": CREATED.replace(tzinfo=None), "title": "petitpied"})
    bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
    taken: set[str] = set()
    for name, columns in sheets.items():
        sheet = book.add_worksheet(sheet_name(name, taken))
        sheet.freeze_panes(1, frozen)
        for number, column in enumerate(columns):
            shown = "General" if column.decimals is None else _number_format(column.decimals)
            cell_format = book.add_format({"num_format": shown, "valign": "top"})
            sheet.write_string(0, number, printable(column.head), bold)
            for row, value in enumerate(column.cells, 1):
                _write(sheet, (row, number), value, cell_format)
            sheet.set_column(number, number, _width(column))
        if columns and columns[0].cells:
            sheet.autofilter(0, 0, len(columns[0].cells), len(columns) - 1)
        sheet.set_landscape()
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(0)
    book.close()
    return stream.getvalue()


def _write(sheet: Any, place: tuple[int, int], value: Any, cell_format: Any) -> None:
    if value is None or value == "":
        return
    if isinstance(value, bool) or not isinstance(value, int | float):
        sheet.write_string(*place, printable(str(value))[:CELL_LETTERS], cell_format)
    else:
        sheet.write_number(*place, value, cell_format)


def _number_format(decimals: int) -> str:
    return "0" if decimals == 0 else f"0.{'0' * decimals}"


def _width(column: Column) -> int:
    longest = max((len(str(v)) for v in column.cells if isinstance(v, str)), default=0)
    return max(8, min(longest + 2, 50), min(len(column.head) + 1, 12))


def sheet_name(name: str, taken: set[str]) -> str:
    """A name that a spreadsheet allows, and that no other sheet has; it joins ``taken``."""
    first = stem = NOT_IN_SHEETS.sub("_", printable(name)).strip()[:SHEET_LETTERS] or "tray"
    number = 1
    while stem.casefold() in taken:
        number += 1
        ending = f"-{number}"
        stem = f"{first[: SHEET_LETTERS - len(ending)]}{ending}"
    taken.add(stem.casefold())
    return stem
