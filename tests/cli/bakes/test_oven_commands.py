"""simulate, log, oven-map and oven-or-hand as a baker types them."""

import json

import pytest

from petitpied.domain.errors import ExitCode
from petitpied.files.records.record_files import read_record

NAME = 'Ofen "Süd" 🔥'


@pytest.fixture
def history(petitpied, tmp_path):
    """Make and log a history; what follows are more options of simulate."""

    def made(*options):
        folder, db = tmp_path / "made", tmp_path / "h.db"
        done = petitpied("simulate", "--out", folder, "--oven", NAME, *options)
        assert done[0] == 0, done
        assert petitpied("log", "--facts", folder / "facts.csv", "--db", db)[0] == 0
        return folder, db

    return made


def test_from_simulated_records_to_a_map(petitpied, history, tmp_path):
    spot = ("--oven-effect", "spot:2.5:120,-70", "--oven-effect", "lean:0.5:1,0")
    folder, db = history("--bakes", 8, "--turned", 4, *spot)
    assert len(read_record(folder / "bake_1.json").shells) > 20
    status, out, _ = petitpied("oven-map", NAME, "--db", db, "--json")
    found = json.loads(out)
    assert status == 0
    assert {"oven", "rack", "measure", "bakes", "shells", "strength", "patterns",
            "smallest_effect_80", "text"} <= set(found)  # fmt: skip
    assert (found["oven"], found["measure"], found["bakes"]) == (NAME, "diameter", 8)
    assert found["strength"] == "shows"
    assert {p["kind"] for p in found["patterns"]} == {
        "across", "front-back", "centre-edge", "spot",
    }  # fmt: skip
    for one in found["patterns"]:
        assert set(one["effect"]) >= {"value", "unit", "u95"}
        assert one["stands_out"] == (one["p_adjusted"] <= 0.05)
    assert "back right" in found["text"]
    for suffix in ("svg", "png"):
        path = tmp_path / f"map.{suffix}"
        status, out, _ = petitpied("oven-map", NAME, "--db", db, "--out", path)
        assert status == 0
        assert f"wrote {path}" in out
        assert path.stat().st_size > 2000
    drawing = (tmp_path / "map.svg").read_text("utf-8")
    assert "oven door" in drawing
    assert "Common practice, not a finding" in drawing
    lean = json.loads(petitpied("oven-map", NAME, "--db", db, "--measure", "lean", "--json")[1])
    assert "lean" in {p["kind"] for p in lean["patterns"]}
    every = json.loads(petitpied("oven-map", NAME, "--db", db, "--measure", "all", "--json")[1])
    assert {"diameter", "browning", "lean"} <= {one["measure"] for one in every}


def test_oven_or_hand_as_json_and_words(petitpied, history):
    _, db = history("--bakes", 12, "--turned", 6, "--hand-effect", "across:3")
    found = json.loads(petitpied("oven-or-hand", NAME, "--db", db, "--json")[1])
    assert found["hand_part"]["stands_out"]
    assert not found["oven_part"]["stands_out"]
    assert set(found["hand_part"]) >= {"effect", "p_adjusted", "stands_out"}
    assert any("edge" in one["text"] for one in found["cannot_tell"])
    assert any("before" in what for one in found["cannot_tell"] for what in one["would_tell"])
    assert {step["turn"] for step in found["plan"]} <= {0, 180}
    status, out, _ = petitpied("oven-or-hand", NAME, "--db", db)
    assert status == 0
    assert "It follows the hand" in out
    assert "Next:" in out


def test_nothing_found_is_not_called_even(petitpied, history):
    _, db = history("--bakes", 7, "--seed", 5)
    found = json.loads(petitpied("oven-map", NAME, "--db", db, "--json")[1])
    assert found["strength"] == "nothing found"
    assert "may still be uneven" in found["text"]
    assert "is even" not in found["text"]


def test_one_bake_only_suggests(petitpied, history):
    _, db = history("--bakes", 1, "--oven-effect", "across:14")
    found = json.loads(petitpied("oven-map", NAME, "--db", db, "--json")[1])
    assert found["strength"] == "suggests"
    assert "cannot show" in found["text"]
    assert petitpied("oven-or-hand", NAME, "--db", db)[0] == 0


def test_what_cannot_be_mapped_is_told_in_a_sentence(petitpied, history):
    _, db = history("--bakes", 2)
    for arguments, code, word in (
        (["no such oven"], ExitCode.LOT, "no bake"),
        ([NAME, "--measure", "taste"], ExitCode.HISTORY, "no measure"),
        ([NAME, "--measure", "cracks"], ExitCode.LOT, "5 shells"),
    ):
        for command in ("oven-map", "oven-or-hand"):
            status, out, err = petitpied(command, *arguments, "--db", db)
            assert (status, out) == (code, "")
            assert word in err
            assert len(err.strip().splitlines()) == 1
    assert petitpied("oven-map", NAME, "--db", db, "--out", "map.gif")[0] == 2


@pytest.mark.parametrize(
    "effect",
    ["", "spot", "spot:x", "ring:1", "across:nan", "spot:1:2", "across:1:1,2,3", "lean:1:"],
)
def test_effects_that_cannot_be_planted(petitpied, tmp_path, effect):
    status, _, err = petitpied("simulate", "--out", tmp_path / "new", "--oven-effect", effect)
    assert status == ExitCode.OWN_FILE
    assert "cannot be planted" in err
    assert not (tmp_path / "new").exists()


def test_simulate_repeats_itself_and_checks_its_options(petitpied, tmp_path):
    for name in ("a", "b"):
        assert petitpied("simulate", "--out", tmp_path / name, "--bakes", 2, "--before")[0] == 0
    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes()
    assert read_record(tmp_path / "a" / "bake_1.json").shells[0].growth is not None
    for wrong in (["--bakes", 2, "--turned", 3], ["--measure", "taste"], ["--missing", 0.9]):
        assert petitpied("simulate", "--out", tmp_path / "c", *wrong)[0] == 2
