"""The command line: the commands' list, and errors told in one sentence."""

import io
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Annotated, NoReturn

import typer

from petitpied import __version__
from petitpied.domain.errors import ExitCode, ReadingError
from petitpied.text.wording import printable

#: commands in the order of the job, as help lists them, and the module of `petitpied.cli` in which
#: the function of that name is
COMMANDS = {
    "card": "measuring.card",
    "lens": "measuring.lens",
    "inspect": "measuring.inspect",
    "review": "measuring.review",
    "agreement": "measuring.agreement",
    "repeatability": "measuring.repeatability",
    "limits": "lots.limits",
    "sort": "lots.sort",
    "pair": "lots.pair",
    "box": "lots.box",
    "lot_check": "lots.lot_check",
    "log": "bakes.log",
    "oven_map": "bakes.oven_map",
    "oven_or_hand": "bakes.oven_or_hand",
    "trend": "bakes.trend",
    "causes": "bakes.causes",
    "simulate": "bakes.simulate",
    "template": "planning.template",
    "batch": "planning.batch",
    "report": "lots.report",
    "demo": "demo",
    "schema": "measuring.schema",
}
#: groups of commands, and their modules
GROUPS = {"flavour": "lots.flavour", "history": "bakes.history"}
MODULES = COMMANDS | GROUPS
#: what OpenCV's desktop wheel needs from the system (its own list of linked libraries)
DEBIAN_PACKAGES = "libgl1 libglib2.0-0 libxcb1"


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"petitpied {__version__}")
        raise typer.Exit


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


def _program(names: Sequence[str]) -> typer.Typer:
    """The program with these of its commands and groups."""
    program = typer.Typer(
        name="petitpied",
        help="Measure every macaron shell on a tray from one photo with a printed card in it.",
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
    )
    program.callback()(options)
    for name in names:
        module = import_module(f"petitpied.cli.{MODULES[name]}")
        if name in GROUPS:
            program.add_typer(module.app)
        else:
            program.command()(getattr(module, name))
    return program


def __getattr__(name: str) -> typer.Typer:
    """``app``: the whole program, put together when it is first asked for."""
    if name != "app":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    globals()["app"] = whole = _program(tuple(MODULES))
    return whole


def _asked_for(arguments: Sequence[str]) -> typer.Typer:
    """As much of the program as the command line needs: to load and lay out every command, to run
    one, takes 20 ms."""
    first = next((argument for argument in arguments if not argument.startswith("-")), None)
    names = [name for name in MODULES if name.replace("_", "-") == first]
    return _program(names or tuple(MODULES))


def main() -> None:
    """Entry point: errors become one sentence and the exit status of their class."""
    debug = "--debug" in sys.argv[1:]
    for stream in (sys.stdout, sys.stderr):  # a terminal without "±" shows "?" instead
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        _asked_for(sys.argv[1:])()
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
