"""`petitpied simulate`: a made-up history, to try things out and to see how many bakes it takes."""

from pathlib import Path
from typing import Annotated

import typer

from petitpied.cli.options.checks import finite

Effects = Annotated[
    list[str] | None,
    typer.Option(
        metavar="KIND:SIZE[:X,Y]",
        help="Planted in the oven: across:1.5, front-back:1, centre-edge:0.8, spot:1:120,-70 "
        "(place, mm from the tray's middle) or lean:0.4:1,0 (direction). Several are added.",
    ),
]


def simulate(
    out: Annotated[
        Path, typer.Option(metavar="DIR", help="Folder for the records.", show_default=False)
    ],
    bakes: Annotated[int, typer.Option(min=1, max=10_000, help="How many bakes.")] = 12,
    turned: Annotated[
        int, typer.Option(min=0, max=10_000, help="So many of them went in turned by half.")
    ] = 0,
    measure: Annotated[
        str, typer.Option(metavar="M", help="What the effects change: diameter, browning, ...")
    ] = "diameter",
    oven_effect: Effects = None,
    hand_effect: Annotated[
        list[str] | None,
        typer.Option(metavar="KIND:SIZE[:X,Y]", help="The same, planted in the hand's piping."),
    ] = None,
    spread: Annotated[
        float | None,
        typer.Option(
            min=0, max=20, callback=finite, metavar="SIZE",
            help="Standard deviation between shells of a bake; else a typical one.",
        ),
    ] = None,
    bake_spread: Annotated[
        float,
        typer.Option(
            min=0, max=20, callback=finite, help="Of the bakes' means, in parts of the spread."
        ),
    ] = 0.5,
    smooth: Annotated[
        float,
        typer.Option(
            min=0, max=0.95, callback=finite,
            help="Part of the shells' variance that neighbours share.",
        ),
    ] = 0.3,
    missing: Annotated[
        float,
        typer.Option(min=0, max=0.8, callback=finite, help="Part of the shells not measured."),
    ] = 0.05,
    heavy_tails: Annotated[
        bool, typer.Option("--heavy-tails", help="Now and then a shell far from the others.")
    ] = False,
    before: Annotated[
        bool, typer.Option("--before", help="As if each tray had a photo before baking too.")
    ] = False,
    rows: Annotated[int, typer.Option(min=1, max=20, help="Rows of shells on a tray.")] = 5,
    columns: Annotated[int, typer.Option(min=1, max=20, help="Columns of shells.")] = 6,
    oven: Annotated[str, typer.Option(metavar="NAME", help="The oven's name.")] = "deck oven",
    rack: Annotated[str, typer.Option(metavar="NAME", help="The rack.")] = "middle",
    seed: Annotated[int, typer.Option(min=0, help="Another number, another history.")] = 1,
) -> None:  # fmt: skip
    """Make up a history with known effects: records and facts for `petitpied log --facts`."""
    import numpy as np

    from petitpied.files.output_files import prepare_folder, write_all
    from petitpied.files.records.synthetic_records import FACTS_NAME, history_files, parse_planted
    from petitpied.patterns.oven.synthetic import TYPICAL, Plan, make_history
    from petitpied.text.wording import printable

    choices = [name for name in TYPICAL if name != "piped_diameter"]
    if measure not in choices:
        raise typer.BadParameter(f"--measure must be one of {', '.join(choices)}")
    if turned > bakes:
        raise typer.BadParameter("--turned cannot be more than --bakes")
    if before and measure != "diameter":
        raise typer.BadParameter("--before goes with --measure diameter")
    plan = Plan(
        bakes=bakes, turned=turned, rows=rows, columns=columns, measure=measure,
        oven=tuple(parse_planted(text) for text in oven_effect or ()),
        hand=tuple(parse_planted(text) for text in hand_effect or ()),
        spread=spread, bake_spread=bake_spread, smooth_share=smooth, missing=missing,
        tails=4.0 if heavy_tails else None, piped=before, oven_name=oven, rack=rack or None,
    )  # fmt: skip
    files = history_files(make_history(plan, np.random.default_rng(seed)))
    prepare_folder(out)
    write_all({out / name: data for name, data in files.items()})
    facts = printable(str(out / FACTS_NAME))
    typer.echo(f"wrote {bakes} records and {facts}: a made-up kitchen, the Atelier Brume")
    typer.echo(f"Next: petitpied log --facts {facts}, then petitpied oven-map")
