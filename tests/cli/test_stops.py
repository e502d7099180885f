"""Stopped by hand, by the system, by a full screen: soon, in a sentence, with nothing half done."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from petitpied.domain.errors import ExitCode
from petitpied.history.store import open_store
from tests.history.bakes import record_text

ROOT = Path(__file__).resolve().parents[2]
#: promised: 2 s; beyond that only what a busy machine adds
SOON_S = 4.0


def started(tmp_path, *arguments, code=None, **options):
    """The program in a process group of its own."""
    environment = {**os.environ, "PYTHONPATH": f"{ROOT / 'src'}:{ROOT}", "HOME": str(tmp_path)}
    command = [sys.executable, *(["-c", code] if code else ["-m", "petitpied"])]
    return subprocess.Popen(
        [*command, *map(str, arguments)], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, env=environment, start_new_session=True, **options,
    )  # fmt: skip


def ended(process, number, *, group=True):
    """Signalled, then waited for: status, output, errors, seconds."""
    begun = time.monotonic()
    (os.killpg if group else os.kill)(process.pid, number)
    out, err = process.communicate(timeout=60)  # closes the pipes too
    return process.returncode, out, err, time.monotonic() - begun


def nobody_left(group):
    """Whether all processes of a group end within seconds."""
    deadline = time.monotonic() + 5
    while time.monotonic() < deadline:
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.05)
    return False


#: photos that are measured for ever, and one that is done
SLOW = """
import sys, time
from tests.cli import fakes
sys.modules["petitpied.inspection.one_photo"] = fakes
from petitpied.cli.measuring import inspecting as batch
batch.run.__kwdefaults__ = None
batch.run.__defaults__ = (fakes.slow,)
from petitpied.cli.main import main
if __name__ == "__main__":
    sys.argv[0] = "petitpied"
    main()
"""


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_batch_says_what_is_done_and_what_is_not(tmp_path, number, code):
    for name in ("done.jpg", "slow1.jpg", "slow2.jpg", "slow3.jpg"):
        Image.fromarray(np.full((480, 640, 3), 99, np.uint8)).save(tmp_path / name)
    process = started(tmp_path, "inspect", tmp_path, "--jobs", 2, code=SLOW)
    deadline = time.monotonic() + 40
    while not (tmp_path / "done.jpg.did").exists() and time.monotonic() < deadline:
        time.sleep(0.05)
    time.sleep(1.0)  # until the parent has heard of it, on a busy machine too
    status, out, err, seconds = ended(process, number)
    assert status == code
    assert seconds < SOON_S
    assert "did done.jpg" in out
    assert "stopped: 1 of 4 photos were looked at, not yet: slow1.jpg, slow2.jpg, slow3.jpg" in err
    assert "Traceback" not in err
    assert nobody_left(process.pid)


DEEP = """
import hashlib, sys
from petitpied.running.interrupts import Interrupted, interruptible
try:
    with interruptible():
        print("deep", flush=True)
        hashlib.pbkdf2_hmac("sha256", b"x", b"y", 10**9)  # minutes in a library that hears nothing
except Interrupted as early:  # the signal came before the library was entered
    sys.exit(early.exit_code)
"""


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_what_hears_no_signal_is_ended_by_force(tmp_path, number, code):
    process = started(tmp_path, code=DEEP)
    assert process.stdout.readline() == "deep\n"
    status, _, err, seconds = ended(process, number)
    assert status == code
    assert seconds < SOON_S
    assert "KeyboardInterrupt" not in err


def test_log_says_how_many_are_logged(tmp_path):
    rows = ["record,oven"]
    for n in range(400):
        (tmp_path / f"tray_{n}.json").write_bytes(record_text(n, [41.0, 42.0]))
        rows.append(f"tray_{n}.json,Deck")
    (tmp_path / "facts.csv").write_text("\n".join(rows))
    db = tmp_path / "h.sqlite"
    process = started(tmp_path, "log", "--facts", tmp_path / "facts.csv", "--db", db)
    for _ in range(3):
        process.stdout.readline()
    status, out, err, seconds = ended(process, signal.SIGINT)
    assert (status, seconds < SOON_S) == (130, True)
    told = 3 + out.count("logged tray_")
    there = len(open_store(str(db)).facts())
    assert there - told in (0, 1)
    assert f"stopped: {told} of 400 bakes logged." in err or there > told


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full")
@pytest.mark.parametrize(
    "arguments", [("schema",), ("--help",), ("lot-check", "300", "--bad", "4")]
)
def test_a_full_output_is_told(arguments):
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "petitpied", *arguments], stdout=full, stderr=subprocess.PIPE,
            text=True, check=False, env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
        )  # fmt: skip
    assert done.returncode == ExitCode.OUTPUT
    assert "no space left on device" in done.stderr
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr


def test_nobody_reads_on(tmp_path):
    """As with `petitpied schema | head -1`."""
    process = started(tmp_path, "schema")
    process.stdout.close()
    with process.stderr:
        err = process.stderr.read()
    process.wait(30)
    assert "Traceback" not in err
    assert "unforeseen" not in err


@pytest.mark.parametrize(
    "arguments",
    [
        ("inspect", ""),
        ("inspect", "--relative", ""),
        ("inspect", "x.jpg", "--out", ""),
        ("inspect", "x.jpg", "--out="),
        ("sort", "", "--limits", "l.toml"),
        ("card", "--out", ""),
        ("history", "list", "--db", ""),
        ("log", "x.json", "--facts="),
    ],
)
def test_an_empty_name_is_no_folder(petitpied, tmp_path, monkeypatch, arguments):
    monkeypatch.chdir(tmp_path)
    status, _, err = petitpied(*arguments)
    assert (status, err) == (2, "an empty name was given: name a file or a folder.\n")
    assert list(tmp_path.iterdir()) == []
