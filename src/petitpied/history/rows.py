"""A bake as rows of the database, each with a checksum, and back with every check.

The checksum is SHA-256 of the row's values, as JSON, in the order of the columns: it shows damage
(a flipped bit, a row changed by another program), it is no seal against somebody who means harm.
What is read is checked for being possible besides.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import fields
from datetime import datetime
from typing import Any

import numpy as np

from petitpied.domain.bake import BakeFacts, BakeShells
from petitpied.domain.errors import HistoryError
from petitpied.domain.possible import BY_COLUMN, LARGEST_U
from petitpied.files.records.record_check import LONGEST_ID, MOST_SHELLS
from petitpied.history.facts import given, known_facts
from petitpied.history.packing import Packed, pack, unpack

FACTS = tuple(f.name for f in fields(BakeFacts))
#: columns of `tables.BAKE` before its checksum, in their order there
BAKE_COLUMNS = ("photo_sha256", "baked_at", "baked_at_s", "logged_at", *FACTS[2:])
_FLOATS = frozenset(
    {"baked_at_s", "set_temperature_c", "rest_minutes", "humidity_rel", "bake_minutes"}
    | {"thermometer_c", "ribbon_seconds", "whites_days"}
)

Row = Mapping[str, Any]
#: what values of other kinds than ours lead to
_NOT_OURS = (TypeError, ValueError, KeyError, AttributeError, OverflowError, RecursionError)


def checksum(values: Sequence[Any]) -> str:
    """SHA-256 over the values of a row; bytes count by their own SHA-256."""
    shown = [hashlib.sha256(v).hexdigest() if isinstance(v, bytes) else v for v in values]
    return hashlib.sha256(json.dumps(shown, ensure_ascii=True).encode()).hexdigest()


def bake_row(facts: BakeFacts, logged_at: datetime) -> dict[str, Any]:
    """A bake's facts as its row."""
    row = {name: getattr(facts, name) for name in FACTS}
    row |= {"baked_at": facts.baked_at.isoformat(), "baked_at_s": facts.baked_at.timestamp()}
    return sealed_bake(row | {"logged_at": logged_at.isoformat()})


def sealed_bake(row: Row) -> dict[str, Any]:
    """The row with its checksum."""
    plain = {name: _plain(name, row[name]) for name in BAKE_COLUMNS}
    return plain | {"checksum": checksum([plain[name] for name in BAKE_COLUMNS])}


def _plain(name: str, value: Any) -> Any:
    """The same value whichever database it comes from."""
    return float(value) if name in _FLOATS and isinstance(value, int) else value


def record_row(photo_sha256: str, deflated: bytes) -> dict[str, Any]:
    """A record as its row."""
    seal = checksum([photo_sha256, deflated])
    return {"photo_sha256": photo_sha256, "json_deflated": deflated, "checksum": seal}


def values_row(photo_sha256: str, shells: BakeShells) -> dict[str, Any]:
    """The shells' values as their row."""
    packed = pack(shells)
    row: dict[str, Any] = {"photo_sha256": photo_sha256, "ids": packed.ids}
    row |= {"columns": packed.columns, "packed": packed.data}
    return row | {"checksum": checksum(list(row.values()))}


def facts_of_row(row: Row) -> BakeFacts:
    """The facts of a row.

    Raises
    ------
    ValueError
        If the row is not as it was written, or holds what is no fact.
    """
    plain = {name: _plain(name, row[name]) for name in BAKE_COLUMNS}
    if any(isinstance(value, bytes) for value in plain.values()):
        raise ValueError("its facts hold bytes")
    if not _is_sealed(row, [plain[name] for name in BAKE_COLUMNS]):
        raise ValueError("its facts are not as they were written")
    return facts_as_they_stand(row)


def facts_as_they_stand(row: Row) -> BakeFacts:
    """The facts of a row whose checksum may be wrong; each is a possible one.

    Raises
    ------
    ValueError
        If one is not.
    """
    try:
        at = datetime.fromisoformat(row["baked_at"])
        values = {name: row[name] for name in FACTS} | {"baked_at": at}
        facts = BakeFacts(**values)
        again = given({n: v for n, v in known_facts(facts).items() if n != "humidity_rel"}, "it")
    except (HistoryError, *_NOT_OURS) as error:
        raise ValueError(f"its facts are none ({type(error).__name__})") from None
    humidity, sha = facts.humidity_rel, facts.photo_sha256
    same = all(getattr(facts, name) == value for name, value in again.items())
    possible = humidity is None or (isinstance(humidity, float) and 0 <= humidity <= 1)
    if not (same and possible and at.tzinfo is not None and _is_sha(sha)):
        raise ValueError("its facts are none")
    return facts


def record_of_row(row: Row) -> bytes:
    """The deflated record of a row.

    Raises
    ------
    ValueError
        If the row is not as it was written.
    """
    if not _is_sealed(row, [row["photo_sha256"], row["json_deflated"]]):
        raise ValueError("its record is not as it was written")
    deflated: bytes = row["json_deflated"]
    return deflated


def shells_of_row(row: Row) -> BakeShells:
    """The shells' values of a row.

    Raises
    ------
    ValueError
        If the row is not as it was written, or holds what no shell can be.
    """
    if not _is_sealed(row, [row[n] for n in ("photo_sha256", "ids", "columns", "packed")]):
        raise ValueError("its sizes are not as they were written")
    try:
        shells = unpack(Packed(row["ids"], row["columns"], row["packed"]))
    except _NOT_OURS as error:
        raise ValueError(f"its sizes are none ({type(error).__name__})") from None
    _check_shells(shells)
    return shells


def _check_shells(shells: BakeShells) -> None:
    ids = shells.ids
    proper = all(isinstance(i, str) and 0 < len(i) <= LONGEST_ID and i.isprintable() for i in ids)
    if not proper or len(set(ids)) < len(ids) or len(ids) > MOST_SHELLS:
        raise ValueError("its shells' names are none")
    places = {"row": shells.rows, "column": shells.columns, "x_mm": shells.x_mm}
    for name, values in {**places, "y_mm": shells.y_mm, **shells.values}.items():
        low, high = BY_COLUMN[name]
        known = np.asarray(values, float)
        known = known[~np.isnan(known)] if name in shells.values else known
        if not ((known >= low) & (known <= high)).all():
            raise ValueError(f"its {name} is beyond any shell's")
    for u_own in shells.u_own.values():
        if not (np.isnan(u_own) | ((u_own >= 0) & (u_own <= LARGEST_U))).all():
            raise ValueError("its uncertainties are none")


def _is_sealed(row: Row, values: Sequence[Any]) -> bool:
    try:
        return bool(row["checksum"] == checksum(values))
    except (TypeError, ValueError):  # what no row of ours holds
        return False


def _is_sha(text: Any) -> bool:
    return isinstance(text, str) and len(text) == 64 and all(c in "0123456789abcdef" for c in text)
