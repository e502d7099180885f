"""Old histories: bakes that are photos of one and the same tray, found and joined."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from petitpied.domain.bake import Bake, BakeFacts
from petitpied.domain.tray_identity import earlier_photo
from petitpied.history.logging_bakes import SAME_TRAY_WITHIN
from petitpied.history.store import Store

#: earlier bakes that one is compared with: photos of a tray are logged one after the other
MOST_BEFORE = 24


@dataclass(frozen=True)
class Double:
    """``later`` shows the tray of ``first``: ``found`` of its ``shells`` were found again."""

    first: BakeFacts
    later: BakeFacts
    found: int
    shells: int


def doubles(bakes: Sequence[Bake]) -> Iterator[Double]:
    """Of bakes in order of time; several photos of one tray all point at the first of them."""
    kept: list[Bake] = []
    for bake in bakes:
        near = [
            b
            for b in kept[-MOST_BEFORE:]
            if bake.facts.baked_at - b.facts.baked_at <= SAME_TRAY_WITHIN
        ]
        told = earlier_photo(bake.shells, [b.shells for b in near])
        if told is None:
            kept.append(bake)
            continue
        pairs = len(told[1].registration.pairs)
        yield Double(near[told[0]].facts, bake.facts, pairs, len(bake.shells.ids))


def join(store: Store, found: Sequence[Double], now: datetime) -> None:
    """Make further photos of the later bakes; records are kept, the later facts are not."""
    for one in found:
        text = store.record_text(one.later.photo_sha256)
        store.join_photo(text, one.first.photo_sha256, logged_at=now)
