"""Records into the history: each checked, joined to its facts, and confirmed when it is kept."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from petitpied.domain.bake import BakeFacts
from petitpied.domain.errors import HistoryError
from petitpied.domain.joined_photos import Photo, scatter_mm
from petitpied.domain.record import Record
from petitpied.domain.tray_identity import earlier_photo
from petitpied.files.records.record_files import read_record_bytes, record_from_bytes
from petitpied.history import facts as facts_of
from petitpied.history.packing import shells_of
from petitpied.history.store import Store
from petitpied.text.wording import printable

#: a tray is photographed again within this time of its bake: by then it is boxed or eaten (common
#: practice, no source)
SAME_TRAY_WITHIN = timedelta(days=3)


@dataclass(frozen=True)
class Logbook:
    """Where records go, and the facts that hold for all of them (options first).

    ``like_last``: what is not said is as at the bake that was logged last; only what stays from
    bake to bake, see `facts.LASTING`. ``now`` is the clock.
    """

    store: Store
    options: facts_of.Given
    like_last: bool
    now: Callable[[], datetime]

    def log(
        self, path: Path, row: facts_of.Given | None = None, photo: Path | None = None
    ) -> tuple[str, ...]:
        """Keep one record; ``row`` holds its facts of a table, ``photo`` where its photo lies.

        Returns
        -------
        tuple of str
            What to tell the baker: the bake is on the disk when this returns.

        Raises
        ------
        RecordError, HistoryError
            If the record cannot be read, or lacks what a bake needs; then nothing was changed.
        """
        name = printable(path.name)
        text = read_record_bytes(path)
        record = record_from_bytes(text, name)
        _check_scale(record, name)
        sha = record.photo.sha256
        earlier = self.store.facts_of(sha)
        beside = facts_of.beside(
            path.parent if photo is None else photo.parent,
            path.name, record.photo.file, *(() if photo is None else (photo.name,)),
        )  # fmt: skip
        found: dict[str, Any] = {}
        if self.like_last and (last := self.store.last_logged()) is not None:
            found |= {n: v for n, v in facts_of.known_facts(last).items() if n in facts_of.LASTING}
        if earlier is not None:
            found |= facts_of.known_facts(earlier)
        found |= {**beside, **(row or {}), **self.options}
        now = self.now()
        notes = []
        if "baked_at" not in found:
            found["baked_at"], note = _time_of(record, now)
            notes += [note] if note else []
        if facts_of.in_future(found["baked_at"], now):
            notes.append("its time lies ahead of this machine's clock")
        facts = facts_of.bake_facts(sha, found, name)
        if earlier is None and (joined := self._joined(text, facts, name)) is not None:
            return joined
        self.store.add(text, facts, logged_at=now)
        if earlier is not None:
            notes.append(f"replaces the bake of the same photo, {_where(earlier)}")
        return (f"logged {name}: {_where(facts)}, {_measured(record)}", *notes)

    def _joined(self, text: bytes, facts: BakeFacts, name: str) -> tuple[str, ...] | None:
        """A photo of a tray that was logged already, joined to its bake; None where it is new."""
        shells = shells_of(json.loads(text))
        near = self.store.bakes_about(facts.baked_at, SAME_TRAY_WITHIN)
        found = earlier_photo(shells, [bake.shells for bake in near])
        if found is None:
            return None
        bake, told = near[found[0]], found[1]
        self.store.join_photo(text, bake.facts.photo_sha256, logged_at=self.now())
        photos = len(self.store.photos_of(bake.facts.photo_sha256))
        again = f"{len(told.registration.pairs)} of {len(shells.ids)} shells found again"
        lines = [
            f"{name} shows a tray that is logged already ({again}): {_where(bake.facts)}",
            f"joined to it: one bake, its sizes now from {photos} photos",
        ]
        apart = scatter_mm(bake.shells, Photo(shells, told.registration))
        if apart is not None:
            lines.append(f"the photos differ by {apart:.2f} mm a shell: what the camera adds")
        if (facts.oven, facts.rack, facts.turn_deg) != (
            bake.facts.oven, bake.facts.rack, bake.facts.turn_deg,
        ):  # fmt: skip
            lines.append("its facts stay as they were logged first")
        return tuple(lines)


def _time_of(record: Record, now: datetime) -> tuple[datetime, str | None]:
    """When the bake was: the photo's own time, else now, which is said."""
    if record.photo.taken_at is not None:
        try:
            return facts_of.moment(record.photo.taken_at), None
        except ValueError:
            pass
    return now, "the photo does not say when it was taken: the time of logging stands for it"


def _check_scale(record: Record, name: str) -> None:
    if record.view is None:
        raise HistoryError(
            what=f"{name} cannot be logged",
            why="its photo was measured without a card, so it has no millimetres",
            next_step="take the photo with a card on the tray and inspect it again",
        )


def _measured(record: Record) -> str:
    count = sum(s.centre_mm is not None and s.not_measured is None for s in record.shells)
    return f"{count} shell{'' if count == 1 else 's'}"


def _where(facts: BakeFacts) -> str:
    parts = [f"oven {printable(facts.oven)}"]
    if facts.rack is not None:
        parts.append(f"rack {printable(facts.rack)}")
    if facts.turn_deg:
        parts.append("turned by half")
    parts.append(f"baked {facts.baked_at:%Y-%m-%d %H:%M}")
    return ", ".join(parts)
