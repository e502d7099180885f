"""The baker's gift box: its slots and what belongs into it, and the small file it stands in."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from petitpied.domain.own_file import OwnFile, quoted

MOST_SLOTS = 200
_KEYS = (
    "name",
    "slots",
    "columns",
    "slot_pitch_mm",
    "clearance_mm",
    "even_range_mm",
    "slot_depth_mm",
    "filling_height_mm",
    "flavours",
)


@dataclass(frozen=True, slots=True)
class BoxKind:
    """One kind of box.

    ``flavours``: how many of each flavour; or "one": all of one flavour, whichever; or "any":
    flavours do not matter. A macaron fits if its diameter and ``clearance_mm`` are within
    ``slot_pitch_mm``, and, where known, its thickness within ``slot_depth_mm``.
    ``even_range_mm``: largest range of diameter allowed in a box.
    """

    name: str
    slots: int
    columns: int
    slot_pitch_mm: float
    clearance_mm: float = 1.0
    flavours: Mapping[str, int] | Literal["one", "any"] = "one"
    even_range_mm: float | None = None
    slot_depth_mm: float | None = None
    filling_height_mm: float | None = None
    notes: tuple[str, ...] = field(default=())


def parse_box(file: OwnFile) -> BoxKind:
    """A box from the baker's file (see `STARTER`).

    Raises
    ------
    OwnFileError
        With the line, what is wrong and what is allowed.
    """
    content = file.only(file.content, (), ("box",))
    if "box" not in content:
        raise file.fault((), "there is no [box]", "[box] and its settings below it")
    for key in content["box"] if isinstance(content["box"], dict) else ():
        _refuse_other_units(file, key)
    box = file.only(content["box"], ("box",), _KEYS)
    for key in ("slots", "slot_pitch_mm"):
        if key not in box:
            raise file.fault(("box",), f"{key} is missing", f"{key} = a number")
    slots = file.whole(box["slots"], ("box", "slots"), 1, MOST_SLOTS)
    title = file.words(box.get("name", "box"), ("box", "name"), 60)
    if not title.strip():
        raise file.fault(("box", "name"), "the name is empty", "a text of 1 to 60 letters")
    return BoxKind(
        name=title,
        slots=slots,
        columns=file.whole(box.get("columns", min(slots, 3)), ("box", "columns"), 1, slots),
        slot_pitch_mm=file.number(box["slot_pitch_mm"], ("box", "slot_pitch_mm"), 10, 300),
        clearance_mm=file.number(box.get("clearance_mm", 1.0), ("box", "clearance_mm"), 0, 50),
        flavours=_flavours(file, box.get("flavours", "one"), slots),
        even_range_mm=_optional(file, box, "even_range_mm", 0.0),
        slot_depth_mm=_optional(file, box, "slot_depth_mm", 1.0),
        filling_height_mm=_optional(file, box, "filling_height_mm", 0.0),
    )


def _refuse_other_units(file: OwnFile, key: str) -> None:
    for right in (k for k in _KEYS if k.endswith("_mm")):
        stem = right.removesuffix("_mm")
        if key != right and (key == stem or key.startswith(stem + "_")):
            why = f"{quoted(key)} has no known unit: every length in this file is in millimetres"
            raise file.fault(("box", key), why, f"{right}, with its number in mm")


def _optional(file: OwnFile, box: Mapping[str, Any], key: str, low: float) -> float | None:
    return file.number(box[key], ("box", key), low, 300) if key in box else None


def _flavours(file: OwnFile, given: Any, slots: int) -> Mapping[str, int] | Literal["one", "any"]:
    place = ("box", "flavours")
    allowed = f'"one", "any", or {{ rose = 3, lemon = 3 }} with numbers that sum up to {slots}'
    if given == "one" or given == "any":
        return "one" if given == "one" else "any"
    if not isinstance(given, dict) or not given:
        raise file.fault(place, f"flavours = {quoted(given)} is not understood", allowed)
    counts = {name: file.whole(number, (*place, name), 1, slots) for name, number in given.items()}
    if sum(counts.values()) != slots:
        why = f"the flavours sum up to {sum(counts.values())}, and the box has {slots} slots"
        raise file.fault(place, why, allowed)
    return counts


STARTER = """\
# petitpied: a gift box. Change it to your own; lines after # are remarks. Lengths in millimetres.
[box]
name = "Box of six"
slots = 6                # macarons in a box
columns = 3              # slots side by side, for the picture
slot_pitch_mm = 50.0     # from the middle of one slot to the middle of the next
clearance_mm = 1.0       # room wanted beside a macaron
flavours = "one"         # "one": a box of one flavour; "any"; or { rose = 3, lemon = 3 }
# even_range_mm = 1.5    # no box with a wider range of diameters; without it: as even as can be
# slot_depth_mm = 30.0   # room for the thickness of a macaron, and
# filling_height_mm = 5.0   # the height of the filling: both are needed to check the thickness
"""
