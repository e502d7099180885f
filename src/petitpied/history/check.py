"""The history looked through: what is whole, what a record still proves, what is lost."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

import sqlalchemy as sa
from sqlalchemy.exc import DatabaseError

from petitpied.domain.bake import BakeShells
from petitpied.domain.errors import HistoryError, RecordError
from petitpied.files.records.record_files import record_from_bytes
from petitpied.history import connection
from petitpied.history.packing import pack, shells_of
from petitpied.history.record_text import inflate, text_of
from petitpied.history.rows import (
    facts_as_they_stand,
    facts_of_row,
    record_of_row,
    record_row,
    shells_of_row,
    values_row,
)
from petitpied.history.store import Store
from petitpied.history.tables import BAKE, RECORD, VALUES

Row = dict[str, Any]
State = Literal["repairable", "repaired", "lost"]


@dataclass(frozen=True)
class Finding:
    """What is wrong with one bake (or "" the database): in words, and what became of it."""

    photo_sha256: str
    what: str
    state: State


@dataclass(frozen=True)
class Checked:
    """Bakes looked at, whole ones among them, and what was found; ``copy``: made before repair."""

    bakes: int
    whole: int
    findings: tuple[Finding, ...]
    copy: str = ""


@dataclass(frozen=True)
class _Bake:
    """One bake's findings, and the rows that put right what can be."""

    findings: tuple[Finding, ...]
    repairs: tuple[tuple[sa.Table, Row], ...] = ()


def check_history(store: Store, *, repair: bool) -> Checked:
    """Look at the database itself, every row's checksum, every record with every check.

    A bake's sizes are packed anew from its record where the record is whole; a copy of an SQLite
    file is made first. Facts and records have no second source: what is wrong with them is told.

    Raises
    ------
    HistoryError
        If not even the names of the bakes can be read.
    """
    findings = list(_of_database(store))
    names = store.names()
    looked = {name: _of_bake(store, name) for name in names}
    repairs = [row for found in looked.values() for row in found.repairs]
    copy = ""
    if repair and repairs:
        copy = connection.copy_beside(store.engine, 0)
        connection.written(store.engine, lambda c: _put(c, repairs))
    for found in looked.values():
        findings += [_after(finding, repaired=repair) for finding in found.findings]
    whole = sum(not found.findings for found in looked.values())
    return Checked(len(names), whole, tuple(findings), copy)


def _after(finding: Finding, *, repaired: bool) -> Finding:
    if finding.state != "repairable" or not repaired:
        return finding
    return Finding(finding.photo_sha256, finding.what, "repaired")


def _of_database(store: Store) -> Iterator[Finding]:
    """SQLite's own check of its file (sqlite.org/pragma.html#pragma_integrity_check)."""
    if store.engine.dialect.name != "sqlite":
        return
    try:
        with connection.reading(store.engine) as c:
            said = c.exec_driver_sql("PRAGMA integrity_check(5)").scalars().all()
    except HistoryError as error:
        said = [error.why]
    for line in said:
        if line != "ok":
            yield Finding("", f"the database file: {line}", "lost")


def _of_bake(store: Store, sha: str) -> _Bake:
    rows = {table.name: _row(store, table, sha) for table in (BAKE, RECORD, VALUES)}
    findings: list[Finding] = []
    repairs: list[tuple[sa.Table, Row]] = []
    why = _facts_fault(rows[BAKE.name])
    if why:
        findings.append(Finding(sha, why, "lost"))
    shells, record_why, resealed = _of_record(rows[RECORD.name], sha)
    if resealed is not None:
        repairs.append((RECORD, resealed))
    if record_why:
        state: State = "repairable" if resealed is not None else "lost"
        findings.append(Finding(sha, record_why, state))
    values_why = _values_fault(rows[VALUES.name], shells)
    if values_why:
        provable = shells is not None and rows[BAKE.name] is not None
        findings.append(Finding(sha, values_why, "repairable" if provable else "lost"))
        if shells is not None and provable:
            repairs.append((VALUES, values_row(sha, shells)))
    return _Bake(tuple(findings), tuple(repairs))


def _row(store: Store, table: sa.Table, sha: str) -> Row | None:
    """The row as it stands; None where it is missing or the file is damaged there."""
    wanted = sa.select(table).where(table.c.photo_sha256 == sha)
    try:
        with store.engine.connect() as c, c.begin():
            found = c.execute(wanted).mappings().first()
    except (DatabaseError, ValueError, TypeError):
        return None
    return None if found is None else dict(found)


def _facts_fault(row: Row | None) -> str:
    if row is None:
        return "its facts are gone"
    try:
        facts_of_row(row)
    except ValueError as error:
        try:
            facts = facts_as_they_stand(row)
        except ValueError:
            return f"{error}, and cannot be used"
        return f"{error}: oven {facts.oven}, baked {facts.baked_at:%Y-%m-%d %H:%M} as they stand"
    return ""


def _of_record(row: Row | None, sha: str) -> tuple[BakeShells | None, str, Row | None]:
    """The shells that the record proves, what is wrong with it, and its row with a new checksum
    where only the checksum was damaged: the record's own (Adler-32) still holds."""
    if row is None:
        return None, "its record is gone", None
    try:
        deflated = row["json_deflated"]
        if not isinstance(deflated, bytes):
            raise ValueError("its record is no record")
        record = record_from_bytes(text_of(deflated), "its record")
        if record.photo.sha256 != sha:
            raise ValueError("its record is of another photo")
        shells = shells_of(inflate(deflated))
    except RecordError as error:
        return None, f"its record cannot be read: {error.why}", None
    except ValueError as error:
        return None, str(error), None
    try:
        record_of_row(row)
    except ValueError:
        return shells, "its record's checksum is damaged", record_row(sha, deflated)
    return shells, "", None


def _values_fault(row: Row | None, shells: BakeShells | None) -> str:
    if row is None:
        return "its sizes are gone"
    try:
        found = shells_of_row(row)
    except ValueError as error:
        return str(error)
    if shells is not None and pack(found) != pack(shells):
        return "its sizes are not those of its record"
    return ""


def _put(c: sa.Connection, repairs: list[tuple[sa.Table, Row]]) -> None:
    for table, row in repairs:
        c.execute(table.delete().where(table.c.photo_sha256 == row["photo_sha256"]))
        c.execute(table.insert().values(row))
