"""`petitpied causes`: which logged facts go along with which faults."""

import json
from typing import Annotated

import typer

from petitpied.cli.options import fact_options as fact
from petitpied.cli.options.checks import Db


def causes(
    measure: Annotated[
        list[str] | None,
        typer.Option(metavar="M", help="Only this measure; may be repeated.", show_default=False),
    ] = None,
    fault: Annotated[
        list[str] | None,
        typer.Option(
            metavar="RULE", help='The share of faulty shells, as "cracks >= 3"; may be repeated.'
        ),
    ] = None,
    oven: fact.Oven = None,
    rack: fact.Rack = None,
    flavour: fact.Flavour = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    db: Db = None,
) -> None:
    """Which facts (rest, humidity, temperature, ...) go along with faults, and which may not."""
    import numpy as np

    from petitpied.history.store import open_store
    from petitpied.history.trend_reading import check_measure, chosen_bakes, fault_of, outcomes_of
    from petitpied.patterns.trends.association import associations
    from petitpied.patterns.trends.regressors import regressors, time_of, together
    from petitpied.statistics.made_together import units_of
    from petitpied.text.causes_words import causes_json, lines

    for name in measure or []:
        check_measure(name)
    faults = [fault_of(text) for text in fault or []]
    bakes = chosen_bakes(open_store(db, new=False), oven, rack, flavour)
    facts = [b.facts for b in bakes]
    logged = regressors(facts)
    # the same numbers each time: chance enters only as the order in which bakes are permuted
    found = associations(
        outcomes_of(bakes, measure or [], faults),
        logged,
        units_of(facts),
        np.random.default_rng(20260308),
    )
    pairs = together([*logged, time_of(facts)])
    named = (("oven", oven), ("rack", rack), ("flavour", flavour))
    where = ", ".join(f"{name} {value}" for name, value in named if value is not None)
    said = lines(found, pairs, len(bakes), where)
    if as_json:
        typer.echo(json.dumps(causes_json(found, pairs, len(bakes), said), ensure_ascii=False))
        return
    for line in said:
        typer.echo(line)
