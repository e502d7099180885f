"""Killed at any moment: whatever was confirmed is there, whole, and nothing is half there."""

import signal
import sqlite3
import subprocess
import sys

import numpy as np
import pytest

from petitpied.history.store import open_store
from tests.history.bakes import record_text, sha_of

BAKES = 200


@pytest.mark.slow
def test_nothing_confirmed_is_lost(tmp_path):
    random = np.random.default_rng(61)
    texts = {}
    rows = ["record,oven,at"]
    for n in range(BAKES):
        texts[n] = record_text(n, [41.0, 42.0 + n / 100])
        (tmp_path / f"tray_{n}.json").write_bytes(texts[n])
        rows.append(f"tray_{n}.json,Deck,2026-01-01T{n // 60:02d}:{n % 60:02d}")
    (tmp_path / "facts.csv").write_text("\n".join(rows))
    db = tmp_path / "h.sqlite"
    command = [sys.executable, "-m", "petitpied", "log", "--facts", tmp_path / "facts.csv"]
    confirmed = set()
    for _ in range(3):
        stop_after = int(random.integers(1, 20))
        with subprocess.Popen(
            [*command, "--db", db], stdout=subprocess.PIPE, text=True, bufsize=1
        ) as job:
            seen = 0
            for line in job.stdout:
                if line.startswith("logged tray_"):
                    confirmed.add(int(line.split("tray_")[1].split(".")[0]))
                    seen += 1
                if seen == stop_after:
                    job.send_signal(signal.SIGKILL)
                    break
            # lines that were on their way when it was killed are confirmed too
            for line in job.stdout:
                if line.startswith("logged tray_") and line.endswith("\n"):
                    confirmed.add(int(line.split("tray_")[1].split(".")[0]))
        assert job.returncode == -signal.SIGKILL
        store = open_store(str(db))
        there = {int(f.photo_sha256, 16) for f in store.facts()}
        assert confirmed <= there
        assert len(there - confirmed) <= 1  # kept, but killed before it could say so
        for n in there:
            assert store.record_text(sha_of(n)) == texts[n]
        assert len(store.bakes()) == len(there)
        with sqlite3.connect(db) as c:
            assert c.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        c.close()
    assert confirmed
