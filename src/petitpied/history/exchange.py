"""The history in files: an archive that can be read back, and tables for other programs.

The archive is a ZIP: ``facts.csv``, which `petitpied log --facts` understands too, and each
record as it was logged. The tables (CSV, Parquet) have a row a shell, facts and values side by
side.
"""

import csv
import io
import json
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any

import numpy as np

from petitpied.domain.bake import MEASURES, Bake, BakeFacts
from petitpied.domain.errors import HistoryError
from petitpied.files.records.record_files import MAX_BYTES, record_from_bytes
from petitpied.files.records.table_files import safe_cell
from petitpied.history import facts as facts_of
from petitpied.history.store import Store
from petitpied.text.wording import printable

#: an archive of ten thousand bakes has about 2 GB, unpacked 6 GB: read a record at a time
FACTS_FILE = "facts.csv"
MAX_RECORDS = 200_000
#: what the ZIP module says of a damaged or foreign archive (RuntimeError: it has a password)
_DAMAGE = (
    *(zipfile.BadZipFile, zlib.error, KeyError, EOFError),
    *(UnicodeDecodeError, NotImplementedError, RuntimeError),
)


def write_archive(store: Store, bakes: Iterable[BakeFacts], stream: IO[bytes]) -> None:
    """The bakes' facts and records as a ZIP."""
    rows = []
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
        for facts in bakes:
            name = f"{facts.photo_sha256}.json"
            entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            entry.compress_type = zipfile.ZIP_DEFLATED
            packed.writestr(entry, store.record_text(facts.photo_sha256))
            rows.append({"record": name} | facts_row(facts))
            for text in store.further_records(facts.photo_sha256):
                sha = json.loads(text)["photo"]["sha256"]
                further = zipfile.ZipInfo(f"{sha}.json", (1980, 1, 1, 0, 0, 0))
                further.compress_type = zipfile.ZIP_DEFLATED
                packed.writestr(further, text)
                rows.append(
                    {"record": further.filename} | facts_row(facts) | {facts_of.SAME_TRAY: name}
                )
        packed.writestr(FACTS_FILE, csv_text(("record", *facts_of.NAMES, facts_of.SAME_TRAY), rows))


def facts_row(facts: BakeFacts) -> dict[str, Any]:
    """Facts by their names in tables, None where missing."""
    known = facts_of.known_facts(facts)
    row = {name: known.get(facts_of.FIELDS[name]) for name in facts_of.NAMES}
    row["at"] = facts.baked_at.isoformat()
    row["fan"] = None if facts.fan is None else "yes" if facts.fan else "no"
    if facts.humidity_rel is not None:
        row["humidity"] = round(100 * facts.humidity_rel, 6)
    return row


def csv_text(columns: Iterable[str], rows: Iterable[dict[str, Any]]) -> str:
    """A CSV (RFC 4180) whose texts no spreadsheet takes for a formula."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    names = list(columns)
    writer.writerow(names)
    for row in rows:
        writer.writerow([safe_cell(row.get(name)) for name in names])
    return stream.getvalue()


_SUFFIX = {name: "_mm" if unit == "mm" else "" for name, unit in MEASURES.items()}
SHELL_COLUMNS = (
    *("photo_sha256", *facts_of.NAMES, "shell", "row", "column", "x_mm", "y_mm"),
    *(c for name, mm in _SUFFIX.items() for c in (f"{name}{mm}", f"{name}_u_own{mm}")),
)


def shell_rows(bakes: Iterable[Bake]) -> Iterator[dict[str, Any]]:
    """A row a shell by `SHELL_COLUMNS`; None where not measured."""
    for bake in bakes:
        facts = facts_row(bake.facts)
        shells = bake.shells
        for i, shell_id in enumerate(shells.ids):
            row: dict[str, Any] = {"photo_sha256": bake.facts.photo_sha256} | facts
            row |= {"shell": shell_id, "row": int(shells.rows[i]), "column": int(shells.columns[i])}
            row |= {"x_mm": float(shells.x_mm[i]), "y_mm": float(shells.y_mm[i])}
            for name, mm in _SUFFIX.items():
                row[f"{name}{mm}"] = _known(shells.values.get(name), i)
                row[f"{name}_u_own{mm}"] = _known(shells.u_own.get(name), i)
            yield row


def _known(values: Any, i: int) -> float | None:
    return None if values is None or not np.isfinite(values[i]) else round(float(values[i]), 4)


def parquet_bytes(bakes: Iterable[Bake]) -> bytes:
    """`shell_rows` as Parquet.

    Raises
    ------
    HistoryError
        If the library for it is not installed.
    """
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise HistoryError(
            what="the table cannot be written as Parquet",
            why="the library pyarrow is not installed",
            next_step='install it with: pip install "petitpied[parquet]", or export CSV',
        ) from None
    texts = ("photo_sha256", "at", "shell", "fan", "oven", "rack", "liner", "flavour", "batch")
    kinds = dict.fromkeys(SHELL_COLUMNS, pyarrow.float64())
    kinds |= dict.fromkeys((*texts, "note"), pyarrow.string())
    kinds |= dict.fromkeys(("turn", "row", "column"), pyarrow.int32())
    rows = list(shell_rows(bakes))
    table = pyarrow.table(
        {name: pyarrow.array([row[name] for row in rows], kind) for name, kind in kinds.items()}
    )
    stream = io.BytesIO()
    pyarrow.parquet.write_table(table, stream)
    return stream.getvalue()


@dataclass(frozen=True)
class Imported:
    """What came of an import: bakes taken in, and those that were there already."""

    added: int
    replaced: int
    kept: int


def read_archive(path: Path) -> Iterator[tuple[bytes, BakeFacts, str | None]]:
    """Records (checked) and facts of an archive, and of a further photo of a tray the photo that
    its bake was logged by; it is untrusted.

    Raises
    ------
    HistoryError, RecordError
        If it is no archive of ours, or one of its parts is damaged.
    """
    name = path.name
    try:
        with zipfile.ZipFile(path) as packed:
            if len(packed.namelist()) > MAX_RECORDS:
                raise _no_archive(name, f"it has more than {MAX_RECORDS} parts")
            table = _part(packed, FACTS_FILE, facts_of.MAX_BYTES).decode("utf-8-sig")
            for number, row in enumerate(facts_of.table_rows(table, FACTS_FILE), start=2):
                part, same = row.pop("record", ""), row.pop(facts_of.SAME_TRAY, "") or None
                found = facts_of.given(
                    row, f"{printable(name)}, {FACTS_FILE}, line {number}", own=True
                )
                text = _part(packed, part, MAX_BYTES)
                record = record_from_bytes(text, printable(part))
                if record.view is None or "baked_at" not in found:
                    raise _no_archive(name, f"line {number} of {FACTS_FILE} is no whole bake")
                facts = facts_of.bake_facts(record.photo.sha256, found, printable(part))
                yield text, facts, None if same is None else Path(same).stem
    except OSError as error:
        raise _no_archive(name, error.strerror or "it cannot be read") from None
    except _DAMAGE as error:
        raise _no_archive(name, printable(str(error))[:120] or "it is cut off") from None


def _part(packed: zipfile.ZipFile, part: str, most: int) -> bytes:
    """One file of the archive, at most ``most`` bytes whatever its header says."""
    with packed.open(part) as stream:
        data = stream.read(most + 1)
    if len(data) > most:
        raise zipfile.BadZipFile(f"{part} is too large")
    return data


def _no_archive(name: str, why: str) -> HistoryError:
    return HistoryError(
        what=f"{printable(name)} cannot be imported",
        why=why,
        next_step="take an archive that `petitpied history export NAME.zip` wrote",
    )


def import_archive(store: Store, path: Path, *, replace: bool, now: datetime) -> Imported:
    """Take an archive's bakes in; those whose photo is known stay as they are, or are replaced.

    The whole archive is checked before the first bake is written.

    Raises
    ------
    HistoryError, RecordError
        See `read_archive`; then nothing was changed.
    """
    for _ in read_archive(path):
        pass
    there = {f.photo_sha256 for f in store.facts()}
    counts = {"added": 0, "replaced": 0, "kept": 0}
    for text, facts, bake in read_archive(path):
        if bake is not None:
            if store.facts_of(bake) is not None and facts.photo_sha256 not in there:
                store.join_photo(text, bake, logged_at=now)
            continue
        known = facts.photo_sha256 in there
        if not known or replace:
            store.add(text, facts, logged_at=now)
        counts["kept" if known and not replace else "replaced" if known else "added"] += 1
    return Imported(**counts)
