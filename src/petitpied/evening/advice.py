"""The one thing to change next: what costs most shells, or what the bakes so far show.

One thing at a time, so that the next bake tells whether it helped. What is measured comes before
what is common practice.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from petitpied.domain.quantity import Quantity
from petitpied.evening.answer import TrayAnswer
from petitpied.sorting.lot import Verdict

#: from so close a phone's photo makes heights count too much (README, "Take the photo")
CLOSE_MM = 500.0
#: advice follows from no fewer shells than this share of the evening's, and this number
#: (common practice, no source)
WORTH_REL, WORTH_SHELLS = 0.08, 3
#: so large a share left to the eye makes the photo the first thing to better
MANY_BY_EYE_REL = 0.25
#: a mean that is off by less changes nothing that a hand can do
LEAST_OFF_MM = 0.5

Kind = Literal["photo", "size", "spread", "oven", "fault", "nothing"]
Sure = Literal["measured", "shown", "practice", "none"]


@dataclass(frozen=True)
class OvenSign:
    """What stands out over an oven's bakes so far. ``measure`` and ``kind``: of the pattern, ""
    where none stands out; ``said``: the pattern in words; ``chance``: that chance alone does as
    much; ``shown``: whether so many bakes can show it, or only suggest."""

    oven: str
    bakes: int
    measure: str = ""
    kind: str = ""
    said: str = ""
    chance: float = 1.0
    shown: bool = False
    turned: bool = False


@dataclass(frozen=True)
class Advice:
    """What to do next, why, and how sure that is. ``name`` and ``side``: the fault's limit;
    ``off_mm``: how far a mean is off its target; ``shells`` of ``of``: those it is about."""

    kind: Kind
    sure: Sure
    shells: int = 0
    of: int = 0
    name: str = ""
    side: Literal["above", "below"] | None = None
    flavour: str = ""
    off_mm: float = 0.0
    mean_mm: Quantity | None = None
    target_mm: float | None = None
    camera_mm: float | None = None
    oven: OvenSign | None = field(default=None)


def next_step(
    trays: Sequence[TrayAnswer], target_mm: float | None, oven: OvenSign | None
) -> Advice:
    """The one thing to change."""
    whole = sum(tray.found for tray in trays)
    by_eye = sum(tray.counts[Verdict.BY_EYE] for tray in trays)
    close = [h for t in trays if (h := t.camera_height_mm) is not None and h < CLOSE_MM]
    if close and by_eye >= MANY_BY_EYE_REL * whole and by_eye >= WORTH_SHELLS:
        return Advice("photo", "measured", by_eye, whole, camera_mm=min(close))
    size = _size(trays, target_mm)
    fault = _fault(trays, whole)
    spread = fault is not None and fault.kind == "spread"  # the same shells, told less well
    if size is not None and (fault is None or spread or size.shells >= fault.shells):
        return size
    if oven is not None and oven.measure and oven.shown:
        return Advice("oven", "shown", of=whole, oven=oven)
    if fault is not None:
        return fault
    return size or Advice("nothing", "none", of=whole, oven=oven)


def _size(trays: Sequence[TrayAnswer], target_mm: float | None) -> Advice | None:
    """The tray whose mean is farthest off the target, beyond its own doubt, and which loses
    shells by it."""
    found = []
    for tray in trays:
        if target_mm is None or tray.mean_mm is None:
            continue
        off = tray.mean_mm.value - target_mm
        lost = [f for f in tray.faults if f.reason.name == "diameter_mm"]
        right = [f for f in lost if (f.reason.side == "above") == (off > 0)]
        if abs(off) > max(LEAST_OFF_MM, tray.mean_mm.u95) and len(right) >= WORTH_SHELLS:
            side: Literal["above", "below"] = "above" if off > 0 else "below"
            size = Advice("size", "measured", len(right), tray.found, "diameter_mm", side)
            who = tray.flavour or tray.name
            found.append(
                replace(size, flavour=who, off_mm=off, mean_mm=tray.mean_mm, target_mm=target_mm)
            )
    return max(found, key=lambda a: a.shells, default=None)


def _fault(trays: Sequence[TrayAnswer], whole: int) -> Advice | None:
    """The fault that most shells surely have; of size: too large and too small together."""
    side: Literal["above", "below"] | None
    counts: Counter[tuple[str, Literal["above", "below"] | None]] = Counter()
    for tray in trays:
        for fault in tray.faults:
            if fault.reason.kind == "beyond":
                side = None if fault.reason.name == "diameter_mm" else fault.reason.side
                counts[fault.reason.name, side] += 1
    if not counts:
        return None
    (name, side), shells = counts.most_common(1)[0]
    if shells < max(WORTH_SHELLS, WORTH_REL * whole):
        return None
    kind: Kind = "spread" if name == "diameter_mm" else "fault"
    return Advice(kind, "practice", shells, whole, name, side)
