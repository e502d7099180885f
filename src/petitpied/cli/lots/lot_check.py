"""`petitpied lot-check`: how many shells of a large lot to look at, and when to accept it."""

from typing import Annotated

import typer

from petitpied.cli.options import lot_options as option


def lot_check(
    lot: Annotated[
        int, typer.Argument(metavar="SHELLS", min=2, max=1200, help="Shells in the lot.")
    ],
    aql: Annotated[
        float,
        typer.Option(
            "--bad",
            metavar="PERCENT",
            help="Share of bad shells that you can live with in the long run: "
            "0.65, 1, 1.5, 2.5, 4, 6.5, 10 or 15.",
        ),
    ] = 4.0,
    found: Annotated[
        int | None, typer.Option(min=0, metavar="N", help="Bad ones found: accept or not?")
    ] = None,
    as_json: option.AsJson = False,
) -> None:
    """For a lot too large to photograph whole: how many to look at, and what that promises."""
    from petitpied.sorting.lot_check import AQLS, plan_for
    from petitpied.text.lots.lot_check_words import decision_line, plan_json, plan_lines

    if aql not in AQLS:
        raise typer.BadParameter(f"--bad must be one of {', '.join(f'{a:g}' for a in AQLS)}")
    plan = plan_for(lot, aql)
    if found is not None and found > plan.sample:
        raise typer.BadParameter(f"--found: only {plan.sample} shells are looked at")
    if as_json:
        option.print_json(plan_json(plan, found))
        return
    for line in plan_lines(plan) if found is None else [decision_line(plan, found)]:
        typer.echo(line)
