"""Several photos: names of the results, and one bad photo among good ones."""

import json
import sys
from pathlib import Path

import pytest

from petitpied.cli.measuring.inspecting import plan, run
from petitpied.domain.errors import CardError, ExitCode, OutputError
from petitpied.domain.settings import Settings
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
    from petitpied.cli.measuring.inspecting import inspect_one

    monkeypatch.setitem(sys.modules, "petitpied.inspection.one_photo", fakes)
    (job,) = plan((small_photo,), tmp_path / "out")
    (tmp_path / "out").mkdir()
    lines = inspect_one(job, Settings())
    assert lines[0].startswith("16 shells, mean diameter")
    names = sorted(p.name for p in (tmp_path / "out").iterdir())
    assert names == ["tray.coco.json", "tray.csv", "tray.json", "tray.marked.jpg"]
    assert json.loads((tmp_path / "out" / "tray.json").read_text())["photo"]["file"] == "tray.jpg"


def test_a_json_file_that_is_no_record_is_spared(tmp_path):
    photo, stranger = tmp_path / "tray.jpg", tmp_path / "tray.json"
    photo.write_bytes(b"picture")
    stranger.write_text('{"shells": "of somebody else"}')
    with pytest.raises(OutputError, match="no record of an inspection"):
        plan((photo,), None)
    stranger.write_text('{"schema": "petitpied/inspection/1",')  # one of ours is replaced
    assert plan((photo,), None)[0].stem == "tray"
