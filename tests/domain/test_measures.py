"""The register: a measure declared there, and nowhere else, stands in every output."""

import json
import os
import re
import shutil
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import pytest

from petitpied.domain.measures import MEASURES, SERIES, SIZES, STORED, SURFACE, Sizes, Surface

PACKAGE = Path(__file__).parents[2] / "src" / "petitpied"
ROOT = Path(__file__).parents[2]
#: what one adds to the register for a new measure
DECLARED = """
    evenness_mm: Annotated[
        Quantity | None,
        Measure(
            MM,
            "evenness",
            "How even the rim is, for a test.",
            limits=(0.0, 30.0),
            column="evenness, mm",
            budget=True,
            odd=Odd(9, high="uneven"),
            series=(Series("evenness", "evenness", "less even", "more even"),),
        ),
    ] = None
"""
#: run with the copy: what every output says of a tray of shells that have the new measure
SCRIPT = """
import json, sys
from dataclasses import astuple, replace
from datetime import datetime, timedelta, timezone
import numpy as np
from petitpied.domain.bake import Bake, BakeFacts
from petitpied.domain.quantity import Quantity
from petitpied.figures.charts.oven_map_picture import map_chart
from petitpied.figures.charts.trend_picture import trend_chart
from petitpied.files.records.record_files import record_bytes, record_from_bytes
from petitpied.files.records.record_schema import schema_text
from petitpied.files.records.table_files import csv_bytes
from petitpied.figures.svg import svg_bytes
from petitpied.history.exchange import SHELL_COLUMNS
from petitpied.history.oven_map_reading import read_maps
from petitpied.history.packing import pack, shells_of, unpack
from petitpied.report.tray_part import _table
from petitpied.sizing.relative import _MISSING
from petitpied.sorting.limits import LIMITABLE
from petitpied.statistics.tray_summary import summarise
from petitpied.text.budget_lines import budget_lines
from petitpied.patterns.trends import trend as trends
from petitpied.patterns.trends.bake_series import bake_series
from petitpied.text.trend_words import SeriesChoice
from petitpied.text.lots.verdict_words import spoken
from tests.records import a_record, a_shell

rng = np.random.default_rng(1)
def shell(row, column, value):
    size = Quantity(value, 0.05)
    return a_shell(f"{'ABCD'[row]}{column + 1}", row, column, evenness_mm=size)
def record(add):
    shells = [shell(r, c, 1.0 + 0.2 * rng.normal() + add * (r == c == 0))
              for r in range(4) for c in range(4)]
    return a_record(shells)
one = record(5.0)
data = record_bytes(one)
back = record_from_bytes(data, "tray.json")
start = datetime(2026, 1, 5, 9, tzinfo=timezone.utc)
bakes = [
    Bake(BakeFacts(f"{k:064d}", start + timedelta(days=k), "oven"),
         unpack(pack(shells_of(json.loads(record_bytes(record(0.0)))))))
    for k in range(7)
]
(found,) = read_maps(bakes, "evenness")
means = bake_series(bakes, "evenness").means
plan = trends.Plan(np.ones(7, bool), "individuals", "western-electric", None)
asked = SeriesChoice("mean", "evenness", None, "western-electric", "", None)
chart = trend_chart(trends.trend_of_values(means, plan), asked, [b.facts for b in bakes])
names = [name for name, _ in _MISSING]
print(json.dumps({
    "json": json.loads(data)["shells"][0]["evenness_mm"]["value"],
    "read back": back.shells[0].sizes.evenness_mm.value,
    "schema": json.loads(schema_text())["$defs"]["shell"]["properties"]["evenness_mm"],
    "csv": csv_bytes(one).decode().splitlines()[0],
    "limits": astuple(LIMITABLE["evenness_mm"]),
    "sentence": spoken("evenness_mm"),
    "odd": [word for odd in summarise(one).odd for word in odd.words],
    "budget": "\\n".join(budget_lines(one, "")),
    "without a card": names,
    "history": list(SHELL_COLUMNS),
    "map": svg_bytes(map_chart(found, "oven", turned=False)).decode(),
    "chart": svg_bytes(chart).decode(),
    "report": list(_table(one, "sizes").heads),
}))
"""


@pytest.fixture(scope="module")
def copy(tmp_path_factory):
    """A folder with the package, its register one measure longer."""
    folder = tmp_path_factory.mktemp("copy")
    shutil.copytree(PACKAGE, folder / "petitpied", ignore=shutil.ignore_patterns("__pycache__"))
    register = folder / "petitpied" / "domain" / "measures.py"
    text = register.read_text("utf-8")
    before = "    lean_dir_deg: float | None = None"
    assert text.count(before) == 1
    register.write_text(text.replace(before, DECLARED + before), "utf-8")
    return folder


def run(copy, *arguments):
    paths = os.pathsep.join([str(copy), str(ROOT)])
    done = subprocess.run(
        [sys.executable, *arguments], env=os.environ | {"PYTHONPATH": paths, "COLUMNS": "200"},
        capture_output=True, text=True, encoding="utf-8", check=False, cwd=copy,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_a_measure_added_to_the_register_is_in_every_output(copy):
    told = json.loads(run(copy, "-c", SCRIPT))
    assert told["json"] == told["read back"] == pytest.approx(6.0, abs=1.0)
    assert told["schema"]["description"] == "How even the rim is, for a test."
    assert "evenness_mm,evenness_u95_mm" in told["csv"]
    assert told["limits"][:3] == ["mm", 0.0, 30.0]
    assert told["sentence"] == "evenness"
    assert "uneven" in told["odd"]
    assert re.search(r"^evenness \d", told["budget"], re.MULTILINE)
    assert "evenness_mm" in told["without a card"]
    assert {"evenness_mm", "evenness_u_own_mm"} <= set(told["history"])
    assert "Evenness, mm: map of the oven" in told["map"]
    assert "mean evenness" in told["chart"].lower()
    assert "evenness, mm" in told["report"]


def test_help_lists_the_measure(copy):
    for command in ("oven-map", "trend"):
        assert "evenness" in run(copy, "-m", "petitpied", command, "--help")


def test_every_quantity_of_a_shell_is_declared_with_its_words():
    quantities = [f.name for part in (Sizes, Surface) for f in fields(part) if _is_quantity(f)]
    assert quantities == [m.field for m in (*SIZES, *SURFACE)] == [m.field for m in MEASURES]
    assert all(m.words and m.definition.endswith(".") for m in MEASURES)


def _is_quantity(field):
    return "Quantity" in str(field.type)


def test_names_tell_units():
    for measure in MEASURES:
        ending = {"mm": "_mm", "Delta E00": "_de00", "": ""}[measure.unit]
        assert measure.with_unit.endswith(ending)
    assert [m.with_unit for m in MEASURES if m.with_unit != m.field] == [
        "growth_mm",
        "browning_de00",
        "edge_browning_de00",
    ]


def test_the_history_keeps_all_series_but_the_lean_as_a_vector():
    assert set(SERIES) - set(STORED) == {"lean"}
    assert [key for key, series in SERIES.items() if series.points] == ["lean_x", "lean_y", "lean"]
    assert [key for key, series in SERIES.items() if series.by_light] == ["browning"]
