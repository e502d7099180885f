"""`petitpied oven-map`: where an oven bakes otherwise than elsewhere."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from petitpied.cli.options import fact_options as fact
from petitpied.cli.options.checks import Db

if TYPE_CHECKING:
    from petitpied.patterns.oven.findings import OvenMap

Oven = Annotated[str, typer.Argument(metavar="OVEN", help="The oven's name.", show_default=False)]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON.")]


def oven_map(
    oven: Oven,
    rack: fact.Rack = None,
    measure: Annotated[
        str,
        typer.Option(
            metavar="M", help="diameter, browning, cracks, foot_spread, lean, ..., or all."
        ),
    ] = "diameter",
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Picture: NAME.svg or NAME.png; one a measure."),
    ] = None,
    as_json: AsJson = False,
    db: Db = None,
) -> None:
    """Which places of an oven bake otherwise? One tray suggests, several can show."""
    from petitpied.history.one_oven_reading import one_oven
    from petitpied.history.oven_map_reading import (
        ALL,
        check_mapped,
        read_maps,
        turned_enough,
        where_words,
    )
    from petitpied.history.store import open_store
    from petitpied.history.trend_reading import chosen_bakes
    from petitpied.patterns.oven.several_measures import over_all
    from petitpied.text import oven_map_words as words
    from petitpied.text.wording import printable

    if out is not None and out.suffix.lower() not in (".svg", ".png"):
        raise typer.BadParameter("--out must end in .svg or .png")
    store = open_store(db)
    bakes = chosen_bakes(store, oven, rack, None)
    check_mapped(measure)
    one = None if measure == ALL else one_oven(bakes, measure, store.events(oven), rack)
    if one is not None:
        bakes = one.bakes
        if one.racks is not None and one.racks.differ:
            for name in one.racks.racks:
                oven_map(oven, name, measure, _beside(out, name), as_json, db)
            if not as_json:
                typer.echo(one.notes[-1])
            return
    found = read_maps(bakes, measure)
    turned = turned_enough(bakes)
    where = where_words(oven, rack)
    paths = {} if out is None else _pictures(found, out, where, turned=turned)
    together = over_all(found) if len(found) > 1 else {}
    if as_json:
        told = [
            words.map_json(each, oven, rack, turned=turned, over_all=together.get(each.measure))
            for each in found
        ]
        if one is not None:
            told[0]["notes"] = list(one.notes)
        shown = told if measure == ALL else told[0]
        typer.echo(json.dumps(shown, ensure_ascii=False))
        return
    for note in () if one is None else one.notes:
        typer.echo(note)
    for each in found:
        for line in words.lines(each, where, turned=turned):
            typer.echo(line)
    if together:
        typer.echo(words.over_all_words(together))
    for path in paths:
        typer.echo(f"wrote {printable(str(path))}")


def _beside(out: Path | None, rack: str) -> Path | None:
    """A rack's own picture: its name made safe for a file."""
    if out is None:
        return None
    safe = "".join(c if c.isalnum() else "_" for c in rack)[:40]
    return out.with_name(f"{out.stem}-{safe}{out.suffix}")


def _pictures(
    found: "tuple[OvenMap, ...]", out: Path, where: str, *, turned: bool
) -> dict[Path, bytes]:
    """Write the pictures: the file itself, or one a measure where there are several."""
    from petitpied.figures.charts.oven_map_picture import map_chart
    from petitpied.figures.raster import png_bytes
    from petitpied.figures.svg import svg_bytes
    from petitpied.files.output_files import prepare_folder, write_all

    draw = svg_bytes if out.suffix.lower() == ".svg" else png_bytes
    pictures = {
        out if len(found) == 1 else out.with_name(f"{out.stem}-{one.measure}{out.suffix}"): draw(
            map_chart(one, where, turned=turned)
        )
        for one in found
    }
    prepare_folder(out.parent)
    write_all(pictures)
    return pictures
