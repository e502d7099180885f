"""`petitpied history`: what was logged, listed, corrected, taken out, exported and imported."""

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from petitpied.cli.options import fact_options as fact
from petitpied.cli.options.checks import Db, Replace
from petitpied.domain.errors import HistoryError
from petitpied.files.shown_paths import shown_path
from petitpied.text.wording import printable

if TYPE_CHECKING:
    from petitpied.domain.bake import Bake
    from petitpied.history.store import Store

app = typer.Typer(
    name="history", help="The bakes logged so far: list, correct, take out, check, export, import.",
    no_args_is_help=True,
)  # fmt: skip

#: letters of a photo's SHA-256 that name a bake: enough for ten thousand bakes
SHOWN = 10
MIN_NAME = 6

Names = Annotated[
    list[str],
    typer.Argument(metavar="BAKE...", help="Bakes by their name in `list`.", show_default=False),
]


@app.command("list")
def list_bakes(
    oven: fact.Oven = None,
    rack: fact.Rack = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    db: Db = None,
) -> None:
    """List the bakes, oldest first."""
    from petitpied.history.exchange import facts_row
    from petitpied.history.store import read_store

    bakes = read_store(db).bakes(oven, rack)
    if as_json:
        rows = [{"bake": b.facts.photo_sha256} | facts_row(b.facts) | _sizes(b) for b in bakes]
        typer.echo(json.dumps(rows, ensure_ascii=False, indent=1))
        return
    for bake in bakes:
        typer.echo(_line(bake))
    typer.echo(f"{len(bakes)} bake{'' if len(bakes) == 1 else 's'}")


def _sizes(bake: "Bake") -> dict[str, float | int | None]:
    import numpy as np

    diameters = bake.shells.values.get("diameter")
    mean = None if diameters is None else round(float(np.nanmean(diameters)), 3)
    return {"shells": len(bake.shells.ids), "mean_diameter_mm": mean}


def _line(bake: "Bake") -> str:
    facts, sizes = bake.facts, _sizes(bake)
    parts = [facts.photo_sha256[:SHOWN], f"{facts.baked_at:%Y-%m-%d %H:%M}", facts.oven]
    parts += [f"rack {facts.rack}"] if facts.rack is not None else []
    parts += ["turned"] if facts.turn_deg else []
    parts += [facts.flavour] if facts.flavour is not None else []
    mean = sizes["mean_diameter_mm"]
    parts += [f"{sizes['shells']} shells" + ("" if mean is None else f", mean {mean:.1f} mm")]
    return printable("  ".join(parts))


@app.command()
def edit(
    names: Names,
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
    clear: Annotated[
        list[str] | None,
        typer.Option(metavar="FACT", help="A fact to forget, such as rack; may be repeated."),
    ] = None,
    db: Db = None,
) -> None:
    """Correct the facts of bakes; their records stay as they are."""
    from dataclasses import replace

    from petitpied.history.facts import FIELDS, given_options
    from petitpied.history.store import open_store

    options = {
        "oven": oven, "rack": rack, "turn": turn, "at": at, "set_temperature": set_temperature,
        "fan": fan, "liner": liner, "rest_minutes": rest_minutes, "humidity": humidity,
        "flavour": flavour, "batch": batch, "note": note, "more": more,
    }  # fmt: skip
    forgettable = [name for name in FIELDS if name not in ("oven", "at", "turn")]
    for name in clear or []:
        if name not in forgettable:
            raise typer.BadParameter(f"--clear takes one of {', '.join(forgettable)}")
    changes = {FIELDS[name]: None for name in clear or []} | given_options(options)
    if not changes:
        raise typer.BadParameter("say what to change, such as --rack top")
    store = open_store(db, new=False)
    shas = _named(store, names)
    bakes = [facts for sha in shas if (facts := store.facts_as_they_stand(sha)) is not None]
    if len(bakes) < len(shas):
        raise HistoryError(
            what="nothing was changed",
            why="the facts of one of these bakes are damaged",
            next_step="see which with petitpied history check, and take it out or import a copy",
        )
    store.change([replace(bake, **changes) for bake in bakes])
    typer.echo(f"changed {len(bakes)} bake{'' if len(bakes) == 1 else 's'}")


@app.command()
def remove(
    names: Names,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    db: Db = None,
) -> None:
    """Take bakes out of the history, record and all."""
    from petitpied.history.store import open_store

    store = open_store(db, new=False)
    bakes = _named(store, names)
    for sha in bakes:
        facts = store.facts_as_they_stand(sha)
        words = "damaged" if facts is None else f"{facts.baked_at:%Y-%m-%d %H:%M}  {facts.oven}"
        typer.echo(printable(f"{sha[:SHOWN]}  {words}"))
    if not yes:
        if not sys.stdin.isatty():
            raise typer.BadParameter("to take bakes out without being asked, give --yes")
        typer.confirm("Take these out of the history?", abort=True)
    store.remove(bakes)
    typer.echo(f"took out {len(bakes)} bake{'' if len(bakes) == 1 else 's'}")


def _named(store: "Store", names: list[str]) -> list[str]:
    """The bakes of short names, each once: SHA-256 of their photos."""
    everything = store.names()
    found: dict[str, None] = {}
    for name in names:
        wanted = name.strip().lower()
        fits = [sha for sha in everything if sha.startswith(wanted)]
        if len(wanted) < MIN_NAME or len(fits) != 1:
            short = len(wanted) < MIN_NAME
            why = f"it has fewer than {MIN_NAME} letters" if short else f"{len(fits)} bakes fit"
            raise HistoryError(
                what=f"{printable(name)[:70]!r} names no bake",
                why=why,
                next_step="take the first column of: petitpied history list",
            )
        found[fits[0]] = None
    return list(found)


@app.command()
def check(
    look_only: Annotated[
        bool, typer.Option("--look-only", help="Repair nothing, only say what is wrong.")
    ] = False,
    db: Db = None,
) -> None:
    """Verify database, records and sizes; repair what a record still proves, say what is lost."""
    from petitpied.history.check import check_history
    from petitpied.history.store import open_store, read_store

    store = read_store(db) if look_only else open_store(db, new=False)
    done = check_history(store, repair=not look_only)
    for finding in done.findings:
        name = finding.photo_sha256[:SHOWN] or "all"
        typer.echo(printable(f"{name:<{SHOWN}}  {finding.state}: {finding.what}"))
    if done.copy:
        typer.echo(f"a copy from before the repair: {printable(done.copy)}")
    typer.echo(f"{done.whole} of {done.bakes} bakes are whole")
    left = [finding for finding in done.findings if finding.state != "repaired"]
    if left:
        lost = sum(finding.state == "lost" for finding in left)
        raise HistoryError(
            what="the history is not whole",
            why=f"{lost} things are lost, {len(left) - lost} could be repaired",
            next_step="import an archive or inspect those photos again and log them; wrong facts: "
            "petitpied history edit; a bake that is gone: petitpied history remove",
        )


@app.command()
def upgrade(db: Db = None) -> None:
    """Bring a history of an older petitpied up to date; a copy is made first."""
    from petitpied.history.store import open_store

    store = open_store(db, new=False)
    if store.copy:
        typer.echo(f"a copy from before: {printable(store.copy)}")
    count = len(store.names())
    typer.echo(f"the history is up to date: {count} bake{'' if count == 1 else 's'}")


@app.command()
def export(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", show_default=False,
            help="NAME.zip: everything, can be imported. NAME.xlsx, NAME.csv, NAME.parquet: a "
            "row a shell.",
        ),
    ],
    oven: fact.Oven = None,
    rack: fact.Rack = None,
    db: Db = None,
    replace: Replace = False,
) -> None:  # fmt: skip
    """Write the history to a file: an archive, or a table for other programs."""
    from petitpied.files.output_files import prepare_folder, write_all, write_streamed
    from petitpied.history import exchange
    from petitpied.history.store import read_store

    kind = file.suffix.lower()
    if kind not in (".zip", ".xlsx", ".csv", ".parquet"):
        raise typer.BadParameter("FILE must end in .zip, .xlsx, .csv or .parquet")
    store = read_store(db)
    prepare_folder(file.parent)
    if kind == ".zip":
        facts = store.facts(oven, rack)
        count = len(facts)
        write_streamed(
            file,
            lambda stream: exchange.write_archive(store, facts, stream),
            lambda written: exchange.verify_archive(written, count),
            replace=replace,
        )
    else:
        bakes = store.bakes(oven, rack)
        count = len(bakes)
        if kind == ".parquet":
            write_all({file: exchange.parquet_bytes(bakes)}, replace=replace)
        elif kind == ".xlsx":
            from petitpied.files.records.workbook import rows_workbook

            rows = exchange.shell_rows(bakes)
            book = rows_workbook("shells", exchange.SHELL_COLUMNS, rows)
            write_all({file: book}, replace=replace)
        else:
            text = exchange.csv_text(exchange.SHELL_COLUMNS, exchange.shell_rows(bakes))
            write_all({file: text.encode()}, replace=replace)
    typer.echo(f"wrote {count} bake{'' if count == 1 else 's'} to {shown_path(file)}")


@app.command("import")
def import_file(
    file: Annotated[
        Path, typer.Argument(metavar="FILE.zip", show_default=False, help="An exported archive.")
    ],
    replace: Annotated[
        bool, typer.Option("--replace", help="Bakes that are here already: take the archive's.")
    ] = False,
    db: Db = None,
) -> None:
    """Take in the bakes of an archive; those that are here already stay as they are."""
    from datetime import datetime

    from petitpied.history.exchange import import_archive
    from petitpied.history.store import open_store

    now = datetime.now().astimezone()
    done = import_archive(open_store(db), file, replace=replace, now=now)
    typer.echo(f"took in {done.added} new bakes, replaced {done.replaced}, kept {done.kept}")
