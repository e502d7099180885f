"""Photos on disk: what a folder gives, and what cannot be read."""

import os
from pathlib import Path

import pytest

from petitpied.domain.errors import ExitCode, PhotoError
from petitpied.files import photo_files
from petitpied.files.photo_files import collect, read_photo


def test_a_folder_gives_its_photos_by_name(tmp_path):
    for name in ("b.JPG", "a.heic", "c.tiff", "a.json", "b.marked.jpg", ".hidden.jpg", "d.webp"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "sub.jpg").mkdir()
    found = collect([tmp_path / "d.webp", tmp_path, tmp_path / "a.json"])
    assert [p.name for p in found] == ["d.webp", "a.heic", "b.JPG", "c.tiff", "a.json"]


def test_a_folder_without_photos_says_so_when_read(tmp_path):
    assert collect([tmp_path]) == (tmp_path,)
    with pytest.raises(PhotoError, match="a folder without a photo"):
        read_photo(tmp_path)


def test_bytes_are_given_as_they_are(tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"\x00\xff")
    assert read_photo(tmp_path / "a.jpg") == b"\x00\xff"


def test_folder_missing_file_and_pipe_are_refused(tmp_path):
    os.mkfifo(tmp_path / "pipe.jpg")
    cases = {
        tmp_path: "it is a folder",
        tmp_path / "none.jpg": "there is no such file",
        tmp_path / "pipe.jpg": "not a regular file",
        Path("a\0b"): "cannot be read",
    }
    for path, message in cases.items():
        with pytest.raises(PhotoError, match=message) as caught:
            read_photo(path)
        assert caught.value.exit_code is ExitCode.PHOTO


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    """Raised by hand: the tests may run as a user who may read everything."""
    (tmp_path / "a.jpg").write_bytes(b"x")

    def refuse(self):
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(PhotoError, match="permission denied; check the name"):
        read_photo(tmp_path / "a.jpg")


def test_size_is_bounded_before_reading(tmp_path, monkeypatch):
    monkeypatch.setattr(Path, "read_bytes", lambda _: pytest.fail("read"))
    with (tmp_path / "a.tif").open("wb") as stream:
        stream.truncate(photo_files.MAX_BYTES + 1)  # sparse: takes no room
    with pytest.raises(PhotoError, match="it has 420 MB, at most 420"):
        read_photo(tmp_path / "a.tif")


def test_names_are_shown_without_escape_codes():
    with pytest.raises(PhotoError) as caught:
        read_photo(Path("tray\x1b[31m\n.jpg"))
    assert str(caught.value).isprintable()
