"""Places of files as told: no more of the machine than the baker said, and none too long."""

from pathlib import Path

import pytest

from petitpied.domain.errors import RecordError
from petitpied.files.records.record_files import read_record
from petitpied.files.shown_paths import short_keys, shown_path


def test_a_place_is_told_from_here_or_from_home(tmp_path, monkeypatch):
    here = tmp_path / "lise" / "bakes"
    here.mkdir(parents=True)
    monkeypatch.chdir(here)
    monkeypatch.setenv("HOME", str(tmp_path / "lise"))
    assert shown_path(here / "out" / "a.json") == "out/a.json"
    assert shown_path(tmp_path / "lise" / "b.toml") == "~/b.toml"
    assert shown_path(Path("/srv/x\x1b[2J")) == "/srv/x?[2J"
    assert len(shown_path(Path("y" * 9000))) < 300


def test_records_of_a_lot_are_told_apart_by_no_more_than_it_takes(tmp_path):
    files = [tmp_path / "mon" / "a.json", tmp_path / "tue" / "a.json"]
    assert short_keys(files) == ("mon/a.json", "tue/a.json")
    assert short_keys(files[:1]) == ("a.json",)
    assert short_keys([]) == ()


def test_a_name_of_thousands_of_letters_is_not_repeated():
    with pytest.raises(RecordError) as caught:
        read_record(Path("y" * 9000))
    assert len(str(caught.value)) < 400
