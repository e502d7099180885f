"""One door for files from outside: regular files only, bounded before reading, nothing waits."""

import ast
import os
import threading
from pathlib import Path

import pytest

from petitpied.domain.errors import LensError, OwnFileError, RecordError
from petitpied.files.outside_files import Kind, Refused, open_outside, read_outside
from petitpied.files.own.lens_files import read_profile
from petitpied.files.own.own_file import read_own_file
from petitpied.files.records.record_files import read_record
from petitpied.files.records.study_files import read_study
from petitpied.report.letterhead import read_letterhead

PACKAGE = Path(__file__).resolve().parents[2] / "src" / "petitpied"
#: the door itself, and modules that open our own files alone: temporary ones, the handbook
OPENERS = {"outside_files.py", "output_files.py", "whole_sets.py", "pages.py"}


def test_a_regular_file_is_read_whole(tmp_path):
    (tmp_path / "a").write_bytes(b"\r\n\0x")
    assert read_outside(tmp_path / "a", Kind.LENS) == b"\r\n\0x"


def test_pipe_device_folder_and_missing_file_are_refused_at_once(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    cases = {
        tmp_path / "pipe": "not a regular file",
        Path("/dev/zero"): "not a regular file",
        tmp_path: "it is a folder",
        tmp_path / "none": "no such file",
        tmp_path / "loop": "too many levels of symbolic links",
        Path("a\0b"): "the name is no file name",
        Path("x" * 5000): "file name too long",
    }
    for path, why in cases.items():
        with pytest.raises(Refused, match=why):
            read_outside(path, Kind.PHOTO)


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    """Raised by hand: the tests may run as a user who may read everything."""
    (tmp_path / "a").write_bytes(b"x")

    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(Refused, match="permission denied"):
        read_outside(tmp_path / "a", Kind.PHOTO)


@pytest.mark.parametrize("kind", Kind)
def test_size_is_bounded_before_reading(tmp_path, kind):
    with (tmp_path / "a").open("wb") as stream:
        stream.truncate(kind.value + 10**7)  # sparse: takes no room
    with pytest.raises(Refused, match=r"it has .*B, at most"), open_outside(tmp_path / "a", kind):
        pytest.fail("let in")


def test_a_file_that_grows_is_not_read_for_ever(tmp_path, monkeypatch):
    (tmp_path / "a").write_bytes(bytes(Kind.LENS.value + 5))
    seen = os.stat_result((0o100644, 1, 1, 1, 0, 0, 10, 0, 0, 0))  # ten bytes when looked at
    monkeypatch.setattr(os, "fstat", lambda _: seen)
    with pytest.raises(Refused, match="it grows"):
        read_outside(tmp_path / "a", Kind.LENS)


READERS = {
    "record": (read_record, RecordError),
    "own file": (lambda path: read_own_file(path, "recipe"), OwnFileError),
    "lens": (read_profile, LensError),
    "study": (read_study, OwnFileError),
    "letterhead": (read_letterhead, OwnFileError),
}


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("what", ["pipe", "zero"])
def test_no_reader_waits_for_a_pipe_or_drains_a_device(reader, what, tmp_path):
    os.mkfifo(tmp_path / "pipe")
    read, error = READERS[reader]
    path = tmp_path / "pipe" if what == "pipe" else Path("/dev/zero")
    caught = []

    def work():
        try:
            read(path)
        except error as refused:
            caught.append(str(refused))

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    thread.join(10)
    assert "not a regular file" in caught[0]


def opened_in(path):
    """Calls that open or read a file by its path."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call):
            name = getattr(node.func, "attr", getattr(node.func, "id", ""))
            if name in ("read_bytes", "read_text", "open", "fdopen", "ZipFile"):
                yield ast.unparse(node)


def test_nothing_but_the_door_opens_a_file():
    """The package's own data, and bytes already read, are no files from outside."""
    harmless = (
        "joinpath",
        "Image.open(stream",
        "Image.open(io.BytesIO",
        "packed.open",
        "ZipFile(stream",
        "_open(",
        "os.devnull",
    )
    found = {
        f"{path.relative_to(PACKAGE)}: {call}"
        for path in PACKAGE.rglob("*.py")
        if path.name not in OPENERS
        for call in opened_in(path)
        if not any(word in call for word in harmless)
    }
    assert not found
