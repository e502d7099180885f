"""`petitpied repeatability`: from records and a table to words, chart and figures."""

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from petitpied.cli.main import app
from petitpied.domain.quantity import Quantity
from petitpied.files.records.record_files import record_bytes
from tests.records import a_record, a_shell


def write_records(folder, count=4, seed=1, photo_mm=0.1, rest_mm=0.05):
    """``count`` records of one tray of 16 shells, sizes 42 mm with a spread of 0.6 mm."""
    rng = np.random.default_rng(seed)
    true = rng.normal(42, 0.6, 16)
    places = rng.normal(0, 1.2, (16, 2))
    paths = []
    for number in range(count):
        shift = photo_mm * rng.normal()
        shells = []
        for i in range(16):
            shell = a_shell(f"{'ABCD'[i // 4]}{i % 4 + 1}", i // 4, i % 4)
            seen = Quantity(true[i] + shift + rest_mm * rng.normal(), 0.1)
            centre = tuple(np.array(shell.centre_mm) + places[i] + rng.normal(0, 0.05, 2))
            shells.append(replace(shell, diameter_mm=seen, centre_mm=centre))
        record = a_record(shells)
        photo = replace(record.photo, sha256=f"{seed:032x}{number:032x}", file=f"p{number}.jpg")
        paths.append(folder / f"p{seed}_{number}.json")
        paths[-1].write_bytes(record_bytes(replace(record, photo=photo)))
    return paths


def run(*words):
    return CliRunner().invoke(app, ["repeatability", *map(str, words)])


def test_a_study_by_two_people(tmp_path):
    paths = write_records(tmp_path, 6)
    rows = [f"{p.name},{'Ana' if i < 3 else 'Bo'}" for i, p in enumerate(paths)]
    table = tmp_path / "study.csv"
    table.write_text("record,person\n" + "\n".join(rows) + "\n")
    done = run("--study", table, "--out", tmp_path / "out", "--limits", 40, 44)
    assert done.exit_code == 0, done.output
    assert "6 photos of one tray by 2 people" in done.output
    # 0.05 mm within a photo: 3 sqrt(2) times that is far below 1 mm
    assert "between two shells in one photo? yes" in done.output
    found = json.loads((tmp_path / "out" / "repeatability.json").read_text())
    diameter = found["quantities"]["diameter_mm"]
    assert {"shell", "person", "interaction", "photo", "rest"} == set(diameter["variances"])
    # 0.05 from 75 degrees of freedom or more: good to 8 %, three times that
    assert diameter["within_photo"]["sd"] == pytest.approx(0.05, rel=0.25)
    assert cv2.imread(str(tmp_path / "out" / "repeatability.png")).shape == (1500, 1080, 3)


def test_records_alone_are_one_person(tmp_path):
    done = run(*write_records(tmp_path), "--out", tmp_path)
    assert done.exit_code == 0, done.output
    assert "not shown: one person only" in done.output


def test_another_tray_is_refused(tmp_path):
    paths = [*write_records(tmp_path, 2), *write_records(tmp_path, 1, seed=9)]
    done = run(*paths, "--out", tmp_path)
    assert done.exit_code == 1  # the runner sees the error itself
    assert "not of the same tray" in str(done.exception)


def test_the_same_photo_twice_is_refused(tmp_path):
    path = write_records(tmp_path, 1)[0]
    assert "of the same photo" in str(run(path, path).exception)


@pytest.mark.parametrize(
    ("text", "words"),
    [("", 'column "record"'), ("a,b\n1,2\n", 'column "record"'), ("record\n,\n", "no record")],
)
def test_a_bad_table_is_told(tmp_path, text, words):
    table = tmp_path / "study.csv"
    table.write_text(text)
    assert words in str(run("--study", table).exception)


def test_one_record_is_too_few(tmp_path):
    assert "1 record given" in str(run(write_records(tmp_path, 1)[0]).exception)
