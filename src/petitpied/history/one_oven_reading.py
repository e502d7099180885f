"""From the history to bakes of one oven: split by what changed, racks apart where they differ."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from petitpied.domain.bake import Bake, Event
from petitpied.patterns.oven.one_oven import RacksCompared, compare_racks, find_break
from petitpied.patterns.oven.tray_stack import stack_bakes, usable
from petitpied.text.wording import printable

#: chance of flips: fixed, so that the same history gives the same answer
SEED = 20_260_309


@dataclass(frozen=True)
class OneOven:
    """Bakes that may be pooled for one measure; ``notes``: what was left out and why."""

    bakes: tuple[Bake, ...]
    notes: tuple[str, ...]
    racks: RacksCompared | None  # None: one rack was asked for, or there is but one


def one_oven(
    bakes: Sequence[Bake], measure: str, events: Sequence[Event], rack: str | None
) -> OneOven:
    """The bakes since the last change (logged, or found in the pattern), oldest first."""
    kept, notes = _since_event(bakes, events)
    stack = stack_bakes(kept, measure)
    if stack.count:
        found = find_break(stack, np.random.default_rng(SEED))
        if found is not None:
            having = usable(kept, measure)
            late = tuple(b for b, u in zip(having, stack.unit, strict=True) if u >= found.unit)
            since = min(b.facts.baked_at for b in late)
            notes.append(
                f"The pattern changed about {since:%Y-%m-%d}: this is of the {len(late)} bakes "
                f"since then, not of the {len(having) - len(late)} before. What changed then? Log "
                "it: petitpied log --event."
            )
            kept = late
    compared = None
    racks = {b.facts.rack for b in kept if b.facts.rack is not None}
    if rack is None and len(racks) > 1:
        compared = _compared(kept, measure)
        notes.append(rack_words(compared))
    return OneOven(kept, tuple(printable(n) for n in notes), compared)


def _since_event(
    bakes: Sequence[Bake], events: Sequence[Event]
) -> tuple[tuple[Bake, ...], list[str]]:
    for event in sorted(events, key=lambda e: e.at, reverse=True):
        late = tuple(b for b in bakes if b.facts.baked_at >= event.at)
        if late and len(late) < len(bakes):
            return late, [
                f"Since {event.at:%Y-%m-%d} ({event.what}): {len(late)} of {len(bakes)} bakes; the "
                "earlier ones may be another oven's, so they are left out."
            ]
    return tuple(bakes), []


def _compared(bakes: Sequence[Bake], measure: str) -> RacksCompared:
    with_rack = [b for b in bakes if b.facts.rack is not None]
    whole = stack_bakes(with_rack, measure)
    racks = [b.facts.rack for b in usable(with_rack, measure)]
    return compare_racks(whole, racks, np.random.default_rng(SEED))


def rack_words(compared: RacksCompared) -> str:
    """What was found between the racks."""
    names = f"{', '.join(compared.racks[:-1])} and {compared.racks[-1]}"
    if compared.p is None:
        return (
            f"Racks {names} are pooled here: too few days on each to see whether they differ. Ask "
            "for one with --rack."
        )
    if compared.differ:
        return f"Racks {names} bake differently, so each has a map of its own."
    return (
        f"Racks {names} are pooled: nothing told them apart, though they may differ by less than "
        "can be seen yet."
    )
