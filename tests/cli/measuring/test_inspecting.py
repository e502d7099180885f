"""Several photos: names of the results, and one bad photo among good ones."""

import json
import os
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from petitpied.cli.measuring.inspecting import inspect_one, plan, run
from petitpied.domain.errors import CardError, ExitCode, OutputError
from petitpied.domain.settings import Settings
from petitpied.running.worker_processes import TOO_LONG, Bounds, run_apart
from tests.cli import fakes

NAMES = ("a.jpg", "nocard.jpg", "b.jpg", "fault.jpg", "c.jpg")


def jobs_of(names, folder="out"):
    return plan(tuple(Path("in") / name for name in names), Path(folder))


@pytest.mark.parametrize("workers", [1, 2])
def test_one_bad_photo_never_stops_the_others(workers):
    jobs = jobs_of(NAMES)
    outcomes = {o.job.photo.name: o for o in run(jobs, Settings(), workers, fakes.work)}
    assert set(outcomes) == set(NAMES)
    assert [n for n in NAMES if outcomes[n].error is None] == ["a.jpg", "b.jpg", "c.jpg"]
    assert outcomes["b.jpg"].lines[0] == "did b.jpg"
    assert isinstance(outcomes["nocard.jpg"].error, CardError)
    assert "ZeroDivisionError" in str(outcomes["fault.jpg"].error)
    assert outcomes["fault.jpg"].error.exit_code is ExitCode.FAULT
    if workers > 1:
        assert outcomes["a.jpg"].lines[1] == "threads 1"


def test_a_worker_that_dies_costs_one_photo():
    jobs = jobs_of(("a.jpg", "dies.jpg", "b.jpg", "c.jpg"))
    outcomes = {o.job.photo.name: o for o in run(jobs, Settings(), 2, fakes.work)}
    assert [n for n in sorted(outcomes) if outcomes[n].error] == ["dies.jpg"]
    assert "ended from outside" in str(outcomes["dies.jpg"].error)


def test_results_stand_beside_the_photo_or_in_the_folder(tmp_path):
    beside = plan((tmp_path / "x.jpg", tmp_path / "sub" / "x.png"), None)
    assert [j.result(".json") for j in beside] == [tmp_path / "x.json", tmp_path / "sub/x.json"]
    together = plan((tmp_path / "x.jpg", tmp_path / "sub" / "x.png"), tmp_path / "out")
    assert [j.result(".json").name for j in together] == ["x.json", "x-2.json"]


def test_a_photo_is_never_overwritten(tmp_path):
    photos = (tmp_path / "x.jpg", tmp_path / "x.marked.jpg")
    with pytest.raises(OutputError, match=r"x\.marked\.jpg cannot be written: one of the photos"):
        plan(photos, None)
    assert len(plan(photos, tmp_path / "out")) == 2


def test_inspect_one_writes_four_files(tmp_path, monkeypatch, small_photo):
    monkeypatch.setitem(sys.modules, "petitpied.inspection.one_photo", fakes)
    (job,) = plan((small_photo,), tmp_path / "out")
    (tmp_path / "out").mkdir()
    lines = inspect_one(job, Settings())
    assert lines[0].startswith("16 shells, mean diameter")
    names = sorted(p.name for p in (tmp_path / "out").iterdir())
    assert names == ["tray.coco.json", "tray.csv", "tray.json", "tray.marked.jpg"]
    assert json.loads((tmp_path / "out" / "tray.json").read_text())["photo"]["file"] == "tray.jpg"


@pytest.fixture
def measured(tmp_path, monkeypatch, small_photo):
    """One photo inspected into a folder; gives the job, whose results lie there."""
    monkeypatch.setitem(sys.modules, "petitpied.inspection.one_photo", fakes)
    (job,) = plan((small_photo,), tmp_path / "out")
    (tmp_path / "out").mkdir()
    inspect_one(job, Settings())
    return job


def contents(folder):
    return {p.name: p.read_bytes() if p.is_file() else None for p in folder.iterdir()}


def another(job):
    """A photo of the same name as the job's, of another tray."""
    folder = job.photo.parent / "monday"
    folder.mkdir()
    Image.fromarray(np.full((480, 640, 3), 77, np.uint8)).save(folder / job.photo.name)
    return plan((folder / job.photo.name,), job.folder)[0]


def test_the_same_photo_inspected_again_replaces_its_results(measured):
    measured.result(".csv").write_bytes(measured.result(".csv").read_bytes()[:200])
    inspect_one(measured, Settings())
    assert measured.result(".csv").read_bytes().count(b"\r\n") == 17


def test_another_trays_results_are_never_replaced_silently(measured):
    before = contents(measured.folder)
    other = another(measured)
    with pytest.raises(OutputError, match=r"it is the record of another photo.*--replace"):
        inspect_one(other, Settings())
    assert contents(measured.folder) == before
    inspect_one(replace(other, replace=True), Settings())
    assert contents(measured.folder) != before


STRANGERS = {
    "a stranger's JSON": (".json", b'{"shells": "of somebody else"}'),
    "a stranger's JSON with our name": (".json", b'{"note": ""petitpied/ is nice", "a": 1}'),
    "a half record": (".json", b'{"schema": "petitpied/inspection/1",'),
    "a table of the baker's": (".csv", b"id,tasted\r\nA1,good\r\n"),
}


@pytest.mark.parametrize("case", STRANGERS)
def test_a_strangers_file_is_spared(measured, case):
    suffix, data = STRANGERS[case]
    measured.result(suffix).write_bytes(data)
    before = contents(measured.folder)
    with pytest.raises(OutputError, match="would be overwritten"):
        inspect_one(measured, Settings())
    assert contents(measured.folder) == before


@pytest.mark.parametrize("suffix", [".json", ".csv", ".coco.json", ".marked.jpg"])
@pytest.mark.parametrize("make", [Path.mkdir, os.mkfifo], ids=["folder", "pipe"])
def test_a_name_taken_by_a_folder_or_pipe_writes_nothing(measured, suffix, make):
    for part in measured.folder.iterdir():
        part.unlink()
    make(measured.result(suffix))
    with pytest.raises(OutputError):
        inspect_one(replace(measured, replace=True), Settings())
    assert list(contents(measured.folder)) == [measured.result(suffix).name]


class TestApart:
    """Time and memory of each task are bounded; the others go on."""

    def test_too_much_memory(self):
        bounds = Bounds(memory_bytes=600_000_000)
        found = {e.task: e for e in run_apart(fakes.memory, (1, 4_000_000_000, 2), 1, bounds)}
        assert isinstance(found[4_000_000_000].error, MemoryError)
        assert (found[1].result, found[2].result) == (1, 2)

    def test_too_much_processor_time(self):
        found = {e.task: e for e in run_apart(fakes.spin, (0.0, 60.0, 0.1), 1, Bounds(cpu_s=1))}
        assert found[60.0].lost == TOO_LONG
        assert (found[0.0].result, found[0.1].result) == (0.0, 0.1)

    def test_waiting_for_ever(self):
        found = {e.task: e for e in run_apart(fakes.wait, (0.0, 60.0), 1, Bounds(clock_s=4.0))}
        assert (found[60.0].lost, found[0.0].result) == (TOO_LONG, 0.0)
