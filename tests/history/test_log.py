"""Logging as a baker types it: options, table, TOML, the last bake; and the history's commands."""

import csv
import io
import json
import zipfile
from datetime import UTC, datetime

import numpy as np
import pyarrow.parquet
import pytest
from PIL import Image

from petitpied.domain.bake import BakeFacts
from petitpied.domain.errors import ExitCode
from petitpied.files.records.record_files import record_bytes
from petitpied.history.store import open_store
from tests.benchmarks.tray_photos import a_photo, a_tray
from tests.cli import fakes
from tests.history.bakes import log_bake, record_text, round_sizes, sha_of, with_sha
from tests.records import a_record, a_shell, relative_record

OVEN = 'Brume\'s "deck" \U0001f525'


@pytest.fixture
def db(tmp_path):
    return tmp_path / "h.sqlite"


@pytest.fixture
def record(tmp_path):
    """Writes the record of a photo by number: its path."""

    def write(number, **photo):
        path = tmp_path / f"tray_{number}.json"
        path.write_bytes(with_sha(record_text(number, round_sizes(42.0)), number, **photo))
        return path

    return write


def facts(db):
    return open_store(str(db)).facts()


def assert_plain(err, lines=1):
    assert "Traceback" not in err
    assert len(err.strip().splitlines()) == lines
    assert err.strip().endswith(".")


def test_every_option_arrives(petitpied, record, db):
    status, out, _ = petitpied(
        "log", record(1), "--oven", OVEN, "--rack", " top ", "--turn", "180", "--at",
        "2026-03-08T09:15+02:00", "--set-temperature", "150,5", "--no-fan", "--liner", "mat",
        "--rest-minutes", "40", "--humidity", "55 %", "--flavour", "rose", "--batch", "b7",
        "--note", "=1+1", "--db", db,
    )  # fmt: skip
    assert status == 0
    assert out.startswith("logged tray_1.json: oven Brume's")
    (bake,) = facts(db)
    assert (bake.oven, bake.rack, bake.turn_deg) == (OVEN, "top", 180)
    assert bake.baked_at.isoformat() == "2026-03-08T09:15:00+02:00"
    assert (bake.set_temperature_c, bake.fan, bake.humidity_rel) == (150.5, False, 0.55)
    assert (bake.liner, bake.rest_minutes, bake.flavour) == ("mat", 40, "rose")
    assert (bake.batch, bake.note) == ("b7", "=1+1")


def test_logged_again_it_replaces_and_keeps_what_is_not_said(petitpied, record, db):
    petitpied("log", record(1), "--oven", "A", "--rest-minutes", "40", "--db", db)
    status, out, _ = petitpied("log", record(1), "--oven", "B", "--db", db)
    assert status == 0
    assert "replaces the bake of the same photo, oven A" in out
    (bake,) = facts(db)
    assert (bake.oven, bake.rest_minutes) == ("B", 40)


def test_the_photos_time_or_the_clock(petitpied, record, db):
    petitpied("log", record(1, taken_at="2026-03-08T09:15:00"), "--oven", "A", "--db", db)
    _, out, _ = petitpied("log", record(2, taken_at=None), "--oven", "A", "--db", db)
    assert "the time of logging stands for it" in out
    _, out, _ = petitpied("log", record(3), "--oven", "A", "--at", "2199-01-01", "--db", db)
    assert "ahead of this machine's clock" in out
    first = facts(db)[0].baked_at
    assert first.replace(tzinfo=None).isoformat() == "2026-03-08T09:15:00"
    assert first.tzinfo is not None


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_a_table_logs_many(petitpied, record, db, tmp_path, delimiter):
    paths = [record(n) for n in (1, 2, 3)]
    table = tmp_path / "facts.csv"
    rows = [
        ["record", "oven", "rack", "turn", "at", "flavour", "humidity", "fan"],
        [paths[0].name, OVEN, "top", "0", "2026-03-03T10:00", "rose", "55", "yes"],
        [str(paths[1]), OVEN, "top", "180", "2026-03-01T10:00", "", "0.6", ""],
        [paths[2].name, OVEN, "", "", "2026-03-02T10:00", "lemon", "", "off"],
    ]
    stream = io.StringIO()
    csv.writer(stream, delimiter=delimiter).writerows(rows)
    table.write_text("\ufeff" + stream.getvalue(), "utf-8")
    status, out, _ = petitpied("log", "--facts", table, "--db", db)
    assert status == 0
    assert "3 of 3 bakes logged" in out
    assert [f.turn_deg for f in facts(db)] == [180, 0, 0]  # by date, not by row
    assert [f.humidity_rel for f in facts(db)] == [0.6, None, 0.55]
    assert [f.fan for f in facts(db)] == [None, False, True]


@pytest.mark.parametrize(
    ("header", "cells", "says"),
    [
        ("record,oven,humidity", "tray_1.json,A,wet", "line 2: humidity"),
        ("record,oven,turn", "tray_1.json,A,90", "must be 0 or 180"),
        ("record,oven,colour", "tray_1.json,A,pink", "there is no such fact"),
        ("record,oven", ",A", "record is empty"),
        ("oven,rack", "A,top", "record is empty or missing"),
        ("record,oven", "tray_1.json,A,more", "more cells than the header"),
        ("record,oven,oven", "tray_1.json,A,B", "two columns have the same name"),
        ("record,oven,at", "tray_1.json,A,yesterday", "must look like 2026-03-08T09:15"),
        ("record,oven,at", "tray_1.json,A,0001-01-01", "must lie between 1990 and 2200"),
        ("record,oven,set_temperature", "tray_1.json,A,nan", "between 20 and 400"),
    ],
)
def test_a_bad_table_logs_nothing(petitpied, record, db, tmp_path, header, cells, says):
    record(1)
    table = tmp_path / "facts.csv"
    table.write_text(f"{header}\r\n{cells}\r\n")
    status, _, err = petitpied("log", "--facts", table, "--db", db)
    assert status == ExitCode.HISTORY
    assert says in err
    assert_plain(err)
    assert not db.exists()


def test_facts_from_a_toml_beside_the_photos(petitpied, record, db, tmp_path):
    (tmp_path / "bake.toml").write_text(
        'oven = "Deck"\nset_temperature = 150\nfan = true\nat = 2026-03-08T09:15:00\n'
        '[tray_2]\nrack = "low"\nturn = 180\n'
    )
    petitpied("log", record(1), record(2), "--set-temperature", "155", "--db", db)
    first, second = sorted(facts(db), key=lambda f: f.photo_sha256)
    assert (first.oven, first.rack, first.set_temperature_c) == ("Deck", None, 155)
    assert (second.rack, second.turn_deg, second.fan) == ("low", 180, True)
    assert first.baked_at.hour == 9
    for text, says in (
        ("oven = ", "bake.toml, line 1: this is not proper TOML"),
        ('oven = "Deck"\n[tray_3]\nturn = 90', 'line 3: "turn": \'90\' must be 0 or 180'),
        ('\noffen = "Deck"', 'bake.toml, line 2: "offen": there is no such fact; there are oven'),
    ):
        (tmp_path / "bake.toml").write_text(text)
        status, _, err = petitpied("log", record(3), "--db", db)
        assert status == ExitCode.OWN_FILE
        assert says in err
        assert_plain(err)


def test_like_the_last_bake(petitpied, record, db):
    status, _, err = petitpied("log", record(1), "--db", db)
    assert status == ExitCode.HISTORY
    assert "not known in which oven" in err
    petitpied("log", record(1), "--oven", "A", "--fan", "--rest-minutes", "40", "--turn", "180",
              "--db", db)  # fmt: skip
    petitpied("log", record(2), "--like-last", "--rack", "top", "--at", "2026-04-01", "--db", db)
    bake = facts(db)[-1]
    assert (bake.oven, bake.rack, bake.fan) == ("A", "top", True)
    assert (bake.rest_minutes, bake.turn_deg) == (None, 0)  # measured each time, said each time


def test_one_bad_record_does_not_stop_the_others(petitpied, record, db, tmp_path):
    edited = json.loads(record(1).read_text())
    edited["shells"][0]["diameter_mm"] = "large"
    (tmp_path / "edited.json").write_text(json.dumps(edited))
    (tmp_path / "cardless.json").write_bytes(record_bytes(relative_record()))
    (tmp_path / "half.json").write_bytes(record(1).read_bytes()[:400])
    bad = [tmp_path / f"{n}.json" for n in ("edited", "cardless", "half", "none")]
    status, out, err = petitpied("log", *bad, record(2), "--oven", "A", "--db", db)
    assert status == ExitCode.SOME_FAILED
    assert "1 of 5 bakes logged" in out
    assert_plain(err, lines=4)
    assert "shells/0/diameter_mm does not fit the schema" in err
    assert "without a card" in err
    assert [f.photo_sha256 for f in facts(db)] == [sha_of(2)]
    assert petitpied("log", bad[0], "--oven", "A", "--db", db)[0] == ExitCode.RECORD
    assert petitpied("log", "--db", db)[0] == 2


def test_list_edit_remove(petitpied, record, db):
    petitpied("log", record(0x1234567), record(0xABCDEF0), "--oven", "A", "--db", db)
    status, out, _ = petitpied("history", "list", "--json", "--db", db)
    names = [row["bake"] for row in json.loads(out)]
    assert (status, len(names)) == (0, 2)
    assert "2 bakes" in petitpied("history", "list", "--oven", "A", "--db", db)[1]
    # these two share 57 zeros: a short name does not tell them apart
    status, _, err = petitpied("history", "edit", "00000000", "--rack", "top", "--db", db)
    assert (status, "2 bakes fit" in err) == (ExitCode.HISTORY, True)
    assert petitpied("history", "edit", names[0], "--db", db)[0] == 2
    petitpied("history", "edit", *names, "--rack", "top", "--humidity", "60", "--db", db)
    petitpied("history", "edit", names[0], "--clear", "rack", "--db", db)
    assert petitpied("history", "edit", names[0], "--clear", "oven", "--db", db)[0] == 2
    assert [f.rack for f in facts(db)] == [None, "top"]
    assert petitpied("history", "remove", names[0], "--db", db)[0] == 2  # nobody to ask
    status, out, _ = petitpied("history", "remove", names[0], "--yes", "--db", db)
    assert (status, "took out 1 bake" in out) == (0, True)
    assert [f.photo_sha256 for f in facts(db)] == [names[1]]


def test_export_and_import(petitpied, db, tmp_path):
    store = open_store(str(db))
    log_bake(store, 1, round_sizes(42), oven=OVEN, note="=SUM(A1)", fan=True, humidity_rel=0.55)
    log_bake(store, 2, round_sizes(43), oven=OVEN, turn_deg=180)
    archive, other = tmp_path / "all.zip", tmp_path / "other.sqlite"
    assert petitpied("history", "export", archive, "--db", db)[0] == 0
    out = petitpied("history", "import", archive, "--db", other)[1]
    assert "took in 2 new bakes, replaced 0, kept 0" in out
    assert facts(other) == facts(db)
    copy = open_store(str(other))
    assert copy.record_text(sha_of(1)) == store.record_text(sha_of(1))
    petitpied("history", "edit", sha_of(1), "--rack", "mine", "--db", other)
    assert "kept 2" in petitpied("history", "import", archive, "--db", other)[1]
    assert facts(other)[0].rack == "mine"
    out = petitpied("history", "import", archive, "--replace", "--db", other)[1]
    assert "replaced 2" in out
    assert facts(other)[0].rack is None

    petitpied("history", "export", tmp_path / "t.csv", "--db", db)
    rows = list(csv.DictReader(io.StringIO((tmp_path / "t.csv").read_text("utf-8"))))
    assert len(rows) == 12
    assert rows[0]["note"] == "'=SUM(A1)"  # no formula in a spreadsheet
    assert float(rows[0]["diameter_mm"]) == 41.5
    assert rows[0]["browning"] == ""
    petitpied("history", "export", tmp_path / "t.parquet", "--db", db)
    table = pyarrow.parquet.read_table(tmp_path / "t.parquet").to_pydict()
    assert np.allclose(table["diameter_mm"], [float(r["diameter_mm"]) for r in rows])
    assert table["oven"][0] == OVEN
    assert petitpied("history", "export", tmp_path / "t.xlsx", "--db", db)[0] == 2


def test_a_foreign_archive_changes_nothing(petitpied, db, tmp_path):
    store = open_store(str(db))
    log_bake(store, 1, round_sizes(42))
    good = tmp_path / "good.zip"
    petitpied("history", "export", good, "--db", db)
    broken = {"cut.zip": good.read_bytes()[:-200], "text.zip": b"not a zip"}
    for name, content in broken.items():
        (tmp_path / name).write_bytes(content)
    with zipfile.ZipFile(tmp_path / "empty.zip", "w") as z:
        z.writestr("x", "y")
    with zipfile.ZipFile(tmp_path / "lies.zip", "w") as z:
        z.writestr("facts.csv", "record,oven,at\r\n../../etc/passwd,A,2026-01-01\r\n")
    for name in (*broken, "empty.zip", "lies.zip", "missing.zip"):
        status, _, err = petitpied("history", "import", tmp_path / name, "--db", db)
        assert status == ExitCode.HISTORY
        assert_plain(err)
    assert len(facts(db)) == 1


def test_inspect_logs_in_one_step(petitpied, monkeypatch, db, tmp_path):
    monkeypatch.setitem(__import__("sys").modules, "petitpied.inspection.one_photo", fakes)
    photo = tmp_path / "tray.jpg"
    Image.fromarray(np.full((480, 640, 3), 128, np.uint8)).save(photo)
    (tmp_path / "bake.toml").write_text('oven = "Deck"\n')
    status, out, _ = petitpied(
        "inspect", photo, "--out", tmp_path / "r", "--log", "--rack", "top", "--db", db
    )
    assert status == 0
    assert "logged tray.json: oven Deck, rack top" in out
    assert [f.rack for f in facts(db)] == ["top"]
    status, _, err = petitpied("inspect", photo, "--rack", "top")
    assert (status, "--log" in err) == (2, True)
    status, _, err = petitpied("inspect", photo, "--log", "--turn", "90", "--db", db)
    assert (status, "must be 0 or 180" in err) == (ExitCode.HISTORY, True)


def _tray_record(photo, number):
    """A record of a photo made by `tests.benchmarks.tray_photos`."""
    shells = [
        a_shell(
            f"{chr(65 + int(r))}{int(c) + 1}", int(r), int(c), float(d),
            centre_mm=(float(x), float(y)),
        )
        for r, c, x, y, d in zip(
            photo.rows, photo.columns, photo.x_mm, photo.y_mm, photo.values["diameter"],
            strict=True,
        )
    ]  # fmt: skip
    return with_sha(record_bytes(a_record(shells)), number)


def test_photos_of_one_tray_are_one_bake(petitpied, db, tmp_path):
    rng = np.random.default_rng(8)
    trays = [a_tray(rng), a_tray(rng)]
    for n in range(6):
        path = tmp_path / f"tray_{n}.json"
        path.write_bytes(_tray_record(a_photo(trays[n == 5], rng), n))
        status, out, _ = petitpied("log", path, "--oven", "A", "--db", db)
        assert status == 0
        assert ("joined to it: one bake" in out) == (n in (1, 2, 3, 4))
    assert len(facts(db)) == 2
    store = open_store(str(db))
    assert len(store.photos_of(sha_of(0))) == 5
    archive, other = tmp_path / "all.zip", tmp_path / "other.sqlite"
    petitpied("history", "export", archive, "--db", db)
    petitpied("history", "import", archive, "--db", other)
    copy = open_store(str(other))
    assert len(copy.photos_of(sha_of(0))) == 5
    for one, two in zip(store.bakes(), copy.bakes(), strict=True):
        assert np.allclose(one.shells.values["diameter"], two.shells.values["diameter"])
    out = petitpied("history", "check", "--db", db)[1]
    assert "each is a tray of its own" in out
    petitpied("history", "remove", sha_of(0), "--yes", "--db", db)
    assert len(facts(db)) == 1


def test_old_doubles_are_found_and_joined(petitpied, db):
    rng, store = np.random.default_rng(9), open_store(str(db))
    tray, other = a_tray(rng), a_tray(rng)
    for n, photo in enumerate([a_photo(tray, rng), a_photo(other, rng), a_photo(tray, rng)]):
        at = datetime(2026, 3, 8, 9, n, tzinfo=UTC)
        store.add(_tray_record(photo, n), BakeFacts(sha_of(n), at, "A"), logged_at=at)
    out = petitpied("history", "check", "--db", db)[1]
    assert "3 bakes, but 2 trays" in out
    petitpied("history", "check", "--join", "--db", db)
    assert [f.photo_sha256 for f in facts(db)] == [sha_of(0), sha_of(1)]
    assert len(store.photos_of(sha_of(0))) == 2
