"""What is known of each tray's bake before anybody is asked, and what must be asked."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from petitpied.cli.evening.gathering import TrayPhoto
from petitpied.evening.kitchen import Kitchen

if TYPE_CHECKING:
    from petitpied.history.store import Store


@dataclass(frozen=True)
class Known:
    """Sources of facts, the later ones first: what the baker says now, the photo's earlier bake,
    `bake.toml`, names of folders and photos, the last bake, the kitchen."""

    kitchen: Kitchen
    lasting: Mapping[str, Any]  # of the kitchen: the same at every bake
    said: Mapping[str, Any] = field(default_factory=dict)
    flavours: Sequence[str] = ()  # that the history or the baker's list names
    store: "Store | None" = None


def facts_of_tray(photo: TrayPhoto, known: Known) -> dict[str, Any]:
    """Facts of one tray by field, as far as they are known.

    Raises
    ------
    OwnFileError
        If `bake.toml` beside the photo has a fault.
    """
    from petitpied.history.facts import LASTING, beside, known_facts

    written = beside(photo.path.parent, photo.path.name, f"{photo.stem}.json")
    earlier = None if known.store is None else known.store.facts_of(photo.sha256)
    if earlier is not None:
        return {**known_facts(earlier), **written, **known.said}
    last = None if known.store is None else known.store.last_logged()
    found: dict[str, Any] = {}
    if last is not None:
        leave = {"flavour", "rack", "turned_halfway"} if known.kitchen.racks else {
            "flavour", "turned_halfway"
        }  # fmt: skip
        found = {n: v for n, v in known_facts(last).items() if n in LASTING and n not in leave}
    found |= known.lasting
    flavour = flavour_in(photo.path, known.flavours)
    if flavour:
        found["flavour"] = flavour
    return {**found, **written, **known.said}


def flavour_in(photo: Path, flavours: Sequence[str]) -> str:
    """The flavour that stands as whole words in the photo's or its folder's name; the longest
    one, "" for none or where two stand there."""
    for name in (photo.stem, photo.absolute().parent.name):
        words = f" {' '.join(_words(name))} "
        fits = [f for f in flavours if f" {' '.join(_words(f))} " in words]
        longest = max((len(f) for f in fits), default=0)
        fits = [f for f in fits if len(f) == longest]
        if len(fits) == 1:
            return fits[0]
    return ""


def _words(text: str) -> list[str]:
    return [w for w in re.split(r"[\W_\d]+", text.casefold()) if w]


def already_logged(photo: TrayPhoto, known: Known) -> bool:
    """Whether this photo's bake is in the history: then nothing is asked again."""
    return known.store is not None and known.store.facts_of(photo.sha256) is not None
