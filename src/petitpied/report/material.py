"""What a report is made from: records, their photos where they still are, facts of the bake."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from petitpied.domain.bake import BakeFacts
from petitpied.domain.errors import LotError, PhotoError, RecordError
from petitpied.domain.photo import Photo
from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.files.photo_files import read_photo
from petitpied.files.records.record_files import read_record, record_from_bytes
from petitpied.text.wording import printable

if TYPE_CHECKING:
    from petitpied.history.store import Store

MAX_TRAYS = 60
#: far beyond what any photo and tray can give, and still drawn without harm
FARTHEST_PX, FARTHEST_MM, LARGEST_MM, LARGEST_REL = 100_000.0, 10_000.0, 1000.0, 10.0
MOST_ROWS = 200
LONGEST_ID = 20


@dataclass(frozen=True)
class Tray:
    """One record with what belongs to it; ``photo`` is None with its reason in ``no_photo``."""

    name: str
    record: Record
    photo: Photo | None
    no_photo: str = ""
    facts: BakeFacts | None = None


def trays_of_records(
    paths: Sequence[Path], photos: Path | None, store: "Store | None"
) -> tuple[Tray, ...]:
    """The records in files; a photo lies beside its record or in ``photos``.

    Raises
    ------
    RecordError
        If a record cannot be read.
    LotError
        If there are too many.
    """
    _check_count(len(paths))
    trays = []
    for path in paths:
        record = read_record(path)
        folders = [path.parent, *([photos] if photos is not None else [])]
        facts = None if store is None else store.facts_of(record.photo.sha256)
        trays.append(_tray(path.stem, record, folders, facts))
    return tuple(trays)


def trays_since(since: date, photos: Path | None, store: "Store") -> tuple[Tray, ...]:
    """The history's bakes of a day and after it, oldest first; photos lie in ``photos``.

    Raises
    ------
    LotError
        If there is none, or there are too many.
    """
    wanted = [facts for facts in store.facts() if facts.baked_at.date() >= since]
    if not wanted:
        raise LotError(
            what=f"no bake since {since.isoformat()}",
            why=f"the history has {len(store.facts())} bakes, none of them that late",
            next_step="choose an earlier --since, or log the bakes first",
        )
    _check_count(len(wanted))
    folders = [] if photos is None else [photos]
    trays = []
    for facts in wanted:
        record = record_from_bytes(store.record_text(facts.photo_sha256), "a record of the history")
        trays.append(_tray(Path(record.photo.file).stem, record, folders, facts))
    return tuple(trays)


def _check_count(count: int) -> None:
    if count > MAX_TRAYS:
        raise LotError(
            what="too many trays for one report",
            why=f"there are {count}, at most {MAX_TRAYS} stay readable",
            next_step="report a shorter time, or name the records",
        )


def _tray(name: str, record: Record, folders: Sequence[Path], facts: BakeFacts | None) -> Tray:
    _check_plausible(name, record)
    photo, reason = _find_photo(record, folders)
    return Tray(printable(name), record, photo, reason, facts)


def _check_plausible(name: str, record: Record) -> None:
    """A record from outside may fit the schema and still hold what nothing can be drawn of.

    Raises
    ------
    RecordError
        If a shell's values are beyond any tray's.
    """
    ids: set[str] = set()
    for shell in record.shells:
        strange = "its name twice" if shell.id in ids else _strange(shell)
        if strange:
            raise RecordError(
                what=f"{printable(name)[:80]} cannot be reported",
                why=f"its shell {printable(shell.id)[:20]} has {strange}",
                next_step="inspect the photo again to make a new record",
            )
        ids.add(shell.id)


def _strange(shell: Shell) -> str:
    """What of a shell no photo of a tray can give; "" where there is nothing."""
    lines = [shell.outline_px, *([] if shell.cap_outline_px is None else [shell.cap_outline_px])]
    size = shell.diameter_mm
    if len(shell.id) > LONGEST_ID:
        return "too long a name"
    if any(len(line) < 3 or np.abs(line).max() > FARTHEST_PX for line in lines):
        return "an outline that is none"
    if max(abs(v) for v in shell.centre_px) > FARTHEST_PX:
        return "a place outside of any photo"
    if shell.centre_mm is not None and max(abs(v) for v in shell.centre_mm) > FARTHEST_MM:
        return "a place outside of any tray"
    if size is not None and not 0 < size.value <= LARGEST_MM:
        return f"a diameter of {size.value:g} mm"
    if shell.diameter_rel is not None and not 0 < shell.diameter_rel <= LARGEST_REL:
        return f"a diameter of {shell.diameter_rel:g} times the median"
    if not (0 <= shell.row < MOST_ROWS and 0 <= shell.column < MOST_ROWS):
        return "a row or column outside of any tray"
    return ""


def _find_photo(record: Record, folders: Sequence[Path]) -> tuple[Photo | None, str]:
    """The photo by its name and content; the record's text is never used as a path."""
    from petitpied.photo.decode import decode_photo

    name = Path(record.photo.file.replace("\\", "/")).name
    shown = printable(name)[:80]
    reason = f"the photo {shown} is gone from its place"
    for folder in folders if name else ():
        try:
            data = read_photo(folder / name)
            if hashlib.sha256(data).hexdigest() == record.photo.sha256:
                return decode_photo(data, name), ""
            reason = f"the photo {shown} is not the one that was measured"
        except PhotoError:
            continue
    return None, reason
