"""`petitpied inspect`: photos to records, tables, outlines and annotated pictures."""

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from petitpied.domain.errors import ExitCode
from petitpied.domain.settings import Settings
from petitpied.rim.commands.options import finite
from petitpied.rim.wording import printable

if TYPE_CHECKING:
    from petitpied.rim import batch

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
) -> None:
    """Measure every shell: a record, a table, outlines and an annotated picture a photo."""
    if relative and shell_height is not None:
        raise typer.BadParameter("--shell-height has no use with --relative: there is no scale")
    settings = Settings(relative, shell_height, card_thickness, focal_35mm)
    raise typer.Exit(_inspect(photos, out, jobs, settings))


def _inspect(photos: list[Path], out: Path | None, jobs: int | None, settings: Settings) -> int:
    """One photo: its error is the command's. Several: every one is tried."""
    from petitpied.rim import batch
    from petitpied.rim.output_files import prepare_folder
    from petitpied.rim.photo_files import collect

    batch.one_thread_for_matrices()
    planned = batch.plan(collect(photos), out)
    if out is not None:
        prepare_folder(out)
    if len(planned) == 1:
        _tell(planned[0], batch.inspect_one(planned[0], settings))
        return ExitCode.OK
    import cv2  # noqa: F401  (a missing system library is told once, not for each photo)

    running = batch.run(planned, settings, jobs or batch.usable_cores())
    outcomes = {outcome.job: outcome for outcome in _with_progress(running, len(planned))}
    for job in planned:
        error = outcomes[job].error
        if error is None:
            _tell(job, outcomes[job].lines)
        else:
            typer.echo(str(error), err=True)
    failed = sum(outcome.error is not None for outcome in outcomes.values())
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
    typer.echo(f"  wrote {printable(str(job.result('')))}.json, .csv, .coco.json, .marked.jpg")
