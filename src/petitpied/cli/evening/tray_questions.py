"""Questions about an evening's trays, where nothing else says it."""

from collections.abc import Mapping, Sequence
from typing import Any

from petitpied.cli.evening import questions as q
from petitpied.cli.evening.gathering import TrayPhoto
from petitpied.evening.kitchen import Kitchen
from petitpied.text.wording import printable


def ask_facts(
    photos: Sequence[TrayPhoto], kitchen: Kitchen, found: Mapping[str, dict[str, Any]]
) -> None:
    """Only what nothing else says: flavour, rack, turned; what one tray is, the next may be too."""
    last = ""
    for photo in photos:
        facts, name = found[photo.sha256], printable(photo.path.name)
        if "flavour" not in facts:
            last = q.ask(f"Flavour of {name}", last, q.name(needed=False))
            if last:
                facts["flavour"] = last
    racks = kitchen.racks
    if len(racks) > 1:
        rack = racks[0]
        for photo in photos:
            facts = found[photo.sha256]
            if "rack" not in facts:
                name = printable(photo.path.name)
                rack = q.ask(f"Rack of {name} ({', '.join(racks)})", rack, q.one_of(racks))
                facts["rack"] = rack
    for photo in photos:
        facts = found[photo.sha256]
        if "oven" in facts and "turn_deg" not in facts:
            question = f"Did {printable(photo.path.name)} go in turned by half?"
            turned = q.ask(question, "no", q.one_of(("yes", "no"))) == "yes"
            facts["turn_deg"] = 180 if turned else 0
