"""From any older database to the present one, a numbered step at a time.

Each step runs in a transaction of its own and ends by writing its number: killed in between,
the database is at the step before. A step's SQL is fixed once released: new tables and columns
come with a new step. Here: 1 facts and records; 2 the shells' values once more, packed;
3 further photos of a tray, and events.
"""

from collections.abc import Callable

import sqlalchemy as sa

from petitpied.domain.errors import HistoryError
from petitpied.history import connection
from petitpied.history.packing import pack, shells_of
from petitpied.history.record_text import inflate
from petitpied.history.tables import RECORD, VALUES, VERSION

#: any number that no other program uses for its lock in the same PostgreSQL database
_ADVISORY_LOCK = 7_810_2026


def _facts_and_records(c: sa.Connection) -> None:
    blob = "BYTEA" if c.dialect.name == "postgresql" else "BLOB"
    number = "DOUBLE PRECISION"
    c.exec_driver_sql(
        "CREATE TABLE petitpied_bake (photo_sha256 VARCHAR(64) PRIMARY KEY, "
        f"baked_at VARCHAR(40) NOT NULL, baked_at_s {number} NOT NULL, "
        "logged_at VARCHAR(40) NOT NULL, oven TEXT NOT NULL, rack TEXT, "
        f"turn_deg INTEGER NOT NULL, set_temperature_c {number}, fan BOOLEAN, liner TEXT, "
        f"rest_minutes {number}, humidity_rel {number}, flavour TEXT, batch TEXT, note TEXT)"
    )
    c.exec_driver_sql(
        "CREATE TABLE petitpied_record (photo_sha256 VARCHAR(64) PRIMARY KEY "
        f"REFERENCES petitpied_bake (photo_sha256), json_deflated {blob} NOT NULL)"
    )
    c.exec_driver_sql("CREATE INDEX petitpied_bake_time ON petitpied_bake (baked_at_s)")


def _packed_values(c: sa.Connection) -> None:
    blob = "BYTEA" if c.dialect.name == "postgresql" else "BLOB"
    c.exec_driver_sql(
        "CREATE TABLE petitpied_values (photo_sha256 VARCHAR(64) PRIMARY KEY "
        "REFERENCES petitpied_bake (photo_sha256), ids TEXT NOT NULL, columns TEXT NOT NULL, "
        f"packed {blob} NOT NULL)"
    )
    for sha in c.execute(sa.select(RECORD.c.photo_sha256)).scalars().all():
        one = sa.select(RECORD.c.json_deflated).where(RECORD.c.photo_sha256 == sha)
        packed = pack(shells_of(inflate(c.execute(one).scalar_one())))
        c.execute(
            VALUES.insert().values(
                photo_sha256=sha, ids=packed.ids, columns=packed.columns, packed=packed.data
            )
        )


def _photos_and_events(c: sa.Connection) -> None:
    blob = "BYTEA" if c.dialect.name == "postgresql" else "BLOB"
    c.exec_driver_sql(
        "CREATE TABLE petitpied_photo (photo_sha256 VARCHAR(64) PRIMARY KEY, "
        "bake_sha256 VARCHAR(64) NOT NULL REFERENCES petitpied_bake (photo_sha256), "
        "logged_at VARCHAR(40) NOT NULL, "
        f"json_deflated {blob} NOT NULL)"
    )
    c.exec_driver_sql("CREATE INDEX petitpied_photo_bake ON petitpied_photo (bake_sha256)")
    c.exec_driver_sql(
        "CREATE TABLE petitpied_event (at VARCHAR(40) NOT NULL, at_s DOUBLE PRECISION NOT NULL, "
        "oven TEXT, what TEXT NOT NULL)"
    )


STEPS: tuple[Callable[[sa.Connection], None], ...] = (
    _facts_and_records,
    _packed_values,
    _photos_and_events,
)
NEWEST = len(STEPS)


def bring_up_to_date(engine: sa.Engine) -> None:
    """Run the steps that a database lacks; a new database gets all of them.

    Raises
    ------
    HistoryError
        If the database is newer than this program, or cannot be written.
    """
    with connection.reading(engine) as c:
        version = _version(c)
    while version < NEWEST:
        with connection.writing(engine) as c:
            if c.dialect.name == "postgresql":
                c.execute(sa.select(sa.func.pg_advisory_xact_lock(_ADVISORY_LOCK)))
            version = _version(c)  # another process may have been quicker
            if version < NEWEST:
                _step(c, version)
                version += 1
    if version > NEWEST:
        raise HistoryError(
            what=f"the history {connection.name_of(engine.url)} cannot be used",
            why=f"it was made by a newer petitpied (version {version}, this one knows {NEWEST})",
            next_step="install the newest petitpied; nothing was changed",
        )


def _step(c: sa.Connection, version: int) -> None:
    if version == 0:
        c.exec_driver_sql("CREATE TABLE petitpied_version (version INTEGER NOT NULL)")
        c.execute(VERSION.insert().values(version=0))
    STEPS[version](c)
    c.execute(VERSION.update().values(version=version + 1))


def _version(c: sa.Connection) -> int:
    if not sa.inspect(c).has_table(VERSION.name):
        return 0
    return int(c.execute(sa.select(VERSION.c.version)).scalar_one())
