"""From any older database to the present one, a numbered step at a time.

Each step runs in a transaction of its own and ends by writing its number: killed in between,
the database is at the step before. A step's SQL is fixed once released: new tables and columns
come with a new step. Here: 1 facts and records; 2 the shells' values once more, packed; 3 more
facts: what the baker knows of oven, batter and faults that no photo shows; 4 a checksum for every
row.
"""

from collections.abc import Callable

import sqlalchemy as sa

from petitpied.domain.errors import HistoryError
from petitpied.history import connection
from petitpied.history.packing import pack, shells_of
from petitpied.history.record_text import inflate
from petitpied.history.rows import Row, record_row, sealed_bake, values_row
from petitpied.history.tables import BAKE, RECORD, VALUES, VERSION
from petitpied.text.wording import printable

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


def _more_facts(c: sa.Connection) -> None:
    number = "DOUBLE PRECISION"
    for column in (
        f"bake_minutes {number}", f"thermometer_c {number}", "tray_number INTEGER",
        "doubled BOOLEAN", "turned_halfway BOOLEAN", "meringue TEXT", f"ribbon_seconds {number}",
        f"whites_days {number}", "colouring TEXT", "flour_lot TEXT", "piped_by TEXT",
        "hollow INTEGER", "sticky INTEGER", "tough INTEGER",
    ):  # fmt: skip
        c.exec_driver_sql(f"ALTER TABLE petitpied_bake ADD COLUMN {column}")


def _checksums(c: sa.Connection) -> None:
    """From here on damage shows; what a record proves is packed anew from it first."""
    for table in (BAKE, RECORD, VALUES):
        c.exec_driver_sql(
            f"ALTER TABLE {table.name} ADD COLUMN checksum VARCHAR(64) NOT NULL DEFAULT ''"
        )
    for bake in c.execute(sa.select(BAKE)).mappings().all():
        sha = bake["photo_sha256"]
        _seal(c, BAKE, sealed_bake(dict(bake)))
        record = c.execute(sa.select(RECORD).where(RECORD.c.photo_sha256 == sha)).mappings().first()
        if record is None:
            continue
        _seal(c, RECORD, record_row(sha, record["json_deflated"]))
        try:
            _seal(c, VALUES, values_row(sha, shells_of(inflate(record["json_deflated"]))))
        except ValueError:  # the record is damaged; the values' checksum stays empty: not proven
            continue
    if c.dialect.name == "sqlite":
        c.exec_driver_sql(f"PRAGMA application_id = {connection.APPLICATION_ID}")


def _seal(c: sa.Connection, table: sa.Table, row: Row) -> None:
    c.execute(table.update().where(table.c.photo_sha256 == row["photo_sha256"]).values(row))


STEPS: tuple[Callable[[sa.Connection], None], ...] = (
    _facts_and_records,
    _packed_values,
    _more_facts,
    _checksums,
)
NEWEST = len(STEPS)


def bring_up_to_date(engine: sa.Engine) -> str:
    """Run the steps that a database lacks; a new database gets all of them.

    Returns
    -------
    str
        Where the copy is that was made before an older database was changed; "" where none was.

    Raises
    ------
    HistoryError
        If it is not ours, newer than this program, damaged, or cannot be written.
    """
    with connection.reading(engine) as c:
        version = version_of(c)
    copy = ""
    if 0 < version < NEWEST and engine.dialect.name == "sqlite":
        copy = connection.copy_beside(engine, version)
    while version < NEWEST:
        with connection.writing(engine) as c:
            if c.dialect.name == "postgresql":
                c.execute(sa.select(sa.func.pg_advisory_xact_lock(_ADVISORY_LOCK)))
            version = version_of(c)  # another process may have been quicker
            if version == 0:  # nothing to lose: all steps at once, so that nobody sees it half made
                for step in range(NEWEST):
                    _step(c, step)
                version = NEWEST
            elif version < NEWEST:
                if c.dialect.name == "postgresql":
                    copy = _copy_tables(c, version)
                _step(c, version)
                version += 1
    return copy


def require_newest(c: sa.Connection) -> None:
    """Raise `HistoryError` unless the database is ours and of this program's version."""
    version = version_of(c)
    if version == NEWEST:
        return
    name = connection.name_of(c.engine.url)
    if version == 0:
        raise HistoryError(
            what=f"there is no history in {name}",
            why="it is empty",
            next_step="check the name after --db, or log a first bake into it",
        )
    raise HistoryError(
        what=f"the history {name} is not read yet",
        why=f"it was made by an older petitpied (version {version}, this one has {NEWEST})",
        next_step="bring it up to date with: petitpied history upgrade (it makes a copy first)",
    )


def _step(c: sa.Connection, version: int) -> None:
    if version == 0:
        c.exec_driver_sql("CREATE TABLE petitpied_version (version INTEGER NOT NULL)")
        c.execute(VERSION.insert().values(version=0))
    STEPS[version](c)
    c.execute(VERSION.update().values(version=version + 1))


def _copy_tables(c: sa.Connection, version: int) -> str:
    """Tables as they were before a step, kept beside the others in the same database."""
    names = []
    for table in (BAKE, RECORD, VALUES):
        if sa.inspect(c).has_table(table.name):
            names.append(f"{table.name}_before_{version + 1}")
            c.exec_driver_sql(
                f"CREATE TABLE IF NOT EXISTS {names[-1]} AS SELECT * FROM {table.name}"
            )
    return f"tables {', '.join(names)}"


def version_of(c: sa.Connection) -> int:
    """The version of our tables; 0 where there are none yet.

    Raises
    ------
    HistoryError
        If it is another program's file, newer, or its version cannot be told.
    """
    tables, odd = connection.contents_of(c)
    name = connection.name_of(c.engine.url)
    if VERSION.name not in tables:
        if c.dialect.name == "sqlite" and (tables or odd):
            first = printable(min(tables | odd))[:40]
            raise HistoryError(
                what=f"{name} is no history of bakes",
                why=f"it is another program's database (it holds {first})",
                next_step="choose another file with --db; nothing was changed",
            )
        return 0
    found = c.execute(sa.select(VERSION.c.version)).scalars().all()
    if len(found) != 1 or type(found[0]) is not int or found[0] < 1 or odd:
        raise HistoryError(
            what=f"the history {name} cannot be used",
            why="it holds what no history holds" if odd else "its version cannot be told",
            next_step="go back to a copy, or import an export; nothing was changed",
        )
    if found[0] > NEWEST:
        raise HistoryError(
            what=f"the history {name} cannot be used",
            why=f"it was made by a newer petitpied (version {found[0]}, this one knows {NEWEST})",
            next_step="install the newest petitpied; nothing was changed",
        )
    return int(found[0])
