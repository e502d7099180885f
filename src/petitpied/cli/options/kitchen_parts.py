"""The parts of a kitchen's file that only the world knows how to read: facts, letterhead."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from petitpied.evening.kitchen import Kitchen

if TYPE_CHECKING:
    from petitpied.report.blocks import Letterhead


def facts_of(kitchen: Kitchen) -> Mapping[str, Any]:
    """The facts that hold for every bake, field to value: the oven, and what [facts] says.

    Raises
    ------
    OwnFileError
        If one is no fact, with its line.
    """
    from petitpied.history.facts import given_in

    found: dict[str, Any] = {} if kitchen.facts is None else given_in(kitchen.facts)
    return found | ({} if kitchen.oven is None else {"oven": kitchen.oven})


def facts_of_kitchen() -> Mapping[str, Any]:
    """`facts_of` the kitchen that is found from the present folder; none without one.

    Raises
    ------
    OwnFileError
        If its file cannot be read, or holds what is no fact.
    """
    from petitpied.files.own.kitchen_files import find_kitchen, read_kitchen

    path = find_kitchen()
    return {} if path is None else facts_of(read_kitchen(path))


def letterhead_in(kitchen: Kitchen, path: Path) -> "Letterhead":
    """The letterhead, its picture beside the kitchen's file at ``path``.

    Raises
    ------
    OwnFileError
        If it or its picture cannot be used.
    """
    from petitpied.report.blocks import Letterhead
    from petitpied.report.letterhead import letterhead_of

    if kitchen.letterhead is None:
        return Letterhead()
    return letterhead_of(kitchen.letterhead, path.parent)
