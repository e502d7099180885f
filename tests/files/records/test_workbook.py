"""The spreadsheet: numbers are numbers, text is text, the columns a baker wants come first."""

import io
import zipfile
from dataclasses import replace
from xml.etree import ElementTree

from petitpied.files.records.workbook import rows_workbook, sheet_name, trays_workbook
from tests.records import a_record, a_shell, unmeasured_shell

SPACE = {"x": "http://schemas.openxmlformats.org/spreadsheetml/2006/main"}


def sheets_of(data):
    """Sheet's name to rows of cells, read by the standard library; numbers are floats."""
    packed = zipfile.ZipFile(io.BytesIO(data))
    texts = [
        "".join(t.text or "" for t in item.iterfind(".//x:t", SPACE))
        for item in ElementTree.fromstring(packed.read("xl/sharedStrings.xml"))
    ]
    book = ElementTree.fromstring(packed.read("xl/workbook.xml"))
    names = [sheet.get("name") for sheet in book.iterfind(".//x:sheet", SPACE)]
    found = {}
    for number, name in enumerate(names, 1):
        root = ElementTree.fromstring(packed.read(f"xl/worksheets/sheet{number}.xml"))
        assert root.find(".//x:f", SPACE) is None  # no formula anywhere
        rows = []
        for row in root.iterfind(".//x:row", SPACE):
            cells = {}
            for cell in row:
                column = cell.get("r").rstrip("0123456789")
                value = cell.find("x:v", SPACE)
                if value is not None:
                    is_text = cell.get("t") == "s"
                    cells[column] = texts[int(value.text)] if is_text else float(value.text)
            rows.append(cells)
        found[name] = rows
    return found


def test_a_sheet_a_tray_with_numbers_as_numbers():
    shells = [a_shell("A1", 0, 0, 42.125), unmeasured_shell("A2")]
    shells[0] = replace(shells[0], verdict="top", reasons=("=HYPERLINK(1)",))
    data = trays_workbook({"rose: a/b": a_record(shells), "lemon": a_record(shells)})
    sheets = sheets_of(data)
    assert list(sheets) == ["rose_ a_b", "lemon"]
    heads, first, second = sheets["lemon"]
    assert list(heads.values())[:4] == ["shell", "grade", "why", "diameter, mm"]
    assert first["A"] == "A1"
    assert first["C"] == "=HYPERLINK(1)"  # kept as text
    assert first["D"] == 42.125
    assert second["C"] == "cut by the edge of the photo"
    assert "D" not in second
    assert trays_workbook({"lemon": a_record(shells)}) == trays_workbook(
        {"lemon": a_record(shells)}
    )


def test_names_of_sheets():
    taken = set()
    assert sheet_name("a" * 40, taken) == "a" * 31
    assert sheet_name("A" * 40, taken) == "A" * 29 + "-2"
    assert sheet_name("  ", taken) == "tray"


def test_any_table():
    rows = [{"oven": "+Deck", "size_mm": 1.5, "turn": None}]
    [table] = sheets_of(rows_workbook("shells", ("oven", "size_mm", "turn"), rows)).values()
    assert table == [
        {"A": "oven", "B": "size_mm", "C": "turn"}, {"A": "+Deck", "B": 1.5},
    ]  # fmt: skip
