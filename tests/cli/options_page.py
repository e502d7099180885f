"""The handbook's page of options, made from the commands themselves.

``PYTHONPATH=src python -m tests.cli.options_page`` writes it anew.
"""

from collections.abc import Iterator
from enum import Enum
from pathlib import Path
from typing import Any

import typer

from petitpied.cli.main import MODULES, PART_OF, PARTS, app

PAGE = Path(__file__).parents[2] / "src" / "petitpied" / "handbook" / "options.md"
HEAD = """\
# Every command and its options

What `petitpied COMMAND --help` says, for all commands, in one place.

<!-- Made from the code by tests/cli/options_page.py: change the commands' help, not this page. -->

Before the command's name: `--version` shows the version, `--debug` where in the program an error
arose. `--help` stands after every command.
"""
#: what an option without a metavar of its own takes
KINDS = {int: "N", float: "X", str: "TEXT", Path: "FILE"}


def commands_of(group: Any, before: str = "") -> Iterator[tuple[str, Any]]:
    """All commands by what a baker types, those of groups too, groups themselves left out."""
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from commands_of(command, f"{before}{name} ")
        else:
            yield before + name, command


def commands() -> dict[str, Any]:
    """Every command of the program, in the order in which help lists its parts."""
    known = dict(commands_of(typer.main.get_command(app)))
    order = [name.replace("_", "-") for name in MODULES]
    return dict(sorted(known.items(), key=lambda pair: order.index(pair[0].split()[0])))


def is_option(given: Any) -> bool:
    return bool(given.opts and given.opts[0].startswith("-"))


def kind_of(given: Any) -> str:
    """What stands after an option: MM, FILE, a4|letter; nothing after a switch."""
    if given.metavar:
        return str(given.metavar)
    if getattr(given, "is_flag", False):
        return ""
    kind = given.type_descriptor.annotation
    if isinstance(kind, type) and issubclass(kind, Enum):
        return "|".join(str(choice.value) for choice in kind)
    return KINDS[kind] if is_option(given) else str(given.name).upper()


def row(given: Any) -> str:
    names = [*given.opts, *given.secondary_opts] if is_option(given) else []
    kind = kind_of(given).replace("|", "\\|")
    shown = ", ".join(f"`{name}{' ' * bool(kind)}{kind}`" for name in names) or f"`{kind}`"
    told = " ".join((given.help or "").split()).replace("|", "\\|")
    if given.required and is_option(given):
        told += " Must be given."
    default = getattr(given.default, "value", given.default)
    if default == Path():
        default = "the current folder"
    if default is not None and not isinstance(default, bool) and given.show_default is True:
        told += f" Usually {default}."
    return f"| {shown} | {told} |"


def section(name: str, command: Any) -> Iterator[str]:
    needed = [kind_of(p) for p in command.params if not is_option(p)]
    yield f"### `{' '.join(['petitpied', name, *needed])}`\n"
    yield f"{' '.join((command.help or '').split())}\n"
    shown = [p for p in command.params if not getattr(p, "hidden", False) and p.name != "help"]
    if shown:
        yield "| | |\n|---|---|"
        yield from map(row, shown)
        yield ""


def page() -> str:
    """The page as Markdown."""
    lines = [HEAD]
    part = ""
    for name, command in commands().items():
        here = PART_OF[name.split()[0].replace("-", "_")]
        if here != part:
            lines.append(f"## {here}\n")
        part = here
        lines.extend(section(name, command))
    assert set(PART_OF.values()) == set(PARTS)
    return "\n".join(lines).rstrip("\n") + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    print(f"wrote {PAGE}")
