"""`petitpied bake` as a baker types it, and what goes wrong of an evening: told, nothing lost."""

import json
import shutil
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from petitpied.domain.errors import ExitCode
from petitpied.text.evening.screen import MOST_LETTERS, MOST_LINES
from tests.cli import fakes

KITCHEN = ("setup", "--yes", "--answer", "oven=Deck 1", "--answer", "flavours=rose,lemon",
           "--answer", "target=42")  # fmt: skip


@pytest.fixture(autouse=True)
def evening_folder(monkeypatch, tmp_path):
    """A folder with two photos; the measuring itself is a stand-in: 16 even shells of 42 mm."""
    monkeypatch.setitem(sys.modules, "petitpied.inspection.one_photo", fakes)
    monkeypatch.setattr("petitpied.cli.measuring.inspecting.run_apart", fakes.run_here)
    monkeypatch.chdir(tmp_path)
    for grey, name in ((90, "rose.jpg"), (120, "lemon.jpg")):
        Image.fromarray(np.full((1200, 1600, 3), grey, np.uint8)).save(tmp_path / name)


@pytest.fixture
def no_pictures(monkeypatch):
    """Sheets and page take a second or two: drawn by the first tests only."""
    monkeypatch.setattr(
        "petitpied.cli.evening.evening_files.pages", lambda *_, **__: {"evening.html": b"page"}
    )


def bake(petitpied, *arguments):
    return petitpied("bake", *arguments, "--jobs", 1)


def files_of(folder):
    return {p.name: (p.stat().st_mtime_ns, p.read_bytes()) for p in folder.iterdir()}


def test_one_command_from_photos_to_boxes(petitpied):
    assert petitpied(*KITCHEN)[0] == 0
    status, out, err = bake(petitpied, "rose.jpg", "lemon.jpg")
    assert (status, err) == (0, "")
    lines = out.splitlines()
    assert lines[0].startswith("32 of 32 shells are good") or "shells are good" in lines[0]
    assert len(lines) <= MOST_LINES
    assert max(map(len, lines)) <= MOST_LETTERS
    assert any(line.startswith("rose: ") for line in lines)  # flavours by the photos' names
    assert any(line.startswith("lemon: ") for line in lines)
    assert any(line.startswith("Pairs: 16 macarons") for line in lines)
    assert any(line.startswith("Boxes: 2 boxes of 6") for line in lines)
    assert any(line.startswith("Oven Deck 1, 2 bakes") for line in lines)
    assert any(line.startswith("Next: ") for line in lines)
    assert lines[-1] == "Page: evening/evening.html"
    for word in ("z ", "CIELAB", "Cpk", "kappa"):
        assert word not in out
    assert {"evening.html", "box_01.jpg", "box_02.jpg", "rose.pairs.jpg", "pairs.txt"} <= set(
        files_of(Path("evening"))
    )
    # again on the same photos, in whatever order, it changes nothing
    before = files_of(Path("evening"))
    history = petitpied("history", "list", "--json")[1]
    assert bake(petitpied, "lemon.jpg", "rose.jpg") == (status, out, err)
    assert files_of(Path("evening")) == before
    assert petitpied("history", "list", "--json")[1] == history


@pytest.mark.usefixtures("no_pictures")
def test_json_gives_it_all(petitpied):
    petitpied(*KITCHEN)
    status, out, _ = bake(petitpied, "rose.jpg", "lemon.jpg", "--json")
    found = json.loads(out)
    assert status == 0
    assert [tray["flavour"] for tray in found["trays"]] == ["lemon", "rose"]
    assert len(found["pairing"]["pairs"]) == 16
    assert {p["a"]["record"] for p in found["pairing"]["pairs"]} == {"rose", "lemon"}
    assert all(p["a"]["record"] == p["b"]["record"] for p in found["pairing"]["pairs"])
    assert len(found["boxing"]["boxes"]) == 2
    assert found["next"]["text"]


@pytest.mark.usefixtures("no_pictures")
def test_without_a_kitchen_the_usual_is_taken_and_said(petitpied):
    status, out, _ = bake(petitpied, "rose.jpg")
    assert status == 0
    assert "no kitchen.toml" in out
    assert "petitpied setup" in out
    assert "its oven is not known" in out
    assert "Boxes: 1 box of 6" in out


@pytest.mark.usefixtures("no_pictures")
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("version = 1\n[oven\n", "line 2"),
        ("version = 2\n", "later version"),
        ('[oven]\nname = "D"\n[limits.top]\nsize = 3\n', '"size" is not known here'),
    ],
)
def test_a_broken_kitchen_is_told_and_the_evening_done(petitpied, text, said):
    Path("kitchen.toml").write_text(text)
    status, out, err = bake(petitpied, "rose.jpg")
    assert status == ExitCode.OWN_FILE
    assert said in err
    assert "kitchen.toml has a fault" in out
    assert "shells are good" in out
    assert Path("kitchen.toml").read_text() == text


@pytest.mark.usefixtures("no_pictures")
def test_a_photo_without_a_card_among_good_ones(petitpied):
    shutil.copy("rose.jpg", "nocard.jpg")
    Image.fromarray(np.full((1200, 1600, 3), 60, np.uint8)).save("nocard.jpg")
    status, out, err = bake(petitpied, "rose.jpg", "nocard.jpg")
    assert status == ExitCode.SOME_FAILED
    assert "16 shells are good" in out
    assert "0 markers seen" in err
    assert (Path("evening") / "rose.json").exists()
    assert not (Path("evening") / "nocard.json").exists()
    assert bake(petitpied, "nocard.jpg")[0] == ExitCode.CARD


@pytest.mark.usefixtures("no_pictures")
def test_the_same_photo_twice_counts_once(petitpied):
    shutil.copy("rose.jpg", "again.jpg")
    status, out, _ = bake(petitpied, "rose.jpg", "again.jpg")
    assert status == 0
    assert "again.jpg is the same photo as rose.jpg" in out
    assert "of 16 shells" in out or "All 16 shells" in out


@pytest.mark.usefixtures("no_pictures")
def test_photos_named_alike_keep_apart_whatever_their_order(petitpied):
    for grey, folder in ((70, "monday"), (80, "tuesday")):
        Path(folder).mkdir()
        Image.fromarray(np.full((1200, 1600, 3), grey, np.uint8)).save(f"{folder}/tray.jpg")
    both = ("monday/tray.jpg", "tuesday/tray.jpg")
    assert bake(petitpied, *both, "--out", "results")[0] == 0
    before = {n: d for n, (_, d) in files_of(Path("results")).items() if n.endswith(".json")}
    assert {"tray.json", "tray-2.json"} <= before.keys()
    assert bake(petitpied, *reversed(both), "--out", "results")[0] == 0
    after = {n: d for n, (_, d) in files_of(Path("results")).items() if n.endswith(".json")}
    assert after == before


@pytest.mark.usefixtures("no_pictures")
def test_a_glob_passes_over_what_is_no_photo(petitpied):
    petitpied("inspect", "rose.jpg", "--jobs", 1)
    Path("rose.review.json").write_text("{}")
    everything = sorted(str(p) for p in Path().iterdir() if p.name.startswith("rose"))
    status, out, _ = bake(petitpied, *everything)
    assert status == 0
    assert "4 files that are no photo passed over" in out
    assert "1 of our own pictures passed over" in out


@pytest.mark.usefixtures("no_pictures")
def test_a_folder_that_cannot_be_written(petitpied):
    Path("taken").write_text("flour")
    status, out, err = bake(petitpied, "rose.jpg", "--out", "taken")
    assert (status, out) == (ExitCode.OUTPUT, "")
    assert "cannot be written" in err
    assert Path("taken").read_text() == "flour"


@pytest.mark.usefixtures("no_pictures")
def test_a_history_that_cannot_be_used_stops_nothing(petitpied, own_folders):
    petitpied(*KITCHEN)
    place = own_folders / "XDG_DATA_HOME" / "petitpied" / "history.sqlite"
    place.parent.mkdir(parents=True)
    place.write_bytes(b"no database" * 200)
    status, out, _ = bake(petitpied, "rose.jpg")
    assert status == 0
    assert "the history was left out" in out
    assert "Pairs: 8 macarons" in out
    assert place.read_bytes() == b"no database" * 200


@pytest.mark.usefixtures("no_pictures")
def test_no_shell_good_and_no_box_fits(petitpied):
    petitpied(*KITCHEN[:-1], "target=60")
    status, out, _ = bake(petitpied, "rose.jpg")
    assert status == 0
    assert "None of 16 shells is good: all are crumbs." in out
    assert "Pairs: none can be made." in out
    assert "Next: pipe rose 18" in out
    petitpied(*KITCHEN, "--answer", "slot=30", "--replace")
    status, out, _ = bake(petitpied, "rose.jpg")
    assert status == 0
    assert "Boxes: none of 6 can be filled: its diameter" in out


@pytest.mark.usefixtures("no_pictures")
def test_flavours_are_found_said_or_not_known(petitpied):
    shutil.copy("rose.jpg", "one.jpg")
    shutil.copy("lemon.jpg", "two.jpg")
    status, out, _ = bake(petitpied, "one.jpg", "two.jpg")
    assert status == 0
    assert "flavour of 2 trays not known (one, two)" in out
    found = json.loads(
        bake(petitpied, "one.jpg", "two.jpg", "--flavour", "mint", "--flavour", "fig", "--json")[1]
    )
    assert [tray["flavour"] for tray in found["trays"]] == ["mint", "fig"]
    record = json.loads(Path("evening/one.json").read_text())
    assert record["flavour"] == "mint"
    assert bake(petitpied, "one.jpg", *("--flavour", "a") * 2)[0] == 2


@pytest.mark.usefixtures("no_pictures")
def test_bake_toml_says_what_is_of_one_tray(petitpied):
    petitpied(*KITCHEN)
    Path("bake.toml").write_text('rest_minutes = 35\n[rose]\nflavour = "rosewater"\nturn = 180\n')
    assert bake(petitpied, "rose.jpg", "lemon.jpg")[0] == 0
    bakes = json.loads(petitpied("history", "list", "--json")[1])
    assert {(b["flavour"], b["turn"], b["rest_minutes"]) for b in bakes} == {
        ("rosewater", 180, 35.0), ("lemon", 0, 35.0),
    }  # fmt: skip


@pytest.mark.usefixtures("no_pictures")
def test_nothing_is_asked_outside_a_terminal_and_never_twice_in_one(
    petitpied, monkeypatch
):
    petitpied(*KITCHEN, "--answer", "racks=top,low")
    asked = []
    answers = {"Flavour": "fig", "Rack": "low", "Did": "yes"}

    def answer(question, _offered, read):
        asked.append(question)
        return read(answers[question.split()[0]])

    monkeypatch.setattr("petitpied.cli.evening.questions.can_ask", lambda: True)
    monkeypatch.setattr("petitpied.cli.evening.questions.ask", answer)
    shutil.copy("rose.jpg", "tray.jpg")
    assert bake(petitpied, "tray.jpg")[0] == 0
    assert len(asked) == 3
    [kept] = json.loads(petitpied("history", "list", "--json")[1])
    assert (kept["flavour"], kept["rack"], kept["turn"]) == ("fig", "low", 180)
    assert bake(petitpied, "tray.jpg")[0] == 0
    assert len(asked) == 3
