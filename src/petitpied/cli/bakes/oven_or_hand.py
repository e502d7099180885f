"""`petitpied oven-or-hand`: whose pattern is it, the oven's or the hand's?"""

import json
from typing import Annotated

import typer

from petitpied.cli.bakes.oven_map import AsJson, Oven
from petitpied.cli.options import fact_options as fact
from petitpied.cli.options import measure_option
from petitpied.cli.options.checks import Db, measure_code


def oven_or_hand(
    oven: Oven,
    rack: fact.Rack = None,
    measure: Annotated[
        str, typer.Option(metavar="M", callback=measure_code, help=measure_option.EACH)
    ] = "diameter",
    as_json: AsJson = False,
    db: Db = None,
) -> None:
    """Does it follow the oven or the hand that piped? Needs bakes turned by half, and a plan."""
    from petitpied.history.oven_map_reading import read_sides, where_words, with_a_direction
    from petitpied.history.store import read_store
    from petitpied.history.trend_reading import chosen_bakes
    from petitpied.text import oven_or_hand_words as words

    bakes, left_out = with_a_direction(chosen_bakes(read_store(db), oven, rack, None))
    found = read_sides(bakes, measure)
    if as_json:
        typer.echo(json.dumps(words.sides_json(found, oven, rack), ensure_ascii=False))
        return
    for line in words.lines(found, where_words(oven, rack)):
        typer.echo(line)
    if left_out:
        typer.echo(left_out)
