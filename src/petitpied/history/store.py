"""The history's door: bakes in, bakes out. Whatever is confirmed is on the disk."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from petitpied.domain.bake import Bake, BakeFacts, BakeShells, Event
from petitpied.domain.camera_doubt import CameraDoubt, of_photos
from petitpied.domain.errors import HistoryError
from petitpied.domain.joined_photos import Photo, joined
from petitpied.domain.tray_identity import same_tray
from petitpied.history import connection
from petitpied.history.facts import as_kept
from petitpied.history.migrations import bring_up_to_date
from petitpied.history.packing import Packed, camera_from, camera_of, pack, shells_of, unpack
from petitpied.history.record_text import deflate, inflate, text_of
from petitpied.history.tables import BAKE, EVENT, PHOTO, RECORD, VALUES

_FACTS = tuple(f.name for f in fields(BakeFacts))
_ORDER = (BAKE.c.baked_at_s, BAKE.c.photo_sha256)


def open_store(url: str | None, *, new: bool = True) -> "Store":
    """The history at ``url`` (`connection.open_engine`), made new where there is none.

    ``new`` False: a file that was named must be there, so that a typing error makes no new one.

    Raises
    ------
    HistoryError
        If it cannot be opened, or is of a newer version.
    """
    engine = connection.open_engine(url)
    if url is not None and not new:
        connection.require_file(engine.url)
    bring_up_to_date(engine)
    return Store(engine)


@dataclass(frozen=True)
class Store:
    """One database of bakes, open.

    Every method raises `HistoryError` where the database cannot be used.
    """

    engine: sa.Engine

    def bakes(self, oven: str | None = None, rack: str | None = None) -> tuple[Bake, ...]:
        """All bakes, or those of an oven, of a rack: oldest first, by the time of baking."""
        wanted = sa.select(
            *(BAKE.c[name] for name in _FACTS), VALUES.c.ids, VALUES.c.columns, VALUES.c.packed
        ).join(VALUES)
        with self._reading() as c:
            return tuple(_bake(row) for row in c.execute(_chosen(wanted, oven, rack)))

    def bakes_about(self, at: datetime, within: timedelta) -> tuple[Bake, ...]:
        """Bakes not farther from a time than that, oldest first."""
        seconds = at.timestamp()
        wanted = sa.select(
            *(BAKE.c[name] for name in _FACTS), VALUES.c.ids, VALUES.c.columns, VALUES.c.packed
        ).join(VALUES)
        near = BAKE.c.baked_at_s.between(
            seconds - within.total_seconds(), seconds + within.total_seconds()
        )
        with self._reading() as c:
            return tuple(_bake(row) for row in c.execute(wanted.where(near).order_by(*_ORDER)))

    def photos_of(self, bake_sha256: str) -> tuple[BakeShells, ...]:
        """The shells of a bake's photos, each by itself, the first photo's first."""
        with self._reading() as c:
            return tuple(shells for shells, _ in _photos(c, bake_sha256))

    def bake_of_photo(self, photo_sha256: str) -> str | None:
        """The bake that a further photo of a tray was joined to; None where there is none."""
        wanted = sa.select(PHOTO.c.bake_sha256).where(PHOTO.c.photo_sha256 == photo_sha256)
        with self._reading() as c:
            found = c.execute(wanted).scalar_one_or_none()
        return None if found is None else str(found)

    def join_photo(self, text: bytes, bake_sha256: str, *, logged_at: datetime) -> None:
        """Keep a record as a further photo of a bake's tray: its values are then of all photos.
        A bake that was of this photo alone is taken out."""
        deflated = deflate(text)
        sha = inflate(deflated)["photo"]["sha256"]
        with self._writing() as c:
            further = c.execute(
                sa.select(PHOTO.c.photo_sha256).where(PHOTO.c.bake_sha256 == sha)
            ).scalars()
            for other in further.all():
                c.execute(
                    PHOTO.update()
                    .where(PHOTO.c.photo_sha256 == other)
                    .values(bake_sha256=bake_sha256)
                )
            _delete(c, sha)
            c.execute(PHOTO.delete().where(PHOTO.c.photo_sha256 == sha))
            c.execute(
                PHOTO.insert().values(
                    photo_sha256=sha, bake_sha256=bake_sha256, logged_at=logged_at.isoformat(),
                    json_deflated=deflated,
                )
            )  # fmt: skip
            _keep_values(c, bake_sha256)

    def further_records(self, bake_sha256: str) -> tuple[bytes, ...]:
        """The records of a bake's further photos, as they were logged."""
        wanted = sa.select(PHOTO.c.json_deflated).where(PHOTO.c.bake_sha256 == bake_sha256)
        with self._reading() as c:
            rows = c.execute(wanted.order_by(PHOTO.c.logged_at, PHOTO.c.photo_sha256)).scalars()
            return tuple(text_of(row) for row in rows)

    def add_event(self, at: datetime, oven: str | None, what: str) -> None:
        """Keep what changed, and when; ``oven`` None: in the whole kitchen."""
        row = {"at": at.isoformat(), "at_s": at.timestamp(), "oven": oven, "what": what}
        with self._writing() as c:
            c.execute(EVENT.insert().values(row))

    def events(self, oven: str | None = None) -> tuple[Event, ...]:
        """What changed at an oven or in the whole kitchen, oldest first; all if none is named."""
        wanted = sa.select(EVENT.c.at, EVENT.c.oven, EVENT.c.what).order_by(EVENT.c.at_s)
        if oven is not None:
            wanted = wanted.where(sa.or_(EVENT.c.oven.is_(None), EVENT.c.oven == as_kept(oven)))
        with self._reading() as c:
            return tuple(
                Event(datetime.fromisoformat(at), where, what)
                for at, where, what in c.execute(wanted)
            )

    def facts(self, oven: str | None = None, rack: str | None = None) -> tuple[BakeFacts, ...]:
        """As `bakes`, the facts alone."""
        wanted = sa.select(*(BAKE.c[name] for name in _FACTS))
        with self._reading() as c:
            rows = c.execute(_chosen(wanted, oven, rack)).all()
        return tuple(_facts(row) for row in rows)

    def facts_of(self, photo_sha256: str) -> BakeFacts | None:
        """The facts of one photo's bake; None where there is none."""
        wanted = sa.select(*(BAKE.c[name] for name in _FACTS))
        with self._reading() as c:
            row = c.execute(wanted.where(BAKE.c.photo_sha256 == photo_sha256)).one_or_none()
        return None if row is None else _facts(row)

    def ovens(self) -> tuple[str, ...]:
        """Names of all ovens that have bakes, sorted."""
        with self._reading() as c:
            return tuple(sorted(c.execute(sa.select(BAKE.c.oven).distinct()).scalars()))

    def last_logged(self) -> BakeFacts | None:
        """The facts of the bake that was logged last; None where there is none."""
        wanted = sa.select(*(BAKE.c[name] for name in _FACTS))
        last = wanted.order_by(BAKE.c.logged_at.desc(), BAKE.c.baked_at_s.desc()).limit(1)
        with self._reading() as c:
            row = c.execute(last).one_or_none()
        return None if row is None else _facts(row)

    def add(self, text: bytes, facts: BakeFacts, *, logged_at: datetime) -> None:
        """Keep a record (checked JSON text) with its facts, in one transaction; a bake of the
        same photo is replaced."""
        deflated = deflate(text)
        sha = facts.photo_sha256
        with self._writing() as c:
            for table in (VALUES, RECORD):
                c.execute(table.delete().where(table.c.photo_sha256 == sha))
            row = _row(facts) | {"logged_at": logged_at.isoformat()}
            if not c.execute(BAKE.update().where(BAKE.c.photo_sha256 == sha).values(row)).rowcount:
                c.execute(BAKE.insert().values(row))
            c.execute(RECORD.insert().values(photo_sha256=sha, json_deflated=deflated))
            _keep_values(c, sha)

    def change(self, changed: Iterable[BakeFacts]) -> None:
        """Replace the facts of bakes, all of them or none."""
        with self._writing() as c:
            for facts in changed:
                which = BAKE.c.photo_sha256 == facts.photo_sha256
                c.execute(BAKE.update().where(which).values(_row(facts)))

    def remove(self, photos_sha256: Iterable[str]) -> None:
        """Take bakes out, record and all: all of them or none."""
        with self._writing() as c:
            for sha in photos_sha256:
                _delete(c, sha)

    def record_text(self, photo_sha256: str) -> bytes:
        """The record's JSON text as it was logged."""
        wanted = sa.select(RECORD.c.json_deflated).where(RECORD.c.photo_sha256 == photo_sha256)
        with self._reading() as c:
            return text_of(c.execute(wanted).scalar_one())

    @contextmanager
    def _reading(self) -> Iterator[sa.Connection]:
        with self._damage_told(), connection.reading(self.engine) as c:
            yield c

    @contextmanager
    def _writing(self) -> Iterator[sa.Connection]:
        with self._damage_told(), connection.writing(self.engine) as c:
            yield c

    @contextmanager
    def _damage_told(self) -> Iterator[None]:
        try:
            yield
        except ValueError as error:
            raise HistoryError(
                what=f"the history {connection.name_of(self.engine.url)} cannot be used",
                why=f"a bake in it is damaged ({error})",
                next_step="go back to a copy, or import an export into a new one with --db",
            ) from error


def _chosen(wanted: sa.Select[Any], oven: str | None, rack: str | None) -> sa.Select[Any]:
    for column, name in ((BAKE.c.oven, oven), (BAKE.c.rack, rack)):
        if name is not None:
            wanted = wanted.where(column == as_kept(name))
    return wanted.order_by(*_ORDER)


def _facts(row: Iterable[Any]) -> BakeFacts:
    values = dict(zip(_FACTS, row, strict=True))
    return BakeFacts(**values | {"baked_at": datetime.fromisoformat(values["baked_at"])})


def _row(facts: BakeFacts) -> dict[str, Any]:
    row = {name: getattr(facts, name) for name in _FACTS}
    at = facts.baked_at
    return row | {"baked_at": at.isoformat(), "baked_at_s": at.timestamp()}


def _bake(row: Sequence[Any]) -> Bake:
    packed = Packed(*row[len(_FACTS) :])
    return Bake(_facts(row[: len(_FACTS)]), unpack(packed), camera_from(packed))


def _photos(c: sa.Connection, sha: str) -> tuple[tuple[BakeShells, CameraDoubt | None], ...]:
    """Shells and views of a bake's photos, the first photo's first."""
    first = sa.select(RECORD.c.json_deflated).where(RECORD.c.photo_sha256 == sha)
    others = sa.select(PHOTO.c.json_deflated).where(PHOTO.c.bake_sha256 == sha)
    rows = [
        *c.execute(first).scalars(),
        *c.execute(others.order_by(PHOTO.c.logged_at, PHOTO.c.photo_sha256)).scalars(),
    ]
    records = [inflate(row) for row in rows]
    return tuple((shells_of(record), camera_of(record)) for record in records)


def _keep_values(c: sa.Connection, sha: str) -> None:
    """A bake's values, packed, from all its photos."""
    (first, camera), *others = _photos(c, sha)
    told = [(one, view, same_tray(first, one)) for one, view in others]
    same = [(Photo(one, t.registration), view) for one, view, t in told if t is not None]
    whole = joined(first, [photo for photo, _ in same])
    views = [(view, photo.registration.turn) for photo, view in same if view is not None]
    camera = None if camera is None else of_photos(camera, views)
    packed = pack(whole if others else first, camera)
    c.execute(VALUES.delete().where(VALUES.c.photo_sha256 == sha))
    c.execute(
        VALUES.insert().values(
            photo_sha256=sha, ids=packed.ids, columns=packed.columns, packed=packed.data
        )
    )


def _delete(c: sa.Connection, sha: str) -> None:
    c.execute(PHOTO.delete().where(PHOTO.c.bake_sha256 == sha))
    for table in (VALUES, RECORD, BAKE):
        c.execute(table.delete().where(table.c.photo_sha256 == sha))
