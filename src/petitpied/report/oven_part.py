"""What the history says of the oven, in the report: a map of each measure, and the verdict."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from petitpied.report.blocks import Block, Chart, Paragraph, Section
from petitpied.report.material import Tray

if TYPE_CHECKING:
    from petitpied.history.store import Store
    from petitpied.patterns.oven.findings import OvenMap

#: measures that a report maps, where the history has them
MEASURES = ("diameter", "browning")


def oven_sections(trays: Sequence[Tray], store: "Store | None") -> list[Section]:
    """A section for each oven and rack that the trays' bakes were in; none without history."""
    if store is None:
        return []
    places = dict.fromkeys((t.facts.oven, t.facts.rack) for t in trays if t.facts is not None)
    return [section for place in places for section in _section(store, *place)]


def _section(store: "Store", oven: str, rack: str | None) -> list[Section]:
    from petitpied.history.oven_map_reading import (
        measured_in,
        read_maps,
        turned_enough,
        where_words,
    )

    bakes = store.bakes(oven, rack)
    turned = turned_enough(bakes)
    where = where_words(oven, rack)
    blocks: list[Block] = []
    there = measured_in(bakes)
    for measure in MEASURES:
        if measure in there:
            blocks += _measure(read_maps(bakes, measure)[0], where, turned=turned)
    return [Section(where[:1].upper() + where[1:], tuple(blocks))] if blocks else []


def _measure(found: "OvenMap", where: str, *, turned: bool) -> list[Block]:
    from petitpied.figures.charts.oven_map_picture import map_chart
    from petitpied.text.oven_doubt_words import camera_words, missing_words
    from petitpied.text.oven_map_words import verdict, what_to_try

    name = found.measure.replace("_", " ")
    caption = f"Map of {name} from {found.bakes} bakes."
    doubts = (missing_words(found), camera_words(found.camera, found.unit))
    return [
        Paragraph(verdict(found), "strong"),
        *(Paragraph(doubt) for doubt in doubts if doubt),
        Paragraph(what_to_try(found, turned=turned)),
        Chart(map_chart(found, where, turned=turned), caption),
    ]
