"""What the history says of the oven, in the report: a map of each measure, and the verdict."""

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from petitpied.report.blocks import Block, Paragraph, Picture, Section
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
    from petitpied.figures.charts.chart_sheet import png_bytes
    from petitpied.figures.charts.oven_map_picture import map_sheet
    from petitpied.text.oven_map_words import verdict, what_to_try

    sheet = map_sheet(found, where, turned=turned)
    data = png_bytes(sheet)
    width, height = _size(data)
    said = verdict(found)
    alt = f"Map of {found.measure.replace('_', ' ')} over the oven, door at the bottom. {said}"
    caption = f"Map of {found.measure.replace('_', ' ')} from {found.bakes} bakes."
    return [
        Paragraph(said, "strong"),
        Paragraph(what_to_try(found, turned=turned)),
        Picture(data, "png", width, height, alt, caption, wide=False),
    ]


def _size(data: bytes) -> tuple[int, int]:
    """Width and height of a picture that the program itself made."""
    from PIL import Image

    with Image.open(io.BytesIO(data)) as image:
        return image.size
