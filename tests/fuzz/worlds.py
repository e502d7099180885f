"""What kills, power cuts and crowds have in common: a history of known bakes, and looking at it."""

import json
import os
import sqlite3
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

from petitpied.history import connection
from petitpied.history.store import open_store, read_store
from tests.history import postgresql
from tests.history.bakes import log_bake, record_text, round_sizes, sha_of

ROOT = Path(__file__).resolve().parents[2]
BAKES = 40
#: says "go" when everything is loaded: a kill while Python starts tells nothing
DRIVER = """
import sys
import petitpied.cli.bakes.history, petitpied.cli.bakes.log, petitpied.history.store
import petitpied.history.exchange, petitpied.files.records.record_files, jsonschema_rs
import petitpied.cli.main as program
print("go", flush=True)
sys.argv[0] = "petitpied"
program.main()
"""


def environment(home):
    """For a process of ours: the code under test, own folders of its own."""
    own = {"XDG_DATA_HOME": f"{home}/data", "XDG_CONFIG_HOME": f"{home}/config", "HOME": str(home)}
    return {**os.environ, **own, "PYTHONPATH": f"{ROOT / 'src'}:{ROOT}"}


def started(arguments, home, before=()):
    """The program as a process; its first line is "go"."""
    return subprocess.Popen(
        [*before, sys.executable, "-c", DRIVER, *map(str, arguments)], text=True, cwd=home,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment(home),
    )  # fmt: skip


def finished(arguments, home):
    """Run to its end: status, output, errors."""
    with started(arguments, home) as process:
        out, err = process.communicate(timeout=300)
    return process.returncode, out, err


def write_records(folder, count=BAKES):
    """Records and a table of facts for `petitpied log --facts`; number to text."""
    rows, texts = ["record,oven,at"], {}
    for n in range(count):
        texts[n] = record_text(n, [41.0, 42.0 + n / 100])
        (folder / f"tray_{n}.json").write_bytes(texts[n])
        rows.append(f"tray_{n}.json,Deck,2026-01-01T{n // 60:02d}:{n % 60:02d}Z")
    (folder / "facts.csv").write_text("\n".join(rows))
    return texts


def filled(address, count=BAKES):
    """A history with this many bakes."""
    store = open_store(address)
    for n in range(count):
        log_bake(store, n, round_sizes(42 + n / 100))
    return store


def made_older(address):
    """The history as the version before had it: rows without checksums."""
    engine = connection.open_engine(address)
    with engine.begin() as c:
        for table in ("bake", "record", "values"):
            c.exec_driver_sql(f"ALTER TABLE petitpied_{table} DROP COLUMN checksum")
        c.exec_driver_sql("UPDATE petitpied_version SET version = 2")


def emptied(address):
    """The database without our tables."""
    engine = connection.open_engine(address)
    with engine.begin() as c:
        for name in sa.inspect(c).get_table_names():
            if name.startswith("petitpied_"):
                c.exec_driver_sql(f"DROP TABLE {name} CASCADE")


def numbers_in(address):
    """Numbers of the bakes that are there, each looked at with every check."""
    store = read_store(address)
    there = {int(bake.facts.photo_sha256, 16) for bake in store.bakes()}
    for n in there:
        json.loads(store.record_text(sha_of(n)))
    return there


def integrity(address):
    """What the database itself says of its files; "" where all is well."""
    if "://" not in address:
        with sqlite3.connect(address) as c:
            said = c.execute("PRAGMA integrity_check").fetchall()
        c.close()
        return "" if said == [("ok",)] else str(said)
    tool = postgresql.binary("pg_amcheck")
    if tool is None:
        return ""
    url = connection.url_of(address)
    done = subprocess.run(
        [tool, "--install-missing", "-h", url.query["host"], "-U", url.username, url.database],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return "" if done.returncode == 0 else done.stdout + done.stderr


@contextmanager
def servers():
    """Addresses by name: a server of our own where PostgreSQL is installed."""
    if postgresql.missing():
        print(postgresql.missing())
        yield {}
        return
    with postgresql.server() as address:
        yield {"postgresql": address}
