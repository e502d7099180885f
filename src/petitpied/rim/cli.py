"""The command line. Heavy modules are imported inside the commands, so that help comes fast."""

import io
import math
import sys
from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from petitpied import __version__
from petitpied.domain.errors import ExitCode, ReadingError
from petitpied.domain.settings import Settings
from petitpied.rim.wording import printable

if TYPE_CHECKING:
    from petitpied.rim import batch

DEFAULTS = Settings()
#: what OpenCV's desktop wheel needs from the system (its own list of linked libraries)
DEBIAN_PACKAGES = "libgl1 libglib2.0-0 libxcb1"

app = typer.Typer(
    name="petitpied",
    help="Measure every macaron shell on a tray from one photo with a printed card in it.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


class Paper(StrEnum):
    """Choices of `card --paper`."""

    a4 = "a4"
    letter = "letter"
    both = "both"


def _finite(value: float | None) -> float | None:
    """ "nan" passes every range check of the option parser."""
    if value is not None and not math.isfinite(value):
        raise typer.BadParameter("must be a finite number")
    return value


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"petitpied {__version__}")
        raise typer.Exit


@app.callback()
def options(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version."),
    ] = False,
    debug: Annotated[
        bool, typer.Option("--debug", help="Show where in the program an error arose.")
    ] = False,
) -> None:
    """Options before the command's name."""


@app.command()
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
            callback=_finite,
            metavar="MM",
            help="Height of a typical shell by your ruler; edge shells get surer.",
        ),
    ] = None,
    card_thickness: Annotated[
        float,
        typer.Option(
            min=0,
            max=10,
            callback=_finite,
            metavar="MM",
            help="Thickness of the card as it lies on the liner.",
        ),
    ] = DEFAULTS.card_thickness_mm,
    focal_35mm: Annotated[
        float | None,
        typer.Option(
            min=5,
            max=2000,
            callback=_finite,
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


@app.command()
def card(
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for the pages.")] = Path(),
    paper: Annotated[Paper, typer.Option(help="Size of the paper.")] = Paper.both,
) -> None:
    """Write the reference cards A to D as PDF, to be printed at 100 %."""
    from petitpied.rim.output_files import prepare_folder, write_all
    from petitpied.rim.print_card import card_pdf

    names = ("a4", "letter") if paper is Paper.both else (paper.value,)
    pages = {out / f"card_{name}.pdf": card_pdf(name) for name in names}
    prepare_folder(out)
    write_all(pages)
    for path in pages:
        typer.echo(f"wrote {path}")
    typer.echo('Print at 100 % (not "fit to page"), then check the bar with a ruler: 100 mm.')


@app.command()
def schema() -> None:
    """Print the JSON Schema of the inspection record."""
    from petitpied.rim.record_files import schema_text

    typer.echo(schema_text(), nl=False)


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


def main() -> None:
    """Entry point: errors become one sentence and the exit status of their class."""
    debug = "--debug" in sys.argv[1:]
    for stream in (sys.stdout, sys.stderr):  # a terminal without "±" shows "?" instead
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        app()
    except ReadingError as error:
        if debug:
            raise
        _stop(str(error), error.exit_code)
    except Exception as error:
        if debug:
            raise
        _stop(_fault(error), ExitCode.FAULT)


def _fault(error: Exception) -> str:
    what = printable(str(error))[:200]
    if isinstance(error, ImportError) and ".so" in what:
        return (
            f"OpenCV cannot start: the system library {what.split(':')[0]} is missing; on Debian "
            f"or Ubuntu install what it needs with: sudo apt install {DEBIAN_PACKAGES}."
        )
    return (
        f"unforeseen fault: {type(error).__name__}: {what}; "
        "run again with --debug before the command's name and report what is shown."
    )


def _stop(message: str, code: ExitCode) -> NoReturn:
    typer.echo(message, err=True)
    sys.exit(code)
