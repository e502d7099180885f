"""The made-up kitchen: its files, its commands, and that a folder in use is left alone. The whole
walk runs in `tests/cli/test_whole_job.py`."""

import pytest
from PIL import Image

from petitpied.cli.demo_walk import TRAYS, make_kitchen, steps
from petitpied.cli.main import app
from petitpied.domain.errors import OutputError
from petitpied.report.letterhead import read_letterhead
from tests.cli.test_readme import COMMANDS


def test_the_kitchen_has_its_files(tmp_path):
    make_kitchen(tmp_path / "kitchen")
    for tray in TRAYS:
        with Image.open(tmp_path / "kitchen" / "photos" / f"{tray.name}.jpg") as photo:
            assert photo.width >= 2000
            assert not photo.getexif().get_ifd(0x8825)  # no place
    facts = (tmp_path / "kitchen" / "facts.csv").read_text()
    assert len(facts.splitlines()) == 1 + len(TRAYS)
    head = read_letterhead(tmp_path / "kitchen" / "letterhead.toml")
    assert head.name == "Atelier Brume"
    assert head.picture is not None
    assert any("made up" in line for line in head.lines)


def test_a_folder_in_use_is_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(OutputError, match="something in it already"):
        make_kitchen(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def test_every_step_is_a_command_that_there_is():
    assert app is not None
    used = [step.arguments[0] for step in steps()]
    assert set(used) <= set(COMMANDS)
    for wanted in ("inspect", "log", "pair", "box", "report"):
        assert wanted in used


def test_a_step_is_shown_as_it_is_typed():
    lines = [step.line for step in steps()]
    assert lines[0] == "petitpied inspect photos --out results"
