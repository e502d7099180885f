"""From the history to oven maps and to oven or hand, with errors in plain words."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from petitpied.domain.bake import Bake
from petitpied.domain.errors import HistoryError, LotError
from petitpied.patterns.camera_suspect import suspect
from petitpied.patterns.missing_shells import bounded, missing_shells
from petitpied.patterns.oven.findings import OvenMap
from petitpied.patterns.oven.oven_map import map_oven
from petitpied.patterns.oven.oven_or_hand import LEAST_EACH, OvenOrHand, tell_apart
from petitpied.patterns.oven.tray_stack import LEAN, MAPPED, MIN_SHELLS
from petitpied.statistics.made_together import units_of
from petitpied.text.wording import printable

#: chance of flips and shuffles: fixed, so that the same history gives the same answer
SEED = 20_260_308
ALL = "all"


def check_mapped(measure: str) -> None:
    """Raise `HistoryError` where there is no such measure."""
    if measure not in MAPPED and measure != ALL:
        raise HistoryError(
            what=f"there is no measure {printable(measure)[:60]!r}",
            why="its name is not in the list",
            next_step=f"take one of {', '.join(MAPPED)}",
        )


def measured_in(bakes: Sequence[Bake]) -> tuple[str, ...]:
    """Measures that any bake has on enough shells, in the order of the list; the lean as one."""
    there = set()
    for bake in bakes:
        for name, values in bake.shells.values.items():
            if name in MAPPED and int(np.isfinite(values).sum()) >= MIN_SHELLS:
                there.add(name)
    if {"lean_x", "lean_y"} <= there:
        there.add(LEAN)
    return tuple(name for name in MAPPED if name in there)


def read_maps(bakes: Sequence[Bake], measure: str) -> tuple[OvenMap, ...]:
    """Maps of one measure, or of all that there are (the lean as one).

    Raises
    ------
    HistoryError
        If there is no such measure.
    LotError
        If no bake has it on enough shells.
    """
    if measure != ALL:
        check_mapped(measure)
    there = measured_in(bakes)
    names = (
        tuple(n for n in there if n not in ("lean_x", "lean_y")) if measure == ALL else (measure,)
    )
    if not names or (measure != ALL and measure not in there):
        raise _nothing(measure, there)
    return tuple(_map(bakes, name) for name in names)


def _map(bakes: Sequence[Bake], measure: str) -> OvenMap:
    rng = np.random.default_rng(SEED)
    missing = missing_shells(bakes, measure)
    found = bounded(map_oven(bakes, measure, rng), bakes, missing, rng)
    found = replace(found, missing=None if missing is None else missing.told)
    strongest = found.strongest
    if strongest is None:
        return found
    return replace(found, camera=suspect(bakes, measure, strongest))


def read_sides(bakes: Sequence[Bake], measure: str) -> OvenOrHand:
    """Oven or hand for one measure; errors as `read_maps`."""
    check_mapped(measure)
    there = measured_in(bakes)
    if measure not in there or measure == ALL:
        raise _nothing(measure, there)
    found = tell_apart(bakes, measure, np.random.default_rng(SEED))
    if found.oven is None or not found.oven.stands_out or found.split:
        return found
    return replace(found, camera=suspect(bakes, measure, found.oven))


def _nothing(measure: str, there: tuple[str, ...]) -> LotError:
    name = "any measure" if measure == ALL else measure
    return LotError(
        what="there is nothing to map",
        why=f"no bake has {name} on {MIN_SHELLS} shells or more",
        next_step=f"take one of {', '.join(there)}" if there else "log bakes with more shells",
    )


def turned_enough(bakes: Sequence[Bake]) -> bool:
    """Were enough turned, and straight, to rule out the hand one day? Fewer tell nothing yet."""
    units = units_of([b.facts for b in bakes])
    turned = np.array([b.facts.turn_deg == 180 for b in bakes], bool)
    return min(len(set(units[turned])), len(set(units[~turned]))) >= LEAST_EACH


def where_words(oven: str, rack: str | None) -> str:
    """As in: oven "Deck", rack "top"."""
    return printable(f'oven "{oven}"' + (f', rack "{rack}"' if rack else ""))
