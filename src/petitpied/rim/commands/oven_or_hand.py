"""`petitpied oven-or-hand`: whose pattern is it, the oven's or the hand's?"""

import json
from typing import Annotated

import typer

from petitpied.rim.commands import fact_options as fact
from petitpied.rim.commands.options import Db
from petitpied.rim.commands.oven_map import AsJson, Oven


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
    from petitpied.rim import oven_or_hand_words as words
    from petitpied.rim.history.store import open_store
    from petitpied.rim.one_oven_reading import one_oven
    from petitpied.rim.oven_map_reading import check_mapped, read_sides, where_words
    from petitpied.rim.trend_reading import chosen_bakes

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
