"""The history on SQLite and on a real PostgreSQL server: what goes in comes out; old, new and
broken databases."""

import json
import math
import sqlite3
import zlib
from dataclasses import replace
from datetime import timedelta, timezone

import numpy as np
import pytest
import sqlalchemy as sa

from petitpied.domain.bake import BakeFacts
from petitpied.domain.errors import HistoryError
from petitpied.history import connection, migrations
from petitpied.history.store import open_store
from tests.history.bakes import START, log_bake, record_text, round_sizes, sha_of

OVEN = "Four à sole n°2 'Brume' \"\U0001f525\" ; DROP TABLE"


@pytest.fixture
def store(address):
    return open_store(address)


def test_what_goes_in_comes_out(store):
    known = {
        "oven": OVEN, "rack": "top", "turn_deg": 180, "set_temperature_c": 150.5, "fan": False,
        "liner": "mat", "rest_minutes": 40.0, "humidity_rel": 0.55, "flavour": "rose",
        "batch": "b1", "note": "a\u2019 note",
    }  # fmt: skip
    log_bake(store, 1, round_sizes(42.0), **known)
    (bake,) = store.bakes()
    assert bake.facts == BakeFacts(sha_of(1), START + timedelta(days=1), **known)
    shells = bake.shells
    assert shells.ids == ("A1", "A2", "A3", "A4", "A5", "A6")
    assert shells.columns.tolist() == [0, 1, 2, 3, 4, 5]
    assert shells.values["diameter"] == pytest.approx(round_sizes(42.0), abs=1e-9)
    assert shells.u_own["diameter"] == pytest.approx([0.08] * 6)
    # the record's lean: 0.4 mm at -30 degrees
    assert shells.values["lean_x"] == pytest.approx([0.4 * math.sqrt(3) / 2] * 6)
    assert shells.values["lean_y"] == pytest.approx([-0.2] * 6)
    assert "browning" not in shells.values
    assert store.record_text(sha_of(1)) == record_text(1, round_sizes(42.0))


def test_later_fields_of_a_record_are_kept_and_unmeasured_is_nan(store):
    data = json.loads(record_text(1, [41.0, 42.0]))
    data["shells"][0] |= {"cracks": [], "browning": {"value": 2.5, "u": 1, "u95": 2, "u_own": 1,
                                                      "u_shared": 0}}  # fmt: skip
    data["shells"][1] |= {"cracks": [{"length_mm": 3.0}, {"length_mm": 4.5}], "diameter_mm": None}
    store.add(json.dumps(data).encode(), BakeFacts(sha_of(1), START, "Deck"), logged_at=START)
    values = store.bakes()[0].shells.values
    assert values["cracks"].tolist() == [0.0, 7.5]
    assert values["browning"][0] == 2.5
    assert np.isnan([values["browning"][1], values["diameter"][1]]).all()


def test_one_photo_is_one_bake(store):
    log_bake(store, 1, [41.0])
    log_bake(store, 1, [42.0, 43.0], oven="Other")
    (bake,) = store.bakes()
    assert (bake.facts.oven, len(bake.shells.ids)) == ("Other", 2)


def test_oldest_first_whatever_the_order_and_the_offset(store):
    for number in (3, 1, 2):
        log_bake(store, number, [42.0])
    east = (START + timedelta(days=2, hours=-1)).astimezone(timezone(timedelta(hours=9)))
    log_bake(store, 4, [42.0], baked_at=east)  # a later clock reading, an earlier moment
    assert [b.facts.photo_sha256[-1] for b in store.bakes()] == ["1", "4", "2", "3"]
    assert store.last_logged().photo_sha256 == sha_of(4)


def test_by_oven_and_rack_changed_and_removed(store):
    log_bake(store, 1, [42.0], oven=OVEN, rack="top")
    log_bake(store, 2, [42.0], oven=OVEN, rack="low")
    log_bake(store, 3, [42.0], oven="caf\u00e9")
    assert [f.rack for f in store.facts(OVEN)] == ["top", "low"]
    assert len(store.bakes(OVEN, "low")) == 1
    assert len(store.bakes(" cafe\u0301 ")) == 1  # the same name, typed in another way
    assert store.ovens() == (OVEN, "caf\u00e9")
    store.change([replace(f, liner="mat") for f in store.facts(OVEN)])
    assert [f.liner for f in store.facts()] == ["mat", "mat", None]
    store.remove([sha_of(1), sha_of(3)])
    assert [f.photo_sha256 for f in store.facts()] == [sha_of(2)]
    assert store.facts_of(sha_of(1)) is None


def test_no_bakes(store):
    assert (store.bakes(), store.facts(), store.ovens(), store.last_logged()) == ((), (), (), None)


OLD = """
CREATE TABLE petitpied_version (version INTEGER NOT NULL);
INSERT INTO petitpied_version VALUES (1);
CREATE TABLE petitpied_bake (photo_sha256 VARCHAR(64) PRIMARY KEY, baked_at VARCHAR(40) NOT NULL,
 baked_at_s DOUBLE PRECISION NOT NULL, logged_at VARCHAR(40) NOT NULL, oven TEXT NOT NULL,
 rack TEXT, turn_deg INTEGER NOT NULL, set_temperature_c DOUBLE PRECISION, fan BOOLEAN, liner TEXT,
 rest_minutes DOUBLE PRECISION, humidity_rel DOUBLE PRECISION, flavour TEXT, batch TEXT, note TEXT);
CREATE TABLE petitpied_record (photo_sha256 VARCHAR(64) PRIMARY KEY
 REFERENCES petitpied_bake (photo_sha256), json_deflated BLOB NOT NULL);
CREATE INDEX petitpied_bake_time ON petitpied_bake (baked_at_s);
"""


def old_database(address, bakes):
    """A database of version 1, made by SQL that is fixed here, not by the program."""
    engine = connection.open_engine(address)
    blob = "BYTEA" if engine.dialect.name == "postgresql" else "BLOB"
    with engine.begin() as c:
        for statement in OLD.replace("BLOB", blob).split(";\n"):
            if statement.strip():
                c.exec_driver_sql(statement)
        for number in range(bakes):
            c.execute(
                sa.text(
                    "INSERT INTO petitpied_bake (photo_sha256, baked_at, baked_at_s, logged_at, "
                    "oven, turn_deg) VALUES (:sha, '2026-01-02T09:00:00+00:00', :at, 'x', 'D', 0)"
                ),
                {"sha": sha_of(number), "at": 1_767_344_400 + number},
            )
            text = zlib.compress(record_text(number, [40.0 + number, 41.0]))
            c.execute(
                sa.text("INSERT INTO petitpied_record VALUES (:sha, :json)"),
                {"sha": sha_of(number), "json": text},
            )


def test_an_old_database_is_brought_up_to_date(address):
    old_database(address, 3)
    store = open_store(address)
    assert [b.shells.values["diameter"][0] for b in store.bakes()] == [40.0, 41.0, 42.0]


def test_a_step_that_fails_leaves_the_step_before(address, monkeypatch):
    old_database(address, 2)

    def fails(c):
        migrations._packed_values(c)
        raise ZeroDivisionError("killed here")

    with monkeypatch.context() as patch:
        patch.setattr(migrations, "STEPS", (migrations._facts_and_records, fails))
        with pytest.raises(ZeroDivisionError):
            open_store(address)
    engine = connection.open_engine(address)
    with engine.connect() as c:
        assert c.execute(sa.text("SELECT version FROM petitpied_version")).scalar_one() == 1
        assert not sa.inspect(c).has_table("petitpied_values")
    store = open_store(address)  # and the next run gets through
    assert len(store.bakes()) == 2


def test_a_newer_database_is_refused(address):
    store = open_store(address)
    with store.engine.begin() as c:
        c.execute(sa.text("UPDATE petitpied_version SET version = 99"))
    with pytest.raises(HistoryError, match=r"newer petitpied \(version 99, .*nothing was changed"):
        open_store(address)


def test_a_server_that_does_not_answer_keeps_the_password_to_itself(tmp_path):
    with pytest.raises(HistoryError, match="check that it runs") as told:
        open_store(f"postgresql://baker:s3cret@/kitchen?host={tmp_path}")
    assert "s3cret" not in str(told.value)


@pytest.mark.parametrize(
    "address", ["nosuch://x", "postgresql://h:port/x", "mysql+nothing://x/y", "sqlite://"]
)
def test_an_address_that_is_none(address):
    with pytest.raises(HistoryError, match="database cannot be opened"):
        open_store(address)


def test_a_locked_database(tmp_path, monkeypatch):
    monkeypatch.setattr(connection, "LOCK_SECONDS", 0.1)
    path = tmp_path / "h.sqlite"
    store = open_store(str(path))
    log_bake(store, 1, [42.0])
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(HistoryError, match="another program is writing to it"):
        log_bake(store, 2, [42.0])
    assert len(store.bakes()) == 1  # reading goes on
    other.execute("ROLLBACK")
    other.close()
    log_bake(store, 2, [42.0])
    assert len(store.bakes()) == 2


def test_a_read_only_database_can_be_read(tmp_path):
    path = tmp_path / "h.sqlite"
    log_bake(open_store(str(path)), 1, [42.0])
    store = open_store(f"sqlite:///file:{path}?mode=ro&uri=true")
    assert len(store.bakes()) == 1
    with pytest.raises(HistoryError, match="it may only be read"):
        log_bake(store, 2, [42.0])


def test_a_full_disk_loses_nothing(tmp_path):
    store = open_store(str(tmp_path / "h.sqlite"))
    log_bake(store, 1, [42.0])
    with store.engine.connect() as c:
        pages = c.exec_driver_sql("PRAGMA page_count").scalar_one()
    # SQLite's own limit gives the same error as a full disk
    sa.event.listen(
        store.engine, "begin",
        lambda c: c.connection.driver_connection.execute(f"PRAGMA max_page_count = {pages + 1}"),
    )  # fmt: skip
    with pytest.raises(HistoryError, match="the disk is full"):
        log_bake(store, 2, [42.0 + i for i in range(30)])
    assert [f.photo_sha256 for f in store.facts()] == [sha_of(1)]
    assert store.record_text(sha_of(1)) == record_text(1, [42.0])


def test_a_typing_error_makes_no_new_file(tmp_path):
    with pytest.raises(HistoryError, match="there is no such file"):
        open_store(str(tmp_path / "histroy.sqlite"), new=False)
    assert not any(tmp_path.iterdir())


def test_another_file_and_a_damaged_bake(tmp_path):
    (tmp_path / "x.sqlite").write_text("Dear diary, today I baked macarons. " * 40)
    with pytest.raises(HistoryError, match="it is another kind of file"):
        open_store(str(tmp_path / "x.sqlite"))
    with pytest.raises(HistoryError, match="cannot be opened"):
        open_store(str(tmp_path / "no" / "h.sqlite"))
    store = open_store(str(tmp_path / "h.sqlite"))
    log_bake(store, 1, [42.0])
    with store.engine.begin() as c:
        c.execute(sa.text("UPDATE petitpied_values SET packed = x'00'"))
        c.execute(sa.text("UPDATE petitpied_record SET json_deflated = x'0011'"))
    with pytest.raises(HistoryError, match="a bake in it is damaged"):
        store.bakes()
    with pytest.raises(HistoryError, match="a bake in it is damaged"):
        store.record_text(sha_of(1))
