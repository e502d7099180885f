"""`petitpied setup`: a few questions, once; the answers become `kitchen.toml`."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from petitpied.domain.errors import ExitCode, ReadingError
from petitpied.text.wording import printable

if TYPE_CHECKING:
    from petitpied.evening.kitchen_text import Answers

NEXT = "next: photograph tonight's trays with the card on them, then type petitpied bake PHOTO..."


def setup(
    check: Annotated[
        bool,
        typer.Option("--check", help="Say what in kitchen.toml is missing, wrong or never used."),
    ] = False,
    file: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="The file; else kitchen.toml in this folder.", show_default=False
        ),
    ] = None,
    mine: Annotated[
        bool, typer.Option("--mine", help="Write it into your own folder, for all folders.")
    ] = False,
    answer: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME=VALUE",
            help="An answer given here, not asked: name, paper, oven, racks, tray, form, target, "
            "tolerance, slots, slot or flavours, as oven='Deck 1' or tray=420x320. Repeatable.",
            show_default=False,
        ),
    ] = None,
    yes: Annotated[
        bool, typer.Option("--yes", help="Ask nothing: take the offered answers for the rest.")
    ] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over a kitchen.toml that is there.")
    ] = False,
) -> None:
    """Say once what your kitchen is like: oven, tray, sizes, gift box; then bake needs no more."""
    from petitpied.files.own_folders import KITCHEN_NAME, kitchen_file

    if check:
        raise typer.Exit(_check(file))
    target = file or (kitchen_file() if mine else Path(KITCHEN_NAME))
    _spare(target, replace=replace)
    text = _asked(_given(answer or []), quiet=yes)
    _write(target, text, replace=replace)
    shown = printable(str(target))
    typer.echo(f"wrote {shown}: change it in a text editor whenever you like")
    typer.echo(NEXT)


def _spare(target: Path, *, replace: bool) -> None:
    """Before any question: the baker's own file is not written over unasked."""
    from petitpied.domain.errors import OutputError

    if target.exists() and not replace:
        raise OutputError(
            what=f"{printable(str(target))} was left as it is",
            why="you have one already",
            next_step="change it in a text editor and look it over with petitpied setup --check, "
            "or write it anew with --replace",
        )


def _write(target: Path, text: str, *, replace: bool) -> None:
    from petitpied.files.output_files import prepare_folder, write_all, write_new

    prepare_folder(target.parent)
    if replace:
        write_all({target: text.encode()}, replace=True)
    else:
        write_new(target, text.encode())


def _given(pairs: list[str]) -> dict[str, str]:
    """Answers on the command line."""
    given = {}
    for pair in pairs:
        name, equals, value = pair.partition("=")
        if not equals or name.strip() not in _questions():
            raise typer.BadParameter(
                f"--answer {printable(pair)[:60]}: write NAME=VALUE, with NAME one of "
                f"{', '.join(_questions())}"
            )
        given[name.strip()] = value.strip()
    return given


def _questions() -> Mapping[str, tuple[str, str, Any]]:
    """Name to question, offered answer and how it is read; in the order in which they are asked."""
    from petitpied.cli.evening import questions as q
    from petitpied.evening.kitchen import PAPERS, TRAY_MM
    from petitpied.piping.forms import Form

    forms = [form.value for form in Form]
    return {
        "name": ("Your kitchen's name, for reports and labels", "", q.name(needed=False)),
        "paper": ("Paper in your printer, a4 or letter", "a4", q.one_of(PAPERS)),
        "oven": ("What do you call your oven?", "oven", q.name()),
        "racks": ("Its racks that you use, from the top, with commas", "", q.name_list()),
        "tray": ("Your tray inside, width x depth in mm", "420x320", q.width_by_depth(*TRAY_MM)),
        "form": ("Are your shells round, oval or heart?", "round", q.one_of(forms)),
        "target": ("Diameter of a good baked shell, mm", "45", q.number(10, 200)),
        "tolerance": ("How much larger or smaller is still good, mm?", "2", q.number(0.2, 20)),
        "slots": ("Macarons in a gift box", "6", q.whole(1, 200)),
        "slot": ("Width of a slot in it, mm", "", q.number(10, 300)),
        "flavours": ("Flavours that you bake, with commas", "", q.name_list()),
    }


def _asked(given: Mapping[str, str], *, quiet: bool) -> str:
    """The file's text from answers given, asked, or offered."""
    from petitpied.cli.evening.questions import ask, can_ask
    from petitpied.evening.kitchen_text import SLOT_ROOM_MM, kitchen_text

    asking = can_ask() and not quiet
    if asking:
        typer.echo("A few questions, once. Enter takes the answer in brackets.")
    found: dict[str, Any] = {}
    for name, (question, usual, read) in _questions().items():
        offered = f"{found['target'] + SLOT_ROOM_MM:g}" if name == "slot" else usual
        if asking and name not in given:
            found[name] = ask(question, offered, read)
            continue
        try:
            found[name] = read(given.get(name, offered))
        except ValueError as error:
            raise typer.BadParameter(f"--answer {name}: {error}") from None
    return kitchen_text(_answers(found))


def _answers(found: Mapping[str, Any]) -> "Answers":
    from petitpied.evening.kitchen_text import Answers
    from petitpied.piping.forms import Form

    return Answers(
        name=found["name"],
        paper=found["paper"],
        oven=found["oven"],
        racks=found["racks"],
        tray_mm=found["tray"],
        form=Form(found["form"]),
        target_mm=found["target"],
        tolerance_mm=found["tolerance"],
        slots=found["slots"],
        slot_mm=found["slot"],
        flavours=found["flavours"],
    )


def _check(file: Path | None) -> ExitCode:
    """What is wrong, missing, never used, a line each; the status says whether all is usable."""
    from petitpied.cli.options.kitchen_parts import facts_of, letterhead_in
    from petitpied.evening.kitchen_check import missing_parts, never_used
    from petitpied.files.own.kitchen_files import find_kitchen, read_kitchen

    path = file or find_kitchen()
    if path is None:
        typer.echo("there is no kitchen.toml here, above, or in your own folder")
        typer.echo("start one with petitpied setup; until then the trade's usual limits are taken")
        return ExitCode.OK
    kitchen = read_kitchen(path)
    wrong: list[ReadingError] = list(kitchen.wrong)
    for read in (lambda: facts_of(kitchen), lambda: letterhead_in(kitchen, path)):
        try:
            read()
        except ReadingError as error:
            wrong.append(error)
    facts = {} if kitchen.facts is None else kitchen.facts.content
    missing, unused = missing_parts(kitchen), never_used(kitchen, facts)
    for fault in wrong:
        typer.echo(f"wrong: {fault}")
    for name, what in missing:
        typer.echo(f"missing: {name}; {what}")
    for name, why in unused:
        typer.echo(f"never used: {printable(name)}; {why}")
    if not (wrong or missing or unused):
        typer.echo("all is well")
    typer.echo(f"read: {printable(str(path))}")
    return ExitCode.OWN_FILE if wrong else ExitCode.OK
