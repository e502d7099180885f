"""`petitpied limits`: the baker's limits file, started or checked."""

from pathlib import Path
from typing import Annotated

import typer

from petitpied.files.shown_paths import shown_path

STARTER_NAME = "limits.toml"


def limits(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="Limits file to check.", show_default=False),
    ] = None,
    new: Annotated[
        bool,
        typer.Option("--new", help="Write a starter file with the usual limits (limits.toml)."),
    ] = False,
    records: Annotated[
        list[Path] | None,
        typer.Option(
            "--from",
            metavar="RECORD",
            help="Write a starter file by your own best tray; may be given several times.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Start a limits file, by what is usual or by your best tray, or check one."""
    from petitpied.cli.lots.limits_job import starter_from, usual_starter
    from petitpied.files.output_files import write_new
    from petitpied.files.records.lot_files import read_limits
    from petitpied.text.lots.sorting_words import limits_lines

    if new or records:
        target = Path(STARTER_NAME) if file is None else file
        starter = starter_from(records) if records else usual_starter()
        write_new(target, starter.text.encode())
        for line in starter.lines:
            typer.echo(line)
        todo = "open it in a text editor and put in your own limits"
        typer.echo(f"wrote {shown_path(target)}: {todo}")
        return
    if file is None:
        raise typer.BadParameter(
            "name a limits file to check, or start one with --new or --from RECORD"
        )
    for line in limits_lines(read_limits(file)):
        typer.echo(line)
