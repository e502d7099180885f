"""`petitpied next-bake`: the one change or photo that tells most next."""

import json
from typing import Annotated

import typer

from petitpied.cli.options import fact_options as fact
from petitpied.cli.options.checks import Db


def next_bake(
    oven: Annotated[str, typer.Argument(metavar="OVEN", help="The oven's name.")],
    rack: fact.Rack = None,
    measure: Annotated[
        str, typer.Option(metavar="M", help="diameter, browning, cracks, foot_spread, ...")
    ] = "diameter",
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    db: Db = None,
) -> None:
    """What to do at the next bake: at most three lines, one change at a time, or none."""
    from petitpied.history.next_bake_reading import read_next
    from petitpied.history.oven_map_reading import where_words
    from petitpied.history.store import open_store
    from petitpied.text.next_bake_words import lines, next_json

    notes, found = read_next(open_store(db, new=False), oven, rack, measure)
    if as_json:
        told = {"oven": oven, "rack": rack, "measure": measure, "notes": list(notes)}
        typer.echo(json.dumps(told | {"next": next_json(found)}, ensure_ascii=False))
        return
    for line in (*notes, *lines(found, where_words(oven, rack))):
        typer.echo(line)
