"""`petitpied inspect`: photos to records, tables, outlines and annotated pictures."""

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from petitpied.cli.bakes.log import logbook
from petitpied.cli.options import fact_options as fact
from petitpied.cli.options.checks import Db, finite
from petitpied.domain.errors import ExitCode, ReadingError
from petitpied.domain.settings import Settings
from petitpied.text.wording import printable

if TYPE_CHECKING:
    from petitpied.cli.measuring import inspecting as batch
    from petitpied.domain.surface import Reference
    from petitpied.history.logging_bakes import Logbook

DEFAULTS = Settings()


def inspect(
    photos: Annotated[
        list[Path],
        typer.Argument(
            metavar="PHOTO...", help="Photos, or folders of photos.", show_default=False
        ),
    ],
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Folder for the results; else beside each photo."),
    ] = None,
    jobs: Annotated[
        int | None, typer.Option(min=1, help="Photos inspected at the same time; else one a core.")
    ] = None,
    relative: Annotated[
        bool,
        typer.Option("--relative", help="Without a card: count, shapes and relative sizes, no mm."),
    ] = False,
    shell_height: Annotated[
        float | None,
        typer.Option(
            min=1,
            max=60,
            callback=finite,
            metavar="MM",
            help="Height of a typical shell by your ruler; edge shells get surer.",
        ),
    ] = None,
    card_thickness: Annotated[
        float,
        typer.Option(
            min=0,
            max=10,
            callback=finite,
            metavar="MM",
            help="Thickness of the card as it lies on the liner.",
        ),
    ] = DEFAULTS.card_thickness_mm,
    focal_35mm: Annotated[
        float | None,
        typer.Option(
            min=5,
            max=2000,
            callback=finite,
            metavar="MM",
            help="35-mm-equivalent focal length, where the photo does not say it.",
        ),
    ] = None,
    same_tray: Annotated[
        bool,
        typer.Option(
            "--same-tray",
            help="Two photos of one tray from different places: one record, with heights.",
        ),
    ] = False,
    budget: Annotated[
        bool,
        typer.Option("--budget", help="Show where the uncertainty of the median shell comes from."),
    ] = False,
    budget_of: Annotated[
        str | None, typer.Option(metavar="ID", help="The same of another shell, as B3.")
    ] = None,
    lens: Annotated[
        Path | None,
        typer.Option(
            metavar="PROFILE.yml",
            help="Lens profile (petitpied lens); else one of your own that fits the photo, if any.",
        ),
    ] = None,
    check_bar: Annotated[
        float | None,
        typer.Option(
            min=50,
            max=150,
            callback=finite,
            metavar="MM",
            help="Measured length of the printed 100 mm bar, for this run; see card --check.",
        ),
    ] = None,
    before: Annotated[
        Path | None,
        typer.Option(
            metavar="PHOTO", help="The same tray as piped, raw, with a card: shows the growth."
        ),
    ] = None,
    log: Annotated[
        bool, typer.Option("--log", help="Add the record to the history, with these facts:")
    ] = False,
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
    db: Db = None,
    limits: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Your limits file: verdict and reasons go into the record."
        ),
    ] = None,
    crack_confidence: Annotated[
        float | None,
        typer.Option(
            min=0.05,
            max=0.99,
            callback=finite,
            metavar="0..1",
            help="How sure the tool must be to tell a crack; petitpied agreement suggests yours.",
        ),
    ] = None,
    sheet: Annotated[
        bool, typer.Option("--sheet", help="A contact sheet too: every shell zoomed.")
    ] = False,
) -> None:
    """Measure every shell: a record, a table, outlines and an annotated picture a photo."""
    if relative and shell_height is not None:
        raise typer.BadParameter("--shell-height has no use with --relative: there is no scale")
    if relative and (lens is not None or check_bar is not None):
        raise typer.BadParameter("--lens and --check-bar have no use with --relative")
    settings = _settings(
        Settings(relative, shell_height, card_thickness, focal_35mm), lens, check_bar
    )
    if relative and (same_tray or budget or budget_of is not None):
        raise typer.BadParameter("--same-tray and --budget have no use with --relative")
    if relative and limits is not None:
        raise typer.BadParameter("--limits has no use with --relative: there is no scale")
    if relative and crack_confidence is not None:
        raise typer.BadParameter("--crack-confidence has no use with --relative: no cracks there")
    settings = replace(
        settings,
        reference=_reference(flavour, needed=not log, relative=relative),
        crack_confidence=crack_confidence,
    )
    facts = {
        "oven": oven, "rack": rack, "turn": turn, "at": at, "set_temperature": set_temperature,
        "fan": fan, "liner": liner, "rest_minutes": rest_minutes, "humidity": humidity,
        "flavour": flavour, "batch": batch, "note": note,
    }  # fmt: skip
    others = [v for name, v in facts.items() if name != "flavour"]  # that one is for colours too
    if not log and (like_last or db is not None or any(v is not None for v in others)):
        raise typer.BadParameter("facts of a bake go into the history: give --log too")
    if relative and (log or before is not None):
        raise typer.BadParameter("--log and --before have no use with --relative")
    asked = Asked(
        same_tray, "" if budget and budget_of is None else budget_of, before,
        logbook(facts, like_last=like_last, db=db) if log else None, limits,
        sheet,
    )  # fmt: skip
    raise typer.Exit(_inspect(photos, out, jobs, settings, asked))


def _settings(settings: Settings, lens: Path | None, check_bar_mm: float | None) -> Settings:
    """The settings with the user's own lens profiles and print scales, or those named."""
    from petitpied.cli.measuring import inspecting as batch

    batch.one_thread_for_matrices()  # before anything imports NumPy
    from petitpied.domain.card import LETTERS
    from petitpied.files.own.lens_files import own_profiles, read_profile
    from petitpied.files.own.print_scales import own_print_scales

    if settings.relative:
        return settings
    scales = (
        own_print_scales()
        if check_bar_mm is None
        else tuple((letter, check_bar_mm / 100) for letter in LETTERS)
    )
    if lens is not None:
        named = (read_profile(lens),)
        return replace(settings, print_scales=scales, profiles=named, profile_named=True)
    profiles, faults = own_profiles()
    for fault in faults:
        typer.echo(f"warning: {fault}", err=True)
    return replace(settings, print_scales=scales, profiles=profiles)


def _reference(flavour: str | None, *, needed: bool, relative: bool) -> "Reference | None":
    """The flavour's colour; where it is ``needed``, one that was never added is an error."""
    if flavour is None or relative:
        return None
    from petitpied.files.own.flavours import flavour_name, own_flavour, own_flavours

    return own_flavour(flavour) if needed else own_flavours().get(flavour_name(flavour))


@dataclass(frozen=True, slots=True)
class Asked:
    """Two photos as one; whose budget is shown ("": the median shell's); the photo of the tray
    as piped; where records are logged."""

    same_tray: bool = False
    budget_of: str | None = None
    before: Path | None = None
    logbook: "Logbook | None" = None
    limits: Path | None = None  # the baker's limits file
    sheet: bool = False  # a contact sheet too


def _planned(photos: list[Path], out: Path | None, asked: Asked) -> "tuple[batch.Job, ...]":
    from petitpied.cli.measuring import inspecting as batch
    from petitpied.files.photo_files import collect

    found = collect(photos)
    if asked.same_tray and len(found) != 2:
        raise typer.BadParameter("--same-tray takes two photos, each with a card in it")
    jobs = batch.plan(found, out)
    if asked.same_tray:
        jobs = (replace(jobs[0], second=jobs[1].photo),)
    if asked.before is not None and len(jobs) != 1:
        raise typer.BadParameter("--before goes with the photo of one baked tray")
    limits = None
    if asked.limits is not None:
        from petitpied.files.records.lot_files import read_limits

        limits = read_limits(asked.limits)
    return tuple(
        replace(
            job,
            budget_of=asked.budget_of,
            before=asked.before,
            limits=limits,
            sheet=asked.sheet,
        )
        for job in jobs
    )


def _inspect(
    photos: list[Path], out: Path | None, jobs: int | None, settings: Settings, asked: Asked
) -> int:
    """One photo: its error is the command's. Several: every one is tried."""
    from petitpied.cli.measuring import inspecting as batch
    from petitpied.files.output_files import prepare_folder

    planned = _planned(photos, out, asked)
    if out is not None:
        prepare_folder(out)
    if len(planned) == 1:
        _tell(planned[0], batch.inspect_one(planned[0], settings))
        _log(planned[0], asked)
        return ExitCode.OK
    import cv2  # noqa: F401  (a missing system library is told once, not for each photo)

    running = batch.run(planned, settings, jobs or batch.usable_cores())
    outcomes = {outcome.job: outcome for outcome in _with_progress(running, len(planned))}
    failed = 0
    for job in planned:
        error = outcomes[job].error
        if error is None:
            _tell(job, outcomes[job].lines)
            try:
                _log(job, asked)
            except ReadingError as fault:  # the next photo may well be logged
                error = fault
        if error is not None:
            failed += 1
            typer.echo(str(error), err=True)
    typer.echo(f"{len(planned) - failed} of {len(planned)} photos inspected")
    return ExitCode.SOME_FAILED if failed else ExitCode.OK


def _with_progress(running: "Iterator[batch.Outcome]", count: int) -> "Iterator[batch.Outcome]":
    """The same outcomes, with a bar on the error stream where that is a terminal."""
    if not sys.stderr.isatty():
        yield from running
        return
    with typer.progressbar(running, length=count, label="photos", file=sys.stderr) as bar:
        yield from bar


def _tell(job: "batch.Job", lines: tuple[str, ...]) -> None:
    """The short table of one photo, and where its files are."""
    typer.echo(printable(job.photo.name))
    for line in lines:
        typer.echo(f"  {line}")
    more = ", .sheet.jpg" if job.sheet else ""
    files = f".json, .csv, .coco.json, .marked.jpg{more}"
    typer.echo(f"  wrote {printable(str(job.result('')))}{files}")


def _log(job: "batch.Job", asked: Asked) -> None:
    """The record just written into the history, where that was asked for."""
    if asked.logbook is not None:
        for line in asked.logbook.log(job.result(".json"), photo=job.photo):
            typer.echo(f"  {line}")
