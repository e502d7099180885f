"""`petitpied oven-or-hand`: whose pattern is it, the oven's or the hand's?"""

import json
from typing import Annotated

import typer

from petitpied.cli.bakes.oven_map import AsJson, Oven
from petitpied.cli.options import fact_options as fact
from petitpied.cli.options.checks import Db


def oven_or_hand(
    oven: Oven,
    rack: fact.Rack = None,
    measure: Annotated[
        str, typer.Option(metavar="M", help="diameter, browning, cracks, foot_spread, lean, ...")
    ] = "diameter",
    as_json: AsJson = False,
    db: Db = None,
) -> None:
    """Does it follow the oven or the hand that piped? Needs bakes turned by half, and a plan."""
    from petitpied.history.one_oven_reading import one_oven
    from petitpied.history.oven_map_reading import check_mapped, read_sides, where_words
    from petitpied.history.store import open_store
    from petitpied.history.trend_reading import chosen_bakes
    from petitpied.text import oven_or_hand_words as words

    store = open_store(db)
    bakes = chosen_bakes(store, oven, rack, None)
    check_mapped(measure)
    one = one_oven(bakes, measure, store.events(oven), rack)
    found = read_sides(one.bakes, measure)
    if as_json:
        told = words.sides_json(found, oven, rack) | {"notes": list(one.notes)}
        typer.echo(json.dumps(told, ensure_ascii=False))
        return
    for note in one.notes:
        typer.echo(note)
    for line in words.lines(found, where_words(oven, rack)):
        typer.echo(line)
