"""`petitpied limits`: the baker's limits file, started or checked."""

from pathlib import Path
from typing import Annotated

import typer

STARTER_NAME = "limits.toml"


def limits(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="Limits file to check.", show_default=False),
    ] = None,
    new: Annotated[
        bool, typer.Option("--new", help="Write a starter file with remarks (limits.toml).")
    ] = False,
) -> None:
    """Start a limits file, or check one and say it in words."""
    from petitpied.files.output_files import write_new
    from petitpied.files.records.lot_files import read_limits
    from petitpied.sorting.limits import STARTER
    from petitpied.text.sorting_words import limits_lines

    if new:
        target = Path(STARTER_NAME) if file is None else file
        write_new(target, STARTER.encode())
        typer.echo(f"wrote {target}: open it in a text editor and put in your own limits")
        return
    if file is None:
        raise typer.BadParameter("name a limits file to check, or use --new to start one")
    for line in limits_lines(read_limits(file)):
        typer.echo(line)
