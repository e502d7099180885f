"""A few of each kind of attack, as part of the tests; `python -m tests.fuzz` runs thousands."""

import random
from itertools import islice

import pytest

from tests.fuzz import crowds, power, run_many, worlds
from tests.fuzz.files import fresh

#: cheap ones; whole inspections, kills and power cuts of processes take too long here
FEW = {"records": 25, "tables": 10, "tomls": 15, "archives": 15, "databases": 15, "photos": 25}


@pytest.mark.filterwarnings("ignore")  # faults are judged by what the command says
@pytest.mark.parametrize("kind", FEW)
def test_no_hostile_file_wins(kind, tmp_path, monkeypatch):
    monkeypatch.chdir(fresh(tmp_path / "here"))
    if kind == "photos":  # the larger ones take long to make
        monkeypatch.setattr("tests.fuzz.photos.MEGAPIXELS", (1,))
    for number in range(FEW[kind]):
        _, faults, _ = run_many.attack(kind, number, tmp_path / "attack")
        faults = [fault for fault in faults if not fault.startswith("takes")]  # by no clock here
        assert not faults, f"{kind} {number}"


@pytest.mark.slow
def test_three_that_log_at_once(tmp_path):
    worlds.write_records(tmp_path, 24)
    assert crowds.crowd(tmp_path, str(tmp_path / "h.sqlite"), 24, 3) == []


#: a file written, synced and renamed, then the folder synced; as strace tells it
CALLS = """\
7 openat(AT_FDCWD, "{part}", O_RDWR|O_CREAT|O_EXCL, 0600) = 3
7 write(3, "{new}", 3) = 3
7 fsync(3) = 0
7 rename("{part}", "{target}") = 0
7 openat(AT_FDCWD, "{folder}", O_RDONLY|O_DIRECTORY) = 4
7 fsync(4) = 0
"""


def test_what_is_not_synced_may_be_lost_and_what_is_stays(tmp_path):
    """The disk that the power cuts are tried on forgets as it should, and no more."""
    target = tmp_path / "a"
    target.write_bytes(b"old")
    names = {
        "part": tmp_path / "a.part", "target": target, "folder": tmp_path, "new": "new",
    }  # fmt: skip
    text = CALLS.format(**{key: power.hexed(str(path)) for key, path in names.items()})
    calls = list(power.traced(text.splitlines()))
    seen = {}
    for after in range(len(calls) + 1):
        found = set()
        for seed in range(60):
            disk = power.Disk(tmp_path)
            for call in islice(calls, after):
                disk.call(*call)
            found.add(disk.after_cut(random.Random(seed)).get(str(target)))
        seen[after] = found
    assert [seen[n] for n in (0, 2, 3)] == [{b"old"}] * 3
    assert seen[4] == {b"old", b"new"}  # the rename may or may not have reached the disk
    assert seen[6] == {b"new"}
