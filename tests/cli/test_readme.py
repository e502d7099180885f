"""README and the handbook against the program: what they name is there, and all is named."""

import re
import shlex
from pathlib import Path

import pytest

from petitpied.domain.errors import ExitCode
from petitpied.handbook.pages import pages
from tests.cli.options_page import PAGE as OPTIONS_PAGE
from tests.cli.options_page import commands, page

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
#: largest size, bytes: what one reads, not what one searches
LARGEST = {"README.md": 12_000, "DEVELOPERS.md": 14_000}
INSTALL_AND_INSPECT = (
    "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/petitpied inspect "
    "sample_images/rose_white_parchment.jpg --out results"
)
INSTALL_AND_TEST = 'python3 -m venv .venv && .venv/bin/pip install -e ".[dev]" && .venv/bin/pytest'
COMMANDS = commands()
TEXTS = {"README": README} | {name: page.markdown for name, page in pages().items()}
HANDBOOK = "\n".join(text for name, text in TEXTS.items() if name not in {"README", "options"})
#: words after "petitpied" that are no command
NO_COMMANDS = {"COMMAND"}
#: a folder of the project, or a file with one of its kinds of names, as README writes them
FOLDERS = "calibration|sample_images|src|tests"
PATH = re.compile(rf"(?:(?:{FOLDERS})(?:/[\w.-]*\w)*|\b[A-Z]{{4,}}\.md)(?![\w/])")


def options_of(command):
    told = {o for p in command.params for o in (*p.opts, *p.secondary_opts) if o.startswith("-")}
    return {*told, "--help"}


def paths_named(text):
    """Paths in code marks, code blocks and links: running prose may say "tests" and mean tests."""
    marked = re.findall(r"```.*?```|`[^`\n]+`|\]\([^)\s]+\)", text, flags=re.DOTALL)
    return sorted({path for part in marked for path in PATH.findall(part)})


def lines_of_code(text):
    """Each line of a code block without its remark, and each code mark in prose."""
    for block in re.findall(r"```\w*\n(.*?)```", text, flags=re.DOTALL):
        yield from (line.removeprefix("$ ") for line in block.splitlines())
    prose = re.sub(r"```.*?```", "", text, flags=re.DOTALL)
    yield from (" ".join(mark.split()) for mark in re.findall(r"`([^`]+)`", prose))


def wrong_in(line):
    """What a command line names that the program does not have; None if it is no command line."""
    if not re.match(r"(?:\.venv[\\/]bin[\\/])?petitpied ", line):
        return None
    words = shlex.split(line, comments=True)[1:]
    while words and words[0] in {"--debug", "--version", "--help"}:
        words = words[1:]
    if not words or words[0] in NO_COMMANDS:
        return None
    name = next((n for n in (" ".join(words[:2]), words[0]) if n in COMMANDS), None)
    if name is None:
        group = any(known.startswith(f"{words[0]} ") for known in COMMANDS)
        return None if group and len(words) == 1 else line
    named = {word.split("=")[0] for word in words if re.match(r"--[a-z]", word)}
    return sorted(named - options_of(COMMANDS[name])) or None


@pytest.mark.parametrize("name", LARGEST)
def test_documents_stay_short_enough_to_be_read(name):
    assert (ROOT / name).stat().st_size <= LARGEST[name]


def test_the_page_of_options_is_current():
    told = OPTIONS_PAGE.read_text(encoding="utf-8")
    assert told == page(), "write it anew: PYTHONPATH=src python -m tests.cli.options_page"


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_told_on_a_page_of_its_task(command):
    assert f"petitpied {command}" in HANDBOOK


@pytest.mark.parametrize("name", TEXTS)
def test_command_lines_name_commands_and_options_that_there_are(name):
    assert [wrong for line in lines_of_code(TEXTS[name]) if (wrong := wrong_in(line))] == []


def test_wrong_command_lines_are_found():
    assert wrong_in("petitpied sort r.json --limits x.toml  # remark") is None
    assert wrong_in("petitpied history list --json") is None
    assert wrong_in("petitpied history") is None
    assert wrong_in("petitpied sort r.json --limit x.toml") == ["--limit"]
    assert wrong_in("petitpied sortt r.json") == "petitpied sortt r.json"


@pytest.mark.parametrize("name", TEXTS)
def test_options_named_in_prose_exist(name):
    known = {"--version", "--debug"}.union(*(options_of(c) for c in COMMANDS.values()))
    assert set(re.findall(r"(?<![\w-])--[a-z][\w-]+", TEXTS[name])) <= known


@pytest.mark.parametrize("line", [INSTALL_AND_INSPECT, INSTALL_AND_TEST])
def test_set_up_is_one_line_to_copy(line):
    assert line in README.splitlines()


def test_the_handbook_sets_up_as_readme_does():
    assert INSTALL_AND_INSPECT in pages()["install"].markdown.splitlines()


def test_the_search_for_paths_finds_them():
    text = "`src/a_b.c-d.py` [x](tests/y.jpg) `DEVELOPERS.md`, prose tests\n```\ncalibration\n```"
    assert paths_named(text) == ["DEVELOPERS.md", "calibration", "src/a_b.c-d.py", "tests/y.jpg"]


@pytest.mark.parametrize("name", TEXTS)
def test_paths_named_exist(name):
    assert [path for path in paths_named(TEXTS[name]) if not (ROOT / path).exists()] == []


def test_every_exit_status_is_explained():
    told = re.findall(r"^\| (\d+) \|", pages()["trouble"].markdown, flags=re.MULTILINE)
    assert list(map(int, told)) == sorted({*ExitCode, 2})  # 2: the command line's own


def test_messages_explained_are_messages_of_the_program():
    rows = [row for row in pages()["trouble"].markdown.splitlines() if row.startswith("| ")]
    said = [phrase for row in rows for phrase in re.findall(r'"([^"]+)"', row.split("|")[1])]
    source = "".join(p.read_text("utf-8") for p in (ROOT / "src" / "petitpied").rglob("*.py"))
    assert len(said) > 10
    assert [phrase for phrase in said if phrase not in source] == []
