"""A set that a kill cut in two is finished by whoever comes next; a hostile list moves nothing."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from petitpied.files.output_files import prepare_folder, write_all
from petitpied.files.whole_sets import finish_sets

SOURCE = str(Path(__file__).parents[2] / "src")
#: killed after this many of four renames
KILLED = """
import os, signal, sys
from pathlib import Path
from petitpied.files.output_files import write_all
rename, left = Path.replace, [int(sys.argv[2])]
def replace(self, target):
    if not left[0]:
        os.kill(os.getpid(), signal.SIGKILL)
    left[0] -= 1
    return rename(self, target)
Path.replace = replace
write_all({Path(sys.argv[1]) / f"{n}.txt": b"new" for n in "abcd"}, replace=True)
"""


def names(folder):
    return sorted(p.name for p in folder.iterdir())


@pytest.mark.parametrize("after", range(4))
def test_what_a_kill_cut_in_two_is_finished_by_the_next(tmp_path, after):
    (tmp_path / "b.txt").write_bytes(b"old")
    done = subprocess.run(
        [sys.executable, "-c", KILLED, str(tmp_path), str(after)], check=False,
        env={**os.environ, "PYTHONPATH": SOURCE},
    )  # fmt: skip
    assert done.returncode == -9
    prepare_folder(tmp_path)
    found = [n for n in names(tmp_path) if not n.endswith(".old")]
    assert found == ["a.txt", "b.txt", "c.txt", "d.txt"]
    assert {(tmp_path / n).read_bytes() for n in found} == {b"new"}


def test_a_set_that_is_just_being_written_is_left_alone(tmp_path, monkeypatch):
    """Another process looks at the folder between two renames: locks are its writer's."""
    fcntl = pytest.importorskip("fcntl")
    rename, seen = Path.replace, []

    def look(self, target):
        finish_sets(tmp_path)
        seen.append(names(tmp_path))
        return rename(self, target)

    monkeypatch.setattr(Path, "replace", look)
    write_all({tmp_path / f"{n}.txt": b"new" for n in "ab"})
    assert [sum(n.endswith(".part") for n in one) for one in seen] == [2, 1]
    assert names(tmp_path) == ["a.txt", "b.txt"]
    assert fcntl is not None


@pytest.mark.parametrize(
    "content",
    [
        {"renames": {"../a.txt": ".petitpied-1.part"}},
        {"renames": {"a.txt": "../x.part"}},
        {"renames": {".bashrc": ".petitpied-1.part"}},
        {"renames": {"a.txt": "mine.txt"}},
        {"renames": [["a.txt", ".petitpied-1.part"]]},
        {"renames": {"a.txt": 5}},
        [],
        "",
    ],
)
def test_a_hostile_list_moves_nothing(tmp_path, content):
    folder = tmp_path / "in"
    folder.mkdir()
    for name in ("a.txt", ".petitpied-1.part", "mine.txt", ".bashrc"):
        (folder / name).write_bytes(name.encode())
    (tmp_path / "x.part").write_bytes(b"x")
    (tmp_path / "a.txt").write_bytes(b"mine")
    (folder / ".petitpied-1.set").write_text(json.dumps(content))
    finish_sets(folder)
    for name in ("a.txt", ".petitpied-1.part", "mine.txt", ".bashrc"):
        assert (folder / name).read_bytes() == name.encode()
    assert (tmp_path / "a.txt").read_bytes() == b"mine"
