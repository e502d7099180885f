"""`petitpied template`: from records or entered numbers to the sheet, in words."""

import re
from dataclasses import replace

import numpy as np
import pytest

from petitpied.cli.planning.piping_sheet import (
    Measured,
    Wanted,
    baked_tray,
    growth_entered,
    growth_from_records,
    neighbours_of,
    plan,
    sheet_size,
)
from petitpied.domain.errors import LotError
from petitpied.domain.quantity import Quantity
from petitpied.files.records.record_files import record_bytes
from petitpied.piping.growth import Growth
from tests.records import a_record, a_shell

A4 = (210.0, 297.0)


def wanted(**changes):
    return replace(Wanted(45.0, "round", 8.0, 0.05, True, A4), **changes)


def test_entered_growth_gives_the_size_to_pipe():
    planned = plan(wanted(), growth_entered(4.0, 0.8))
    assert planned.template.piped_mm == 41.0
    text = "\n".join(planned.lines)
    assert "Pipe to 41.0 mm: bakes to 45 mm" in text
    assert re.search(r"Chance that any two of \d+ touch: ", text)


def test_no_growth_says_how_to_get_one():
    with pytest.raises(LotError, match="--before, or --growth"):
        growth_entered(None, None)


def test_a_record_without_growth_says_what_is_needed(tmp_path):
    path = tmp_path / "tray.json"
    path.write_bytes(record_bytes(a_record()))
    with pytest.raises(LotError, match="photo of the piped rounds"):
        growth_from_records([path])
    assert np.isnan(baked_tray(a_record()).growth_mm).all()


def test_growth_comes_from_records_of_trays_photographed_before_and_after(tmp_path):
    """Two trays whose shells grew by 3.8 and 4.2 mm: mean 4.0, u at least their standard
    deviation over root two, 0.2 (JCGM 100, 4.2.3)."""
    paths = []
    for name, grown in (("one", 3.8), ("two", 4.2)):
        shells = [
            a_shell(f"A{i + 1}", 0, i, 45.0, growth=Quantity(grown, 0.1, 0.05)) for i in range(6)
        ]
        paths.append(tmp_path / f"{name}.json")
        paths[-1].write_bytes(record_bytes(a_record(shells)))
    measured = growth_from_records(paths)
    assert measured.growth.mean_mm == pytest.approx(4.0)
    assert measured.growth.u_mm == pytest.approx(0.2, abs=0.01)
    assert measured.caliper == pytest.approx(1.01)  # as the made shells have it
    assert "12 shells of 2 trays" in measured.source
    text = "\n".join(plan(wanted(), measured).lines)
    assert "Pipe to 41.0 mm: bakes to 45 mm (grows by 4.0 mm ± 0.4 mm)" in text


def test_uneven_shells_lie_farther_apart():
    even, uneven = (Measured(Growth(4.0, 0.1, s, 20), 1.0, "x") for s in (0.3, 3.0))
    close = wanted(gap_mm=0.0)
    assert plan(close, uneven).template.sheet.pitch_mm > plan(close, even).template.sheet.pitch_mm


def test_the_stated_chance_is_for_the_sheets_own_neighbours():
    planned = plan(wanted(gap_mm=0.0, risk=0.05), growth_entered(4.0, 1.0))
    pairs = neighbours_of(planned.template.sheet)
    there = {(p.row, p.column) for p in planned.template.sheet.places}
    counted = sum(abs(a - c) + abs(b - d) == 1 for a, b in there for c, d in there) // 2
    assert pairs == counted
    shown = re.search(r"touch: ([\d.]+) % \(two neighbours: ([\d.]+) %", planned.lines[2])
    any_two, two = map(float, shown.groups())
    assert any_two <= 5.0
    assert any_two == pytest.approx(pairs * two, rel=0.2)  # both rounded to a tenth of a per cent


def test_growth_measured_far_from_the_target_is_a_caution():
    measured = Measured(Growth(4.0, 0.1, 0.8, 20), 1.02, "x", baked_mm=45.0)
    assert not any("caution" in line for line in plan(wanted(), measured).lines)
    assert any("caution" in line for line in plan(wanted(target_mm=30.0), measured).lines)


@pytest.mark.parametrize("tray", ["420x320", " 420 X 320 ", "420×320"])
def test_the_trays_size_is_read(tray):
    assert sheet_size(tray, "a4") == (420.0, 320.0)
    assert sheet_size(None, "letter") == (215.9, 279.4)


@pytest.mark.parametrize("tray", ["420", "420x", "axb", "42x32", "4200x3200", "420x320x10", ""])
def test_a_strange_tray_is_refused(tray):
    with pytest.raises(LotError, match="width x depth"):
        sheet_size(tray, "a4")


@pytest.mark.parametrize(
    ("changes", "growth"), [({"target_mm": 190.0}, 4.0), ({"target_mm": 20.0}, 25.0)]
)
def test_what_cannot_be_made_is_one_sentence(changes, growth):
    with pytest.raises(LotError, match="cannot be made"):
        plan(wanted(**changes), growth_entered(growth, 1.0))
