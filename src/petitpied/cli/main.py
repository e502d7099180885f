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

#: commands by part of the job, in the order of the job, as help lists them; and the module of
#: `petitpied.cli` in which the function of that name, or the group's ``app``, is
PARTS = {
    "Every bake": {
        "inspect": "measuring.inspect",
        "sort": "lots.sort",
        "pair": "lots.pair",
        "box": "lots.box",
        "report": "lots.report",
        "log": "bakes.log",
    },
    "Over many bakes": {
        "history": "bakes.history",
        "oven_map": "bakes.oven_map",
        "oven_or_hand": "bakes.oven_or_hand",
        "next_bake": "bakes.next_bake",
        "trend": "bakes.trend",
        "causes": "bakes.causes",
    },
    "Before piping": {"template": "planning.template", "batch": "planning.batch"},
    "Once, to set up": {
        "card": "measuring.card",
        "lens": "measuring.lens",
        "limits": "lots.limits",
        "flavour": "lots.flavour",
    },
    "How sure is it": {
        "review": "measuring.review",
        "agreement": "measuring.agreement",
        "repeatability": "measuring.repeatability",
        "lot_check": "lots.lot_check",
    },
    "To learn and look things up": {
        "handbook": "handbook",
        "demo": "demo",
        "simulate": "bakes.simulate",
        "schema": "measuring.schema",
    },
}
GROUPS = ("flavour", "history")  # of commands
MODULES = {name: module for part in PARTS.values() for name, module in part.items()}
PART_OF = {name: part for part, names in PARTS.items() for name in names}
#: stands below the list of commands
WHERE_TO_BEGIN = (
    "Begin with: petitpied handbook. See it done on made-up trays: petitpied demo. "
    "Every command has its own --help."
)


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
        epilog=WHERE_TO_BEGIN,
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
    )
    program.callback()(options)
    for name in names:
        module = import_module(f"petitpied.cli.{MODULES[name]}")
        if name in GROUPS:
            program.add_typer(module.app, rich_help_panel=PART_OF[name], epilog=_read_on(name))
        else:
            told = program.command(rich_help_panel=PART_OF[name], epilog=_read_on(name))
            told(getattr(module, name))
    return program


def _read_on(name: str) -> str | None:
    """The line under a command's help that names its page of the handbook."""
    if "--help" not in sys.argv:
        return None
    from petitpied.handbook.pages import page_about

    page = page_about(name.replace("_", "-"))
    return None if page is None else f"How to: petitpied handbook {page.name}"


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
    return (
        f"unforeseen fault: {type(error).__name__}: {what}; "
        "run again with --debug before the command's name and report what is shown."
    )


def _stop(message: str, code: ExitCode) -> NoReturn:
    typer.echo(message, err=True)
    sys.exit(code)
