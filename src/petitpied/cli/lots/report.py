"""`petitpied report`: the page that the baker keeps, sends and shows."""

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer


def report(
    records: Annotated[
        list[Path] | None,
        typer.Argument(metavar="RECORD...", help="Records to report.", show_default=False),
    ] = None,
    since: Annotated[
        datetime | None,
        typer.Option(
            formats=["%Y-%m-%d"], metavar="DATE", help="All bakes of the history since this day."
        ),
    ] = None,
    photos: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Folder of the photos, if not beside the records."),
    ] = None,
    letterhead: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Your name, lines and picture for the head (TOML)."),
    ] = None,
    limits: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Your limits: adds verdicts, yield and faults."),
    ] = None,
    pair: Annotated[bool, typer.Option("--pair", help="Add matched pairs.")] = False,
    box: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Your box: adds pairs and filled boxes.")
    ] = None,
    title: Annotated[str | None, typer.Option(help="Title of the report.")] = None,
    text: Annotated[
        bool, typer.Option("--text", help="Print a summary for a message; write no file.")
    ] = False,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for the report.")] = Path(),
    db: Annotated[
        str | None, typer.Option("--db", metavar="URL", help="The history; else the usual one.")
    ] = None,
) -> None:
    """Write a report of one tray or several: a web page in one file, and a PDF."""
    from petitpied.report.report_job import Asked, run

    asked = Asked(
        records=tuple(records or ()),
        since=None if since is None else since.date(),
        photos=photos,
        letterhead=letterhead,
        title=title or "",
        limits=limits,
        box=box,
        pairs=pair,
        db=db,
    )
    for line in run(asked, None if text else out):
        typer.echo(line)
