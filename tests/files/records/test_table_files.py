"""CSV and COCO files of a record, read back with other people's rules."""

import csv
import io
import json
import math

import numpy as np
import pytest

from petitpied.files.records.record_json import QUANTITIES
from petitpied.files.records.table_files import coco_bytes, csv_bytes
from tests.records import a_record, a_shell, circle, relative_record, unmeasured_shell


def rows(record):
    return list(csv.DictReader(io.StringIO(csv_bytes(record).decode(), newline="")))


def test_a_row_a_shell_with_units_and_uncertainty():
    record = a_record([a_shell(), unmeasured_shell()])
    first, second = rows(record)
    assert first["id"] == "A1"
    assert float(first["diameter_mm"]) == 42.0
    assert float(first["diameter_u95_mm"]) == pytest.approx(1.96 * math.hypot(0.08, 0.1), abs=1e-4)
    assert float(first["circularity_u95"]) == pytest.approx(1.96 * 0.002, abs=1e-4)
    assert second["diameter_mm"] == ""
    assert second["not_measured"] == "cut by the edge of the photo"
    for name in QUANTITIES:  # every quantity has its uncertainty beside it
        columns = list(first)
        units = {"growth": "_mm", "browning": "_de00", "edge_browning": "_de00"}
        column = name + units.get(name, "")
        assert "u95" in columns[columns.index(column) + 1]


def test_every_length_names_its_unit():
    for column in rows(a_record())[0]:
        if any(word in column for word in ("diameter", "feret", "lean", "height", "centre")):
            assert column.endswith(("_mm", "_px", "_deg", "_rel")), column


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", " ="])
def test_cells_that_begin_a_formula_are_text(start):
    shell = a_shell(f"{start}1+1", doubts=(f'{start}HYPERLINK("x")\x1b[31m\n',))
    (row,) = rows(a_record([shell]))
    for name in ("id", "doubts"):
        assert row[name].startswith("'")
        assert row[name].isprintable()


def test_negative_numbers_stay_numbers():
    assert float(rows(a_record([a_shell()]))[0]["centre_x_mm"]) == -100.0


def test_relative_record_has_empty_millimetres():
    row = rows(relative_record())[2]
    assert row["diameter_mm"] == row["centre_x_mm"] == ""
    assert float(row["diameter_rel"]) == pytest.approx(1.0)


def test_coco_outlines_areas_and_boxes():
    shells = [a_shell(), unmeasured_shell(outline_px=circle((10.0, 12.0), 5.0, 4))]
    coco = json.loads(coco_bytes(a_record(shells)))
    assert {c["name"]: c["id"] for c in coco["categories"]} == {"shell": 1, "cap": 2}
    assert coco["images"] == [{"id": 1, "file_name": "tray.jpg", "width": 1600, "height": 1200}]
    assert [a["category_id"] for a in coco["annotations"]] == [1, 2, 1]
    assert [a["id"] for a in coco["annotations"]] == [1, 2, 3]
    square = coco["annotations"][2]
    # a square on its tip with half diagonal 5: area 50; half a pixel from centre to corner count
    assert square["area"] == pytest.approx(50.0)
    assert square["bbox"] == [5.5, 7.5, 10.0, 10.0]
    assert square["segmentation"][0][:2] == [15.5, 12.5]
    for annotation in coco["annotations"]:
        points = np.array(annotation["segmentation"][0]).reshape(-1, 2)
        x, y, width, height = annotation["bbox"]
        assert points.min(0) == pytest.approx([x, y], abs=0.011)  # two decimals each
        assert points.max(0) == pytest.approx([x + width, y + height], abs=0.011)
