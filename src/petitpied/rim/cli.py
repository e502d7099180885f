"""The command line: the commands' list, and errors told in one sentence."""

import io
import sys
from typing import Annotated, NoReturn

import typer

from petitpied import __version__
from petitpied.domain.errors import ExitCode, ReadingError
from petitpied.rim.commands import flavour, history
from petitpied.rim.commands.agreement import agreement
from petitpied.rim.commands.batch import batch
from petitpied.rim.commands.box import box
from petitpied.rim.commands.card import card
from petitpied.rim.commands.causes import causes
from petitpied.rim.commands.demo import demo
from petitpied.rim.commands.inspect import inspect
from petitpied.rim.commands.lens import lens
from petitpied.rim.commands.limits import limits
from petitpied.rim.commands.log import log
from petitpied.rim.commands.lot_check import lot_check
from petitpied.rim.commands.oven_map import oven_map
from petitpied.rim.commands.oven_or_hand import oven_or_hand
from petitpied.rim.commands.pair import pair
from petitpied.rim.commands.repeatability import repeatability
from petitpied.rim.commands.report import report
from petitpied.rim.commands.review import review
from petitpied.rim.commands.schema import schema
from petitpied.rim.commands.simulate import simulate
from petitpied.rim.commands.sort import sort
from petitpied.rim.commands.template import template
from petitpied.rim.commands.trend import trend
from petitpied.rim.wording import printable

#: in the order of the job, as help lists them
COMMANDS = (
    card,
    lens,
    inspect,
    review,
    agreement,
    repeatability,
    limits,
    sort,
    pair,
    box,
    lot_check,
    log,
    oven_map,
    oven_or_hand,
    trend,
    causes,
    simulate,
    template,
    batch,
    report,
    demo,
    schema,
)
#: what OpenCV's desktop wheel needs from the system (its own list of linked libraries)
DEBIAN_PACKAGES = "libgl1 libglib2.0-0 libxcb1"

app = typer.Typer(
    name="petitpied",
    help="Measure every macaron shell on a tray from one photo with a printed card in it.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


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


for command in COMMANDS:
    app.command()(command)
app.add_typer(flavour.app)
app.add_typer(history.app)


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
