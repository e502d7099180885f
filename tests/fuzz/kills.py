"""kill -9 at random moments: what was confirmed is there, nothing is half there, and the next
command works."""

import random
import signal
import tempfile
import time
import zipfile
from collections import Counter
from pathlib import Path

from petitpied.files.records.record_files import read_record
from tests.fuzz import worlds
from tests.fuzz.files import fresh
from tests.fuzz.photos import RESULTS, tray

#: actions, and how often each is drawn; an inspection takes as long as ten of the others
ACTIONS = {"log": 8, "import": 5, "upgrade": 5, "export": 5, "inspect": 1}


def run(count, first, actions=ACTIONS):
    """So many kills; prints counts and what was wrong, returns an exit status."""
    faults, counts, unhurt = [], Counter(), {}
    with worlds.servers() as servers, tempfile.TemporaryDirectory() as place:
        for number in range(first, first + count):
            drawn = random.Random(f"kill/{number}")
            action = drawn.choices(list(actions), list(actions.values()))[0]
            kinds = ["sqlite", *(servers if action != "inspect" else ())]
            kind = drawn.choice(kinds)
            folder = fresh(Path(place) / "kill")
            address = servers.get(kind, str(folder / "h.sqlite"))
            if kind != "sqlite":
                worlds.emptied(address)
            key = action, kind
            try:
                prepared = prepare(action, folder, address)
                if key not in unhurt:
                    unhurt[key] = _seconds(prepared, folder)
                    if kind != "sqlite":
                        worlds.emptied(address)
                    folder = fresh(folder)
                    prepared = prepare(action, folder, address)
                killed, said = _killed(prepared, folder, drawn.random() * unhurt[key])
                counts[(*key, "killed" if killed else "was done before")] += 1
                look(action, folder, address, said)
            except Exception as error:
                faults.append(f"{number} ({action}, {kind}): {type(error).__name__}: {error}")
    for key, n in sorted(counts.items()):
        print(*key, n)
    print(*faults, f"{sum(counts.values())} kills, {len(faults)} faults", sep="\n")
    return 1 if faults else 0


def prepare(action, folder, address):
    """The arguments of the command that will be killed, with what it works on."""
    db = ("--db", address)
    if action == "log":
        worlds.write_records(folder)
        return ("log", "--facts", folder / "facts.csv", *db)
    if action == "inspect":
        photo = folder / "rose.jpg"
        tray(2).save(photo, quality=90)
        return ("inspect", photo, "--out", folder / "out")
    if action == "import":
        source = str(folder / "source.sqlite")
        worlds.filled(source)
        status, _, err = worlds.finished(
            ("history", "export", folder / "a.zip", "--db", source), folder
        )
        assert status == 0, err
        return ("history", "import", folder / "a.zip", *db)
    worlds.filled(address)
    if action == "upgrade":
        worlds.made_older(address)
        return ("history", "upgrade", *db)
    return ("history", "export", folder / "out.zip", *db)


def _seconds(arguments, folder):
    with worlds.started(arguments, folder) as process:
        process.stdout.readline()
        begun = time.monotonic()
        process.communicate(timeout=300)
    assert process.returncode == 0, arguments
    return time.monotonic() - begun


def _killed(arguments, folder, after_s):
    """Whether it was killed before its end, and the whole lines that it had said."""
    with worlds.started(arguments, folder) as process:
        assert process.stdout.readline() == "go\n"
        time.sleep(after_s)
        process.send_signal(signal.SIGKILL)
        out, _ = process.communicate(timeout=60)
    return process.returncode == -signal.SIGKILL, [
        s for s in out.splitlines(True) if s.endswith("\n")
    ]


def look(action, folder, address, said, *, certain=True):
    """Assertions on what is left, then on the same command once more.

    ``certain``: at most one bake is there that was not confirmed.
    """
    every = set(range(worlds.BAKES))
    db = ("--db", address)
    if action == "inspect":
        _look_at_results(folder, said)
        return
    fault = worlds.integrity(address) if _is_there(address) else ""
    assert not fault, fault
    if action == "log":
        confirmed = {int(s.split("tray_")[1].split(".")[0]) for s in said if s.startswith("logged")}
        there = _numbers(address)
        assert confirmed <= there, f"lost {confirmed - there}"
        assert not certain or len(there - confirmed) <= 1, f"not confirmed: {there - confirmed}"
        again = ("log", "--facts", folder / "facts.csv", *db)
    elif action == "import":
        there = _numbers(address)
        assert there in (set(), every), f"half imported: {len(there)}"
        assert there == every or not said, said
        again = ("history", "import", folder / "a.zip", *db)
    elif action == "upgrade":
        again = ("history", "upgrade", *db)
    else:
        if (folder / "out.zip").exists():
            with zipfile.ZipFile(folder / "out.zip") as packed:
                assert packed.testzip() is None
                assert len(packed.namelist()) == worlds.BAKES + 1
        else:
            assert not said
        again = ("history", "export", folder / "out.zip", *db, "--replace")
    status, _, err = worlds.finished(again, folder)
    assert status == 0, f"the next command: {err}"
    assert worlds.numbers_in(address) == every
    if action == "upgrade" and "://" not in address:
        for copy in folder.glob("h.version-2*.sqlite"):
            assert not worlds.integrity(str(copy))


def _is_there(address):
    return "://" in address or Path(address).exists()


def _numbers(address):
    """As `worlds.numbers_in`; a database whose first tables are not made yet has none."""
    if not _is_there(address) or ("://" not in address and Path(address).stat().st_size == 0):
        return set()
    try:
        return worlds.numbers_in(address)
    except Exception as error:
        if any(words in str(error) for words in ("is not read yet", "it is empty")):
            return set()
        raise


def _look_at_results(folder, said):
    out = folder / "out"
    there = {p.name.removeprefix("rose") for p in out.glob("rose.*")}
    if any("wrote" in line for line in said):
        assert there == set(RESULTS), there
    # a set is whole, or not there, or the list is there by which the next command finishes it
    half = there not in (set(), set(RESULTS))
    assert not half or list(out.glob(".petitpied-*.set")), f"half written: {sorted(there)}"
    if ".json" in there:
        read_record(out / "rose.json")
    status, _, err = worlds.finished(("inspect", folder / "rose.jpg", "--out", out), folder)
    assert status == 0, f"the next command: {err}"
    assert {p.name.removeprefix("rose") for p in out.glob("rose.*")} == set(RESULTS)
