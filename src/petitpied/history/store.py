"""The history's door: bakes in, bakes out. Whatever is confirmed is on the disk."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from petitpied.domain.bake import Bake, BakeFacts
from petitpied.domain.errors import HistoryError
from petitpied.history import connection
from petitpied.history.facts import as_kept
from petitpied.history.migrations import bring_up_to_date, require_newest
from petitpied.history.packing import shells_of
from petitpied.history.record_text import deflate, inflate, text_of
from petitpied.history.rows import (
    bake_row,
    facts_as_they_stand,
    facts_of_row,
    record_of_row,
    record_row,
    sealed_bake,
    shells_of_row,
    values_row,
)
from petitpied.history.tables import BAKE, METADATA, RECORD, VALUES

#: columns of `VALUES` beside its key
_SIZES = ("ids", "columns", "packed", "checksum")
_ORDER = (BAKE.c.baked_at_s, BAKE.c.photo_sha256)


def open_store(url: str | None, *, new: bool = True) -> "Store":
    """The history at ``url`` (`connection.open_engine`), to be written to: made new where there
    is none, brought up to date where it is older (a copy is made first).

    ``new`` False: a file that was named must be there, so that a typing error makes no new one.

    Raises
    ------
    HistoryError
        If it cannot be opened, is another program's, or of a newer version.
    """
    if url is not None and not new:
        connection.require_file(connection.url_of(url))
    engine = connection.open_engine(url)
    copy = bring_up_to_date(engine)
    return Store(engine, copy)


def read_store(url: str | None) -> "Store":
    """The history at ``url``, for reading alone: nothing is made, changed or brought up to date.

    The usual history, where there is none yet, is an empty one.

    Raises
    ------
    HistoryError
        If it is not there, cannot be opened, is another program's, or older than this program.
    """
    if url is None and connection.is_missing(connection.url_of(None)):
        empty = sa.create_engine("sqlite://", poolclass=sa.StaticPool)
        METADATA.create_all(empty)
        return Store(empty)
    connection.require_file(connection.url_of(url))
    engine = connection.open_engine(url, writes=False)
    with connection.reading(engine) as c:
        require_newest(c)
    return Store(engine)


@dataclass(frozen=True)
class Store:
    """One database of bakes, open.

    Every method raises `HistoryError` where the database cannot be used. ``copy``: where the
    copy is that was made before it was brought up to date.
    """

    engine: sa.Engine
    copy: str = ""

    def bakes(self, oven: str | None = None, rack: str | None = None) -> tuple[Bake, ...]:
        """All bakes, or those of an oven, of a rack: oldest first, by the time of baking."""
        joined = sa.select(BAKE, *(VALUES.c[n].label(f"values_{n}") for n in _SIZES))
        rows = self._rows(_chosen(joined.join(VALUES, isouter=True), oven, rack))
        with self._damage_told():
            return tuple(Bake(facts_of_row(row), shells_of_row(_sizes(row))) for row in rows)

    def facts(self, oven: str | None = None, rack: str | None = None) -> tuple[BakeFacts, ...]:
        """As `bakes`, the facts alone."""
        rows = self._rows(_chosen(sa.select(BAKE), oven, rack))
        with self._damage_told():
            return tuple(facts_of_row(row) for row in rows)

    def facts_of(self, photo_sha256: str) -> BakeFacts | None:
        """The facts of one photo's bake; None where there is none."""
        rows = self._rows(sa.select(BAKE).where(BAKE.c.photo_sha256 == photo_sha256))
        with self._damage_told():
            return facts_of_row(rows[0]) if rows else None

    def names(self) -> tuple[str, ...]:
        """SHA-256 of the photo of every bake, whether its rows are whole or not; sorted."""
        found: set[str] = set()
        for table in (BAKE, RECORD, VALUES):
            found |= {
                str(row["photo_sha256"]) for row in self._rows(sa.select(table.c.photo_sha256))
            }
        return tuple(sorted(found))

    def facts_as_they_stand(self, photo_sha256: str) -> BakeFacts | None:
        """As `facts_of`, though their checksum may be wrong; None too where one is none at all."""
        rows = self._rows(sa.select(BAKE).where(BAKE.c.photo_sha256 == photo_sha256))
        try:
            return facts_as_they_stand(rows[0]) if rows else None
        except ValueError:
            return None

    def ovens(self) -> tuple[str, ...]:
        """Names of all ovens that have bakes, sorted."""
        return tuple(
            sorted(str(row["oven"]) for row in self._rows(sa.select(BAKE.c.oven).distinct()))
        )

    def last_logged(self) -> BakeFacts | None:
        """The facts of the bake that was logged last; None where there is none."""
        last = sa.select(BAKE).order_by(BAKE.c.logged_at.desc(), BAKE.c.baked_at_s.desc()).limit(1)
        rows = self._rows(last)
        with self._damage_told():
            return facts_of_row(rows[0]) if rows else None

    def add(self, text: bytes, facts: BakeFacts, *, logged_at: datetime) -> None:
        """Keep a record (checked JSON text) with its facts, in one transaction; a bake of the
        same photo is replaced."""
        rows = _rows_of(text, facts, logged_at)

        def work(c: sa.Connection) -> None:
            _lock(c, facts.photo_sha256)
            _put(c, rows)

        connection.written(self.engine, work)

    def add_all(
        self,
        bakes: Callable[[], Iterable[tuple[bytes, BakeFacts]]],
        *,
        replace: bool,
        now: datetime,
    ) -> dict[str, int]:
        """Keep many bakes, all of them or none; those that are there stay, or are replaced.

        ``bakes`` gives them from the beginning each time it is called.

        Returns
        -------
        dict
            How many were "added", "replaced" and "kept".
        """

        def work(c: sa.Connection) -> dict[str, int]:
            if c.dialect.name == "postgresql":  # nobody logs in between
                c.exec_driver_sql(f"LOCK TABLE {BAKE.name} IN SHARE ROW EXCLUSIVE MODE")
            there = set(c.execute(sa.select(BAKE.c.photo_sha256)).scalars())
            counts = {"added": 0, "replaced": 0, "kept": 0}
            for text, facts in bakes():
                known = facts.photo_sha256 in there
                if not known or replace:
                    _put(c, _rows_of(text, facts, now))
                counts["kept" if known and not replace else "replaced" if known else "added"] += 1
            return counts

        return connection.written(self.engine, work)

    def change(self, changed: Iterable[BakeFacts]) -> None:
        """Replace the facts of bakes, all of them or none."""
        wanted = sorted(changed, key=lambda facts: facts.photo_sha256)

        def work(c: sa.Connection) -> None:
            for facts in wanted:
                _lock(c, facts.photo_sha256)
                which = BAKE.c.photo_sha256 == facts.photo_sha256
                logged = c.execute(sa.select(BAKE.c.logged_at).where(which)).scalar_one()
                row = bake_row(facts, facts.baked_at) | {"logged_at": str(logged)}
                c.execute(BAKE.update().where(which).values(sealed_bake(row)))

        connection.written(self.engine, work)

    def remove(self, photos_sha256: Iterable[str]) -> None:
        """Take bakes out, record and all: all of them or none."""
        wanted = sorted(photos_sha256)

        def work(c: sa.Connection) -> None:
            for sha in wanted:
                _lock(c, sha)
                _delete(c, sha)

        connection.written(self.engine, work)

    def record_text(self, photo_sha256: str) -> bytes:
        """The record's JSON text as it was logged."""
        rows = self._rows(sa.select(RECORD).where(RECORD.c.photo_sha256 == photo_sha256))
        with self._damage_told():
            if not rows:
                raise ValueError("its record is missing")
            return text_of(record_of_row(rows[0]))

    def _rows(self, wanted: sa.Select[Any]) -> list[dict[str, Any]]:
        """Rows as they stand; values of other kinds than a column's come through unchanged."""
        with self._damage_told(), connection.reading(self.engine) as c:
            return [dict(row) for row in c.execute(wanted).mappings()]

    @contextmanager
    def _damage_told(self) -> Iterator[None]:
        try:
            yield
        except (ValueError, TypeError, LookupError) as error:
            raise HistoryError(
                what=f"the history {connection.name_of(self.engine.url)} cannot be used",
                why=f"a bake in it is damaged ({error})",
                next_step="run: petitpied history check",
            ) from error


def _chosen(wanted: sa.Select[Any], oven: str | None, rack: str | None) -> sa.Select[Any]:
    for column, name in ((BAKE.c.oven, oven), (BAKE.c.rack, rack)):
        if name is not None:
            wanted = wanted.where(column == as_kept(name))
    return wanted.order_by(*_ORDER)


def _sizes(row: dict[str, Any]) -> dict[str, Any]:
    if row["values_packed"] is None:
        raise ValueError("its sizes are missing")
    return {n: row[f"values_{n}"] for n in _SIZES} | {"photo_sha256": row["photo_sha256"]}


Rows = tuple[dict[str, Any], dict[str, Any], dict[str, Any]]


def _rows_of(text: bytes, facts: BakeFacts, logged_at: datetime) -> Rows:
    deflated = deflate(text)
    sha = facts.photo_sha256
    shells = shells_of(inflate(deflated))
    return bake_row(facts, logged_at), record_row(sha, deflated), values_row(sha, shells)


def _put(c: sa.Connection, rows: Rows) -> None:
    _delete(c, rows[0]["photo_sha256"])
    for table, row in zip((BAKE, RECORD, VALUES), rows, strict=True):
        c.execute(table.insert().values(row))


def _lock(c: sa.Connection, sha: str) -> None:
    """Two processes that log the same bake come one after the other."""
    if c.dialect.name == "postgresql":
        c.execute(sa.select(sa.func.pg_advisory_xact_lock(sa.func.hashtextextended(sha, 0))))


def _delete(c: sa.Connection, sha: str) -> None:
    for table in (VALUES, RECORD, BAKE):
        c.execute(table.delete().where(table.c.photo_sha256 == sha))
