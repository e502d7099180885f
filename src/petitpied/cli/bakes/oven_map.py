"""`petitpied oven-map`: where an oven bakes otherwise than elsewhere."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from petitpied.cli.options import fact_options as fact
from petitpied.cli.options import measure_option
from petitpied.cli.options.checks import Db, Replace, measure_code
from petitpied.files.shown_paths import shown_path

if TYPE_CHECKING:
    from petitpied.patterns.oven.findings import OvenMap

Oven = Annotated[str, typer.Argument(metavar="OVEN", help="The oven's name.", show_default=False)]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON.")]


def oven_map(
    oven: Oven,
    rack: fact.Rack = None,
    measure: Annotated[
        str,
        typer.Option(metavar="M", callback=measure_code, help=measure_option.EACH_OR_ALL),
    ] = "diameter",
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Picture: NAME.svg or NAME.png; one a measure."),
    ] = None,
    as_json: AsJson = False,
    db: Db = None,
    replace: Replace = False,
) -> None:
    """Which places of an oven bake otherwise? One tray suggests, several can show."""
    from petitpied.files.output_files import prepare_folder, write_all
    from petitpied.history.oven_map_reading import ALL, read_maps, where_words, with_a_direction
    from petitpied.history.store import read_store
    from petitpied.history.trend_reading import chosen_bakes
    from petitpied.patterns.oven.several_measures import over_all
    from petitpied.text import oven_map_words as words

    if out is not None and out.suffix.lower() not in (".svg", ".png"):
        raise typer.BadParameter("--out must end in .svg or .png")
    bakes, left_out = with_a_direction(chosen_bakes(read_store(db), oven, rack, None))
    found = read_maps(bakes, measure)
    turned = any(b.facts.turn_deg == 180 for b in bakes)
    where = where_words(oven, rack)
    paths = {} if out is None else _pictures(found, out, where, turned=turned)
    if out is not None:
        prepare_folder(out.parent)
        write_all(paths, replace=replace)
    together = over_all(found) if len(found) > 1 else {}
    if as_json:
        told = [
            words.map_json(one, oven, rack, turned=turned, over_all=together.get(one.measure))
            for one in found
        ]
        shown = told if measure == ALL else told[0]
        typer.echo(json.dumps(shown, ensure_ascii=False))
        return
    for one in found:
        for line in words.lines(one, where, turned=turned):
            typer.echo(line)
    if left_out:
        typer.echo(left_out)
    if together:
        typer.echo(words.over_all_words(together))
    for path in paths:
        typer.echo(f"wrote {shown_path(path)}")


def _pictures(
    found: "tuple[OvenMap, ...]", out: Path, where: str, *, turned: bool
) -> dict[Path, bytes]:
    """The pictures: the file itself, or one a measure where there are several."""
    from petitpied.figures.charts.oven_map_picture import map_chart
    from petitpied.figures.raster import png_bytes
    from petitpied.figures.svg import svg_bytes

    draw = svg_bytes if out.suffix.lower() == ".svg" else png_bytes
    return {
        out if len(found) == 1 else out.with_name(f"{out.stem}-{one.measure}{out.suffix}"): draw(
            map_chart(one, where, turned=turned)
        )
        for one in found
    }
