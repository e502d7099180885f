"""What a report is made from: records, their photos where they still are, facts of the bake."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from petitpied.domain.bake import BakeFacts
from petitpied.domain.errors import LotError, PhotoError
from petitpied.domain.photo import Photo
from petitpied.domain.record import Record
from petitpied.files.photo_files import read_photo
from petitpied.files.records.record_files import read_record, record_from_bytes
from petitpied.text.wording import printable

if TYPE_CHECKING:
    from petitpied.history.store import Store

MAX_TRAYS = 60


@dataclass(frozen=True)
class Tray:
    """One record with what belongs to it; ``photo`` is None with its reason in ``no_photo``."""

    name: str
    record: Record
    photo: Photo | None
    no_photo: str = ""
    facts: BakeFacts | None = None
    marked: bytes | None = None  # the annotated picture, where it has been drawn already (JPEG)


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
    photo, reason = _find_photo(record, folders)
    return Tray(printable(name), record, photo, reason, facts)


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
