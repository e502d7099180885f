"""`petitpied batch`: the baker's recipe scaled to a wanted number of boxes."""

from pathlib import Path
from typing import Annotated

import typer

from petitpied.cli.options.checks import finite


def batch(
    recipe: Annotated[
        Path | None,
        typer.Argument(metavar="[RECIPE]", help="The recipe file (TOML).", show_default=False),
    ] = None,
    boxes: Annotated[
        int | None,
        typer.Option(min=1, max=100_000, help="Boxes wanted.", show_default=False),
    ] = None,
    good: Annotated[
        int | None,
        typer.Option(min=0, max=1_000_000, help="Good shells counted so far; with --baked."),
    ] = None,
    baked: Annotated[
        int | None,
        typer.Option(min=1, max=1_000_000, help="Baked shells counted so far; with --good."),
    ] = None,
    records: Annotated[
        list[Path] | None,
        typer.Option(
            "--from", metavar="RECORD", help="Record to judge for the yield; with --limits."
        ),
    ] = None,
    limits: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Your limits, for the shells of --from.")
    ] = None,
    chance: Annotated[
        float,
        typer.Option(
            min=0.5,
            max=0.999,
            callback=finite,
            metavar="SHARE",
            help="Wanted chance that the batch gives enough good shells.",
        ),
    ] = 0.9,
    new: Annotated[
        bool, typer.Option("--new", help="Write a starter recipe to RECIPE (else recipe.toml).")
    ] = False,
) -> None:
    """Say what to weigh, pipe and bake for a number of boxes."""
    from petitpied.cli.planning import batch_sheet

    if new:
        path = recipe or Path("recipe.toml")
        batch_sheet.write_starter(path)
        typer.echo(f"wrote {path}: weights of common practice, put your own in")
        return
    if recipe is None or boxes is None:
        raise typer.BadParameter("give the recipe and --boxes; begin with: petitpied batch --new")
    if (good is None) != (baked is None):
        raise typer.BadParameter("--good and --baked go together")
    if bool(records) != (limits is not None):
        raise typer.BadParameter("--from and --limits go together")
    if records and good is not None:
        raise typer.BadParameter("give --from with --limits, or --good with --baked, not both")
    share = None
    if records and limits is not None:
        share = batch_sheet.judged_yield(records, limits)
    if good is not None and baked is not None:
        share = batch_sheet.counted_yield(good, baked)
    for line in batch_sheet.batch_lines(recipe, boxes, share, chance):
        typer.echo(line)
