"""`petitpied setup`: what it writes is read as meant, what a baker breaks is told by its line."""

from pathlib import Path

import pytest
import typer

from petitpied.cli.evening import questions as q
from petitpied.domain.errors import ExitCode
from petitpied.files.own.kitchen_files import find_kitchen, sound_kitchen


@pytest.fixture
def setup(petitpied, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)

    def run(*arguments):
        return petitpied("setup", *arguments)

    return run


def test_the_offered_answers_make_a_sound_file(setup):
    status, out, _ = setup("--yes")
    assert status == 0
    assert "wrote kitchen.toml" in out
    kitchen = sound_kitchen(Path("kitchen.toml"))
    assert (kitchen.paper, kitchen.form, kitchen.oven) == ("a4", "round", "oven")
    assert kitchen.target_mm == 45.0
    assert kitchen.box.slots == 6
    assert all(len(line) <= 120 for line in Path("kitchen.toml").read_text().splitlines())
    status, out, _ = setup("--check")
    assert status == 0
    assert "missing: flavours" in out


def test_answers_on_the_command_line(setup):
    given = {
        "oven": 'Deck "1"', "racks": "top, low", "tray": "600x400", "target": "38,5",
        "tolerance": "1.5", "slots": "8", "flavours": "rose,crème brûlée", "form": "oval",
        "name": "Atelier Brume", "paper": "letter",
    }  # fmt: skip
    arguments = [part for k, v in given.items() for part in ("--answer", f"{k}={v}")]
    assert setup("--yes", *arguments)[0] == 0
    kitchen = sound_kitchen(Path("kitchen.toml"))
    assert kitchen.oven == 'Deck "1"'
    assert kitchen.racks == ("top", "low")
    assert kitchen.tray_mm == (600.0, 400.0)
    assert kitchen.target_mm == 38.5
    assert kitchen.flavours == ("rose", "crème brûlée")
    assert kitchen.box.slot_pitch_mm == 43.5
    assert "roundness_mm" not in kitchen.limits.names  # an oval is never round
    assert setup("--check")[:2] == (0, f"all is well\nread: {Path('kitchen.toml').absolute()}\n")
    assert setup("--yes", "--replace", "--answer", "target=big")[0] == 2
    assert setup("--yes", "--replace", "--answer", "colour=red")[0] == 2


def test_the_bakers_own_file_is_kept(setup):
    Path("kitchen.toml").write_text("# mine\n")
    status, _, err = setup("--yes")
    assert status == ExitCode.OUTPUT
    assert "you have one already" in err
    assert Path("kitchen.toml").read_text() == "# mine\n"
    assert setup("--yes", "--replace")[0] == 0
    assert "version = 1" in Path("kitchen.toml").read_text()


def test_the_check_tells_everything_at_once(setup):
    setup("--yes", "--answer", "flavours=rose")
    text = Path("kitchen.toml").read_text()
    for old, new in (
        ('paper = "a4"', 'paper = "a5"'), ("slots = 6", "slots = 0"), ("# fan = true", "fan = 7"),
        ("# slot_depth_mm", "slot_depth_mm"), ("[letterhead]", '[letterhead]\npicture = "x.png"'),
        ("racks = []", 'racks = ["only"]'),
    ):  # fmt: skip
        assert old in text
        text = text.replace(old, new)
    Path("kitchen.toml").write_text(text)
    status, out, _ = setup("--check")
    assert status == ExitCode.OWN_FILE
    wrong = [line for line in out.splitlines() if line.startswith("wrong:")]
    assert len(wrong) == 4
    for part in ("line 6: paper", "slots", '"fan"', "x.png"):
        assert part in out
    assert all(", line " in line and "allowed: " in line for line in wrong)
    assert "never used: [oven] racks" in out


def test_where_the_file_is_found(setup, tmp_path, own_folders):
    assert find_kitchen() is None
    assert setup("--yes", "--mine")[0] == 0
    mine = find_kitchen()
    assert own_folders in mine.parents
    (tmp_path / "a" / "b").mkdir(parents=True)
    (tmp_path / "kitchen.toml").write_text("")
    assert find_kitchen([Path("a/b")]) == tmp_path / "kitchen.toml"
    (tmp_path / "a" / "kitchen.toml").write_text("")
    assert find_kitchen([Path("a/b")]) == tmp_path / "a" / "kitchen.toml"
    assert find_kitchen() == tmp_path / "kitchen.toml"


@pytest.mark.parametrize(
    ("read", "good", "value", "bad"),
    [
        (q.number(10, 200), "44,5 mm", 44.5, "nan"),
        (q.whole(1, 9), "6", 6, "6.5"),
        (q.one_of(("a4", "letter")), "L", "letter", "a5"),
        (q.width_by_depth(100, 1200), "420 x 320 mm", (420.0, 320.0), "420"),
        (q.name_list(), "a, b,a,", ("a", "b"), "x" * 99),
        (q.name(), "Deck", "Deck", ""),
    ],
)
def test_answers_are_read_kindly(read, good, value, bad):
    assert read(good) == value
    with pytest.raises(ValueError, match="please type"):
        read(bad)


def test_a_bad_answer_is_asked_anew(monkeypatch, capsys):
    given = iter(["much", "12"])
    monkeypatch.setattr(typer, "prompt", lambda *_, **__: next(given))
    assert q.ask("How many", "", q.whole(1, 20)) == 12
    assert "please type a whole number from 1 to 20" in capsys.readouterr().out
