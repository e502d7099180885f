"""A repeatability study on disk: a table of records with who took each photo, to readings."""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from petitpied.domain.errors import LotError, OwnFileError
from petitpied.domain.record import Record
from petitpied.domain.same_tray import register
from petitpied.files.records.record_files import read_record
from petitpied.statistics.gauge_study import Readings, readings_of
from petitpied.text.wording import printable

#: a study of a hundred photos has about 5 kB
MAX_BYTES = 1_000_000
#: the fit's time grows with the cube of shells times photos: 60 photos take minutes
MOST_PHOTOS = 60
COLUMNS = ("record", "person", "phone")


@dataclass(frozen=True)
class Taken:
    """A record and who took its photo ("" where not told)."""

    record: Path
    person: str = ""


def read_study(path: Path) -> tuple[Taken, ...]:
    """Rows of a CSV table with a column "record" and, if wanted, "person" and "phone".

    Records are looked for from the table's own folder.

    Raises
    ------
    OwnFileError
        If it cannot be read, has no such column, or an empty record.
    """
    name = printable(path.name)
    try:
        if path.stat().st_size > MAX_BYTES:
            raise _bad(name, f"it has more than {MAX_BYTES // 1000} kB")
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is no UTF-8 text"
        raise _bad(name, reason or "the file cannot be read") from error
    first = text.split("\n", 1)[0]
    separator = ";" if first.count(";") > first.count(",") else ","
    try:
        reader = csv.DictReader(io.StringIO(text), delimiter=separator)
        rows = [{(k or "").strip().lower(): v for k, v in row.items()} for row in reader]
    except csv.Error as error:
        raise _bad(name, f"it is no proper table ({error})") from error
    if not rows or "record" not in rows[0]:
        raise _bad(name, 'it needs a first line with a column "record", and a row a photo')
    return tuple(_taken(path, number, row) for number, row in enumerate(rows, start=2))


def _taken(path: Path, number: int, row: dict[str, str | None]) -> Taken:
    record = (row["record"] or "").strip()
    if not record or "\0" in record:
        raise _bad(printable(path.name), f"line {number} names no record")
    who = [(row.get(column) or "").strip() for column in COLUMNS[1:]]
    return Taken(path.parent / record, ", ".join(w for w in who if w))


@dataclass(frozen=True)
class Study:
    """Records of one tray, each with its photo's shells in the first record's numbering."""

    records: tuple[Record, ...]
    person: tuple[int, ...]
    persons: tuple[str, ...]
    #: of each record: number of the shell in the first record, index of its own shell
    shells: tuple[tuple[tuple[int, int], ...], ...]

    def readings(self, quantity: str) -> Readings | None:
        """All values of one quantity; None with fewer than two shells or photos."""
        rows = []
        for photo, (record, pairs) in enumerate(zip(self.records, self.shells, strict=True)):
            for shell, own in pairs:
                measured = getattr(record.shells[own], quantity)
                if measured is not None:
                    rows.append((measured.value, shell, self.person[photo], photo))
        readings = readings_of(rows)
        seen = np.bincount(readings.shell) if rows else np.zeros(0)
        kept = [row for row in rows if seen[row[1]] > 1]  # once seen tells nothing
        readings = readings_of(kept)
        both = (readings.shell, readings.photo)
        return readings if kept and min(len(np.unique(x)) for x in both) > 1 else None


def load_study(taken: Sequence[Taken]) -> Study:
    """Read the records and find the same shells in each.

    Raises
    ------
    LotError
        Fewer than two photos, too many, one of them twice, without millimetres, or of another
        tray.
    RecordError
        If a record cannot be read.
    """
    if not 2 <= len(taken) <= MOST_PHOTOS:
        raise LotError(
            what=f"{len(taken)} record{'' if len(taken) == 1 else 's'} given",
            why=f"a repeatability study takes 2 to {MOST_PHOTOS} photos of one tray",
            next_step="photograph the same tray several times, inspect the photos, and give "
            "all their records",
        )
    records = tuple(read_record(t.record) for t in taken)
    persons = tuple(dict.fromkeys(t.person for t in taken))
    shas: dict[str, str] = {}
    for t, record in zip(taken, records, strict=True):
        name = printable(t.record.name)
        if record.photo.sha256 in shas:
            raise LotError(
                what=f"{name} is of the same photo as {shas[record.photo.sha256]}",
                why="a photo repeated says nothing about repeating a measurement",
                next_step="give each photo's record once",
            )
        shas[record.photo.sha256] = name
    shells = tuple(_same(records[0], r, printable(t.record.name)) for t, r in
                   zip(taken, records, strict=True))  # fmt: skip
    return Study(records, tuple(persons.index(t.person) for t in taken), persons, shells)


def _same(first: Record, other: Record, name: str) -> tuple[tuple[int, int], ...]:
    numbers = [_measured(first), _measured(other)]
    places = [
        np.array([r.shells[i].centre_mm for i in n], float).reshape(-1, 2)
        for r, n in zip((first, other), numbers, strict=True)
    ]
    if other is first:
        return tuple((i, i) for i in numbers[0])
    found = register(*places)
    if found is None:
        raise LotError(
            what=f"{name} is not of the same tray as the first record",
            why="its shells do not lie where the first record's do",
            next_step="give records of one tray whose shells were not moved between the photos",
        )
    return tuple((numbers[0][i], numbers[1][j]) for i, j in found.pairs)


def _measured(record: Record) -> list[int]:
    return [i for i, s in enumerate(record.shells) if s.centre_mm is not None]


def _bad(name: str, why: str) -> OwnFileError:
    return OwnFileError(
        what=f"{name} cannot be used as a study",
        why=why,
        next_step="make it a CSV table with the columns record,person or record,person,phone",
    )
