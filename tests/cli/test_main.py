"""The commands as a baker types them: what is printed, written, and the exit status."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from petitpied import __version__
from petitpied.domain.errors import ExitCode
from petitpied.figures.print.print_card import card_pdf
from tests.cli import fakes

ROOT = Path(__file__).parents[2]


@pytest.fixture
def petitpied(petitpied, monkeypatch):
    """The measuring itself is a stand-in."""
    monkeypatch.setitem(sys.modules, "petitpied.inspection.one_photo", fakes)
    return petitpied


def assert_plain(err, *, lines=1):
    """One sentence an error, nothing of the program's inside."""
    assert "Traceback" not in err
    assert len(err.strip().splitlines()) == lines
    assert err.strip().endswith(".")


def test_version_help_and_schema(petitpied):
    assert petitpied("--version")[:2] == (0, f"petitpied {__version__}\n")
    for command in ("inspect", "card", "schema"):
        status, out, _ = petitpied(command, "--help")
        assert (status, "Usage" in out) == (0, True)
    status, out, _ = petitpied("schema")
    assert status == 0
    assert json.loads(out)["$id"] == "petitpied/inspection/1"


def test_wrong_usage_is_status_two(petitpied, small_photo):
    assert petitpied("inspect")[0] == 2
    for arguments in (
        ["--shell-height", "nan"],
        ["--card-thickness", "-1"],
        ["--focal-35mm", "inf"],
        ["--jobs", "0"],
        ["--relative", "--shell-height", "13"],
    ):
        status, _, err = petitpied("inspect", small_photo, *arguments)
        assert status == 2
        assert "Traceback" not in err


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_card_writes_the_page(petitpied, tmp_path, paper):
    status, out, _ = petitpied("card", "--out", tmp_path / "new", "--paper", paper)
    assert status == 0
    assert "100 %" in out
    name = f"card_{paper}.pdf"
    assert [p.name for p in (tmp_path / "new").iterdir()] == [name]
    assert (tmp_path / "new" / name).read_bytes() == card_pdf(paper)


def test_inspect_prints_a_short_table_and_writes(petitpied, small_photo, tmp_path):
    status, out, err = petitpied("inspect", small_photo, "--out", tmp_path / "out")
    assert (status, err) == (0, "")
    assert "16 shells, mean diameter 4" in out
    assert "±" in out
    assert "warning: photo of only 0.3 megapixels" in out
    names = sorted(p.name for p in (tmp_path / "out").iterdir())
    assert names == ["tray.coco.json", "tray.csv", "tray.json", "tray.marked.jpg"]


def test_relative_prints_no_millimetres(petitpied, small_photo):
    status, out, _ = petitpied("inspect", small_photo, "--relative")
    assert status == 0
    assert " mm" not in out
    assert (small_photo.parent / "tray.json").exists()


def bad_inputs(folder, photo):
    """Name to path of files that cannot be inspected."""
    (folder / "empty.jpg").write_bytes(b"")
    (folder / "text.jpg").write_text("flour")
    (folder / "cut.jpg").write_bytes(photo.read_bytes()[:-500])
    (folder / "folder.jpg").mkdir()
    return [folder / n for n in ("empty.jpg", "text.jpg", "cut.jpg", "folder.jpg", "none.jpg")]


def test_bad_photos_alone(petitpied, small_photo, tmp_path):
    for path in bad_inputs(tmp_path, small_photo):
        before = sorted(tmp_path.iterdir())
        status, out, err = petitpied("inspect", path)
        assert (status, out) == (ExitCode.PHOTO, "")
        assert path.name in err
        assert_plain(err)
        assert sorted(tmp_path.iterdir()) == before


def test_bad_photos_among_good_ones(petitpied, small_photo, tmp_path):
    bad = bad_inputs(tmp_path, small_photo)
    for name in ("nocard.jpg", "fault.jpg", "second.jpg"):
        shutil.copy(small_photo, tmp_path / name)
    good = [small_photo, tmp_path / "second.jpg"]
    others = [tmp_path / "nocard.jpg", tmp_path / "fault.jpg"]
    status, out, err = petitpied(
        "inspect", *bad, *good, *others, "--jobs", 1, "--out", tmp_path / "out"
    )
    assert status == ExitCode.SOME_FAILED
    assert "2 of 9 photos inspected" in out
    assert "Traceback" not in err
    for part in ("empty", "0 markers seen", "ZeroDivisionError", "no such file"):
        assert part in err
    assert sorted(p.name for p in (tmp_path / "out").glob("*.json")) == [
        "second.coco.json", "second.json", "tray.coco.json", "tray.json",
    ]  # fmt: skip


def test_errors_of_card_and_program_have_their_status(petitpied, small_photo, tmp_path):
    for name, code in (("nocard.jpg", ExitCode.CARD), ("fault.jpg", ExitCode.FAULT)):
        shutil.copy(small_photo, tmp_path / name)
        status, _, err = petitpied("inspect", tmp_path / name)
        assert status == code
        assert_plain(err)


def test_debug_shows_the_place(petitpied, small_photo, tmp_path):
    shutil.copy(small_photo, tmp_path / "fault.jpg")
    with pytest.raises(ZeroDivisionError):
        petitpied("--debug", "inspect", tmp_path / "fault.jpg")


def test_a_result_folder_that_cannot_be_written(petitpied, small_photo):
    status, out, err = petitpied("inspect", small_photo, "--out", small_photo)
    assert (status, out) == (ExitCode.OUTPUT, "")
    assert "cannot be written" in err
    assert_plain(err)
    assert petitpied("card", "--out", small_photo)[0] == ExitCode.OUTPUT


def test_a_full_disk_leaves_nothing(petitpied, small_photo, monkeypatch, tmp_path):
    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    status, _, err = petitpied("inspect", small_photo, "--out", tmp_path / "out")
    assert status == ExitCode.OUTPUT
    assert "no space left" in err
    assert list((tmp_path / "out").iterdir()) == []


def test_photos_of_one_stem_keep_apart(petitpied, tmp_path):
    for name in ("t.jpg", "t.png"):
        Image.fromarray(np.full((480, 640, 3), 99, np.uint8)).save(tmp_path / name)
    status, out, _ = petitpied("inspect", tmp_path, "--jobs", 1)
    assert status == 0
    assert {"t.json", "t-2.json"} <= {p.name for p in tmp_path.iterdir()}
    assert "t-2.json" in out
    again, out, _ = petitpied("inspect", tmp_path, "--jobs", 1)  # our own pictures are no photos
    assert again == 0
    assert "2 of 2 photos" in out


def test_escape_codes_in_names_are_not_shown(petitpied, tmp_path):
    path = tmp_path / "tray\x1b[31m.jpg"
    Image.fromarray(np.full((480, 640, 3), 99, np.uint8)).save(path)
    for arguments in ([path], [tmp_path / "none\x1b[2J.jpg"], [path, tmp_path / "a\x1b[2J.jpg"]):
        _, out, err = petitpied("inspect", *arguments, "--jobs", 1)
        assert "\x1b" not in out + err


def test_help_and_version_do_not_need_the_heavy_modules():
    code = (
        "import sys; sys.argv = ['petitpied', '--version']\n"
        "from petitpied.cli.main import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "heavy = {'cv2', 'numpy', 'scipy', 'PIL', 'skimage', 'fpdf', 'jsonschema_rs'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    env = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True,
                          check=True)  # fmt: skip
    assert done.stdout.splitlines() == [f"petitpied {__version__}", "[]"]


def test_inspecting_imports_no_packages_that_take_long(tmp_path):
    """SciPy alone takes a third of a second, and the whole command shall take 1.5."""
    photo = ROOT / "sample_images" / "chocolate_black_mat.jpg"
    code = (
        "import sys\n"
        f"sys.argv = ['petitpied', 'inspect', {str(photo)!r}, '--out', {str(tmp_path)!r}]\n"
        "from petitpied.cli.main import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code\n"
        "slow = {'scipy', 'skimage', 'fpdf', 'sqlalchemy', 'rustworkx'}\n"
        "print(sorted(slow & set(sys.modules)))"
    )
    env = {**os.environ, "PYTHONPATH": str(ROOT / "src"), "XDG_DATA_HOME": str(tmp_path)}
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True,
                          check=True)  # fmt: skip
    assert "26 shells" in done.stdout
    assert done.stdout.splitlines()[-1] == "[]"
