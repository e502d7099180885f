"""README against the program: commands, options and files that it names are there."""

import re
from pathlib import Path

import pytest
import typer

from petitpied.cli.main import DEBIAN_PACKAGES, app

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
INSTALL_AND_INSPECT = (
    "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/petitpied inspect "
    "sample_images/rose_white_parchment.jpg --out results"
)
INSTALL_AND_TEST = 'python3 -m venv .venv && .venv/bin/pip install -e ".[dev]" && .venv/bin/pytest'


def commands_of(group, before=""):
    """All commands by what a baker types, those of groups too."""
    for name, command in group.commands.items():
        yield before + name, command
        if hasattr(command, "commands"):
            yield from commands_of(command, f"{before}{name} ")


COMMANDS = dict(commands_of(typer.main.get_command(app)))
#: a folder of the project, or a file with one of its kinds of names, as README writes them
FOLDERS = "calibration|sample_images|src|tests"
PATH = re.compile(rf"(?:(?:{FOLDERS})(?:/[\w.-]*\w)?|\b[A-Z]{{4,}}\.md)(?![\w/])")


def paths_named(text):
    """Paths in code marks, code blocks and links: running prose may say "tests" and mean tests."""
    marked = re.findall(r"```.*?```|`[^`\n]+`|\]\([^)\s]+\)", text, flags=re.DOTALL)
    return sorted({path for part in marked for path in PATH.findall(part)})


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_stands_in_the_readme(command):
    assert f"petitpied {command}" in README


@pytest.mark.parametrize("command", COMMANDS)
def test_every_option_stands_in_the_readme(command):
    options = {o for p in COMMANDS[command].params for o in p.opts if o.startswith("--")}
    assert {o for o in options if o not in README} == set()


def test_options_in_the_readme_exist():
    known = {o for c in COMMANDS.values() for p in c.params for o in (*p.opts, *p.secondary_opts)}
    known |= {"--version", "--help", "--debug"}
    assert set(re.findall(r"(?<![\w-])--[a-z][\w-]+", README)) <= known


@pytest.mark.parametrize("line", [INSTALL_AND_INSPECT, INSTALL_AND_TEST])
def test_set_up_is_one_line_to_copy(line):
    assert line in README.splitlines()


def test_the_search_for_paths_finds_them():
    text = "`src/a_b.c-d.py` [x](tests/y.jpg) `DEVELOPERS.md`, prose tests\n```\ncalibration\n```"
    assert paths_named(text) == ["DEVELOPERS.md", "calibration", "src/a_b.c-d.py", "tests/y.jpg"]


@pytest.mark.parametrize("path", paths_named(README))
def test_paths_in_the_readme_exist(path):
    assert (ROOT / path).exists()


def test_system_packages_are_those_that_the_command_names():
    assert DEBIAN_PACKAGES in README


def test_figures_have_their_place():
    assert README.index("<!-- figures -->") < README.index("<!-- /figures -->")
