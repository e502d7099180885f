"""Results are there whole or not at all."""

import errno
import os
import resource
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from petitpied.domain.errors import ExitCode, OutputError
from petitpied.files.output_files import distinct_stems, prepare_folder, safe_stem, write_all


def names(folder):
    return sorted(p.name for p in folder.iterdir())


def test_files_are_written_and_replaced(tmp_path):
    (tmp_path / "a.json").write_bytes(b"old")
    write_all({tmp_path / "a.json": b"new", tmp_path / "a.csv": b"1"})
    assert (tmp_path / "a.json").read_bytes() == b"new"
    assert names(tmp_path) == ["a.csv", "a.json"]


def test_files_have_the_users_usual_rights(tmp_path):
    (tmp_path / "usual").write_bytes(b"")
    write_all({tmp_path / "a.json": b""})
    modes = {stat.S_IMODE((tmp_path / n).stat().st_mode) for n in ("usual", "a.json")}
    assert len(modes) == 1


def test_a_full_disk_leaves_the_old_files(tmp_path, monkeypatch):
    """The second file no longer fits: neither is changed, and nothing is left over."""
    (tmp_path / "a.json").write_bytes(b"old")
    calls = []

    def full(handle):
        calls.append(handle)
        if len(calls) == 2:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="no space left on device; free some space") as caught:
        write_all({tmp_path / "a.json": b"new", tmp_path / "a.csv": b"1"})
    assert caught.value.exit_code is ExitCode.OUTPUT
    assert "a.csv" in str(caught.value)
    assert (tmp_path / "a.json").read_bytes() == b"old"
    assert names(tmp_path) == ["a.json"]


def test_the_systems_own_limit_leaves_nothing(tmp_path):
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    error = None
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, hard))
    try:
        write_all({tmp_path / "a.json": bytes(200_000)})
    except OutputError as caught:
        error = caught
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert "file too large" in str(error)
    assert names(tmp_path) == []


def test_a_kill_while_writing_leaves_the_old_file(tmp_path):
    """The process is killed at the moment when all is written aside but nothing renamed."""
    (tmp_path / "a.json").write_bytes(b"old")
    code = (
        "import os, signal, sys\n"
        "from pathlib import Path\n"
        "from petitpied.files.output_files import write_all\n"
        "os.fsync = lambda _: os.kill(os.getpid(), signal.SIGKILL)\n"
        f"write_all({{Path({str(tmp_path / 'a.json')!r}): b'new'}})\n"
    )
    done = subprocess.run([sys.executable, "-c", code], check=False, env=_environment())
    assert done.returncode == -9
    assert (tmp_path / "a.json").read_bytes() == b"old"


def _environment():
    source = str(Path(__file__).parents[2] / "src")
    return {**os.environ, "PYTHONPATH": source}


def test_folder_that_cannot_be_made_or_written(tmp_path, monkeypatch):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(OutputError, match=r"file.* cannot be written: file exists"):
        prepare_folder(tmp_path / "file")
    with pytest.raises(OutputError, match=r"cannot be written: not a directory"):
        prepare_folder(tmp_path / "file" / "sub")

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("tempfile.NamedTemporaryFile", refuse)
    with pytest.raises(OutputError, match="permission denied"):
        prepare_folder(tmp_path)


def test_a_missing_folder_is_made(tmp_path):
    prepare_folder(tmp_path / "new" / "deep")
    assert names(tmp_path / "new" / "deep") == []


def test_stems_never_lead_anywhere():
    for name in ("../../etc/x.jpg", "..\\..\\x.jpg", "a\x1b\n.jpg", "..", ".jpg", "", "é" * 300):
        stem = safe_stem(name)
        assert stem
        assert stem.isprintable()
        assert not {"/", "\\", "\0"} & set(stem)
        assert stem not in (".", "..")
        assert len(f"{stem}.marked.jpg".encode()) < 255


def test_photos_of_one_stem_get_different_results(tmp_path):
    here, there = tmp_path / "here", tmp_path / "there"
    photos = [("T.jpg", here), ("t.heic", here), ("T.png", there), ("T-2.png", here), ("T", here)]
    stems = distinct_stems((Path(name), folder) for name, folder in photos)
    assert stems == ("T", "t-2", "T", "T-2-2", "T-3")
