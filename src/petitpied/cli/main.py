"""The command line: the commands' list, and errors told in one sentence."""

import errno
import io
import os
import sys
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from importlib import import_module
from typing import Annotated, NoReturn, TextIO, cast

import typer

from petitpied import __version__
from petitpied.cli.help_pages import CommandHelp, TaskHelp, examples, plain, settings
from petitpied.domain.errors import ExitCode, ReadingError
from petitpied.running.interrupts import ALWAYS, Interrupted, interruptible
from petitpied.running.masking import MaskedStream, masked, secrets_in
from petitpied.text.wording import printable

#: commands by part of the job, in the order of the job, as help lists them; and the module of
#: `petitpied.cli` in which the function of that name, or the group's ``app``, is
PARTS = {
    "Every bake": {
        "bake": "evening.bake",
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
        "trend": "bakes.trend",
        "causes": "bakes.causes",
    },
    "Before piping": {"template": "planning.template", "batch": "planning.batch"},
    "Once, to set up": {
        "setup": "evening.setup",
        "card": "measuring.card",
        "lens": "measuring.lens",
        "limits": "lots.limits",
        "flavour": "lots.flavour",
    },
    "How sure is it": {
        "review": "measuring.review",
        "agreement": "measuring.agreement",
        "repeatability": "measuring.repeatability",
        "label": "lots.label",
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
    "Begin with: petitpied setup, then petitpied bake PHOTO... See it done on made-up trays: "
    "petitpied demo. Every command has its own --help."
)
#: options that take words, not names of files: empty ones count as not given
MAY_BE_EMPTY = {
    *("oven", "rack", "turn", "at", "set-temperature", "liner", "rest-minutes", "humidity"),
    *("flavour", "batch", "note", "title", "oven-effect", "hand-effect"),
}
WRONG_USAGE = 2  # the command line's own


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
        cls=TaskHelp,
        no_args_is_help=True,
        context_settings=settings(),
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
    )
    program.callback()(options)
    for name in names:
        module = import_module(f"petitpied.cli.{MODULES[name]}")
        if name in GROUPS:
            group = plain(module.app)
            program.add_typer(group, rich_help_panel=PART_OF[name], epilog=_epilog(name))
        else:
            panel, below = PART_OF[name], _epilog(name)
            told = program.command(cls=CommandHelp, rich_help_panel=panel, epilog=below)
            told(getattr(module, name))
    return program


def _epilog(name: str) -> str | None:
    """Under a command's help: three examples, and the name of its page of the handbook."""
    if "--help" not in sys.argv:
        return None
    from petitpied.handbook.pages import page_about

    page = page_about(name.replace("_", "-"))
    how = "" if page is None else f"\n\nHow to: petitpied handbook {page.name}"
    return (examples(name.replace("_", "-")) + how) or None


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
    arguments = sys.argv[1:]
    debug = "--debug" in arguments
    for stream in (sys.stdout, sys.stderr):  # a terminal without "±" shows "?" instead
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    with _masked_streams(arguments):
        try:
            with interruptible():
                _refuse_empty_names(arguments)
                _asked_for(arguments)()
        except Interrupted as stop:
            _stop(f"stopped: {stop.done or ALWAYS}.", stop.exit_code)
        except ReadingError as error:
            _stop(_traced(error) if debug else str(error), error.exit_code)
        except OSError as error:
            if _is_output(error):
                _output_lost(error)
            _stop(_traced(error) if debug else _fault(error), ExitCode.FAULT)
        except Exception as error:
            _stop(_traced(error) if debug else _fault(error), ExitCode.FAULT)


@contextmanager
def _masked_streams(arguments: Sequence[str]) -> Iterator[None]:
    """Where the command line holds a secret, nothing that is shown does."""
    secrets = secrets_in(arguments)
    if not secrets:
        yield
        return
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (cast(TextIO, MaskedStream(s, secrets)) for s in before)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


def _traced(error: BaseException) -> str:
    """For --debug: where it arose, with whatever looks like a secret taken out."""
    return masked("".join(traceback.format_exception(error)).rstrip("\n"))


def _refuse_empty_names(arguments: Sequence[str]) -> None:
    """An empty name is no file: it would stand for the current folder."""
    for before, argument in zip(("", *arguments), arguments, strict=False):
        option = before if argument == "" else argument.removesuffix("=")
        empty = argument == "" or (argument.startswith("--") and argument.endswith("="))
        if empty and option.lstrip("-") not in MAY_BE_EMPTY:
            _stop("an empty name was given: name a file or a folder.", WRONG_USAGE)


def _is_output(error: OSError) -> bool:
    """Written to a terminal, pipe or device, not to a file: those are told where they arise."""
    known = {errno.ENOSPC, errno.EIO, errno.EPIPE, errno.EFBIG, errno.EBADF}
    return error.filename is None and error.errno in known


def _output_lost(error: OSError) -> NoReturn:
    """Nobody reads on, or the device is full: what was not shown yet goes nowhere."""
    with suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    if error.errno == errno.EPIPE:
        sys.exit(128 + 13)  # as if ended by SIGPIPE
    why = (error.strerror or "it cannot be written").lower()
    _stop(
        f"what was to be shown is cut short: {why}; let the output go to the screen or to a file "
        "on a disk with room. Files that were said to be written are whole.",
        ExitCode.OUTPUT,
    )


def _fault(error: Exception) -> str:
    what = printable(masked(str(error)))[:200]
    return (
        f"unforeseen fault: {type(error).__name__}: {what}; "
        "run again with --debug before the command's name and report what is shown."
    )


def _stop(message: str, code: int) -> NoReturn:
    with suppress(OSError):
        typer.echo(message, err=True)
    sys.exit(code)
