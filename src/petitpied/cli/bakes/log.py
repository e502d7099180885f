"""`petitpied log`: records and the facts of their bakes into the history."""

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from petitpied.cli.options import fact_options as fact
from petitpied.cli.options.checks import Db
from petitpied.domain.errors import ExitCode, ReadingError

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
            "set_temperature, fan, liner, rest_minutes, humidity, flavour, batch, note.",
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
    like_last: fact.LikeLast = False,
    event: Annotated[
        str | None,
        typer.Option(
            metavar="TEXT",
            help="Instead of a bake: what changed for good, such as a new oven or a moved rack; "
            "with --at and --oven. Maps then begin anew.",
        ),
    ] = None,
    db: Db = None,
) -> None:
    """Add records to the history, with what you know of their bakes."""
    if event is not None:
        if records or facts is not None:
            raise typer.BadParameter("--event stands by itself: log records in another call")
        _log_event(event, oven, at, db)
        return
    if not records and facts is None:
        raise typer.BadParameter("give records, or a table of them with --facts")
    options = {
        "oven": oven, "rack": rack, "turn": turn, "at": at, "set_temperature": set_temperature,
        "fan": fan, "liner": liner, "rest_minutes": rest_minutes, "humidity": humidity,
        "flavour": flavour, "batch": batch, "note": note,
    }  # fmt: skip
    raise typer.Exit(_log(records or [], facts, options, like_last=like_last, db=db))


def _log_event(event: str, oven: str | None, at: str | None, db: str | None) -> None:
    from datetime import datetime

    from petitpied.history.facts import given
    from petitpied.history.store import open_store
    from petitpied.text.wording import printable

    said = given({"note": event, "oven": oven, "at": at}, "the options")
    when = said.get("baked_at", datetime.now().astimezone())
    if "note" not in said:
        raise typer.BadParameter("--event needs a few words")
    open_store(db).add_event(when, said.get("oven"), said["note"])
    where = printable(f"oven {said['oven']}") if "oven" in said else "the whole kitchen"
    typer.echo(f"logged a change of {when:%Y-%m-%d}, {where}: {printable(said['note'])}")
    typer.echo("  maps of bakes after it leave out those before")


def logbook(options: Mapping[str, object], *, like_last: bool, db: str | None) -> "Logbook":
    """Check the facts given as options and open the history.

    Raises
    ------
    HistoryError
        If a fact is none, or the history cannot be used.
    """
    from datetime import datetime

    from petitpied.history.facts import given
    from petitpied.history.logging_bakes import Logbook
    from petitpied.history.store import open_store

    said = given(options, "the options")
    return Logbook(open_store(db), said, like_last, lambda: datetime.now().astimezone())


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
    if len(planned) > 1:
        typer.echo(f"{logged} of {len(planned)} bakes logged")
    return ExitCode.OK if logged == len(planned) else ExitCode.SOME_FAILED
