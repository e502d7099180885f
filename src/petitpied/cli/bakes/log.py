"""`petitpied log`: records and the facts of their bakes into the history."""

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from petitpied.cli.options import fact_options as fact
from petitpied.cli.options.checks import Db
from petitpied.domain.errors import ExitCode, ReadingError
from petitpied.running.interrupts import Interrupted

if TYPE_CHECKING:
    from petitpied.history.logging_bakes import Logbook


def log(
    records: Annotated[
        list[Path] | None,
        typer.Argument(metavar="RECORD...", help="Records: NAME.json as `inspect` wrote them."),
    ] = None,
    facts: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.csv",
            help="A table with a row a bake: columns record, oven, rack, turn, at, "
            "set_temperature, fan, mat, rest_minutes, humidity, flavour, batch, note, and those of "
            "--fact.",
        ),
    ] = None,
    oven: fact.Oven = None,
    rack: fact.Rack = None,
    turn: fact.Turn = None,
    at: fact.At = None,
    set_temperature: fact.SetTemperature = None,
    fan: fact.Fan = None,
    liner: fact.Liner = None,
    rest_minutes: fact.RestMinutes = None,
    humidity: fact.Humidity = None,
    flavour: fact.Flavour = None,
    batch: fact.Batch = None,
    note: fact.Note = None,
    more: fact.More = None,
    like_last: fact.LikeLast = False,
    db: Db = None,
) -> None:
    """Add records to the history, with what you know of their bakes."""
    if not records and facts is None:
        raise typer.BadParameter("give records, or a table of them with --facts")
    options = {
        "oven": oven, "rack": rack, "turn": turn, "at": at, "set_temperature": set_temperature,
        "fan": fan, "liner": liner, "rest_minutes": rest_minutes, "humidity": humidity,
        "flavour": flavour, "batch": batch, "note": note, "more": more,
    }  # fmt: skip
    raise typer.Exit(_log(records or [], facts, options, like_last=like_last, db=db))


def logbook(options: Mapping[str, object], *, like_last: bool, db: str | None) -> "Logbook":
    """Check the facts given as options and open the history.

    Raises
    ------
    HistoryError
        If a fact is none, or the history cannot be used.
    """
    from datetime import datetime

    from petitpied.cli.options.kitchen_parts import facts_of_kitchen
    from petitpied.history.facts import given_options
    from petitpied.history.logging_bakes import Logbook
    from petitpied.history.store import open_store

    said = given_options(options)
    store = open_store(db)
    if store.copy:
        typer.echo(
            f"the history was brought up to date; a copy from before: {store.copy}", err=True
        )
    clock = lambda: datetime.now().astimezone()  # noqa: E731
    return Logbook(store, said, like_last, clock, facts_of_kitchen())


def _log(
    records: list[Path],
    table: Path | None,
    options: Mapping[str, object],
    *,
    like_last: bool,
    db: str | None,
) -> int:
    """One record: its error is the command's. Several: every one is tried."""
    from petitpied.history.connection import DatabaseFault
    from petitpied.history.facts import from_table

    planned = [(path, None) for path in records] + (from_table(table) if table else [])
    book = logbook(options, like_last=like_last, db=db)
    logged = 0
    try:
        for path, row in planned:
            try:
                lines = book.log(path, row)
            except ReadingError as error:
                if len(planned) == 1 or isinstance(error, DatabaseFault):
                    if logged:
                        typer.echo(f"{logged} of {len(planned)} bakes logged, then it stopped")
                    raise
                typer.echo(str(error), err=True)
                continue
            logged += 1
            for line in lines:  # told only now that it is on the disk
                typer.echo(line if line is lines[0] else f"  {line}")
            sys.stdout.flush()
    except Interrupted as stop:
        stop.done = f"{logged} of {len(planned)} bakes logged"
        raise
    if len(planned) > 1:
        typer.echo(f"{logged} of {len(planned)} bakes logged")
    return ExitCode.OK if logged == len(planned) else ExitCode.SOME_FAILED
