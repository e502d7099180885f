"""Help: commands by task, examples that are commands, no page longer than a screen of 40 lines."""

import shlex
from importlib.resources import files

import pytest

from petitpied.cli.help_pages import EXAMPLES, TASKS, _in_words
from petitpied.domain.errors import ExitCode
from tests.cli.test_readme import COMMANDS

#: told of in the list of tasks before they are there
COMING = {"label"}
TOP = {name for name in COMMANDS if " " not in name}


def test_every_command_has_its_task_and_three_examples():
    told = [name for names in TASKS.values() for name in names]
    assert len(told) == len(set(told))
    assert TOP - set(told) == set()
    assert set(told) - TOP - COMING == set()
    assert set(EXAMPLES) == TOP
    assert all(len(examples) == 3 for examples in EXAMPLES.values())


@pytest.mark.parametrize("name", sorted(TOP))
def test_examples_use_options_that_exist(name):
    for example in EXAMPLES[name]:
        words = shlex.split(example)
        command = COMMANDS.get(" ".join(words[:2]), COMMANDS[words[0]])
        known = {o for p in command.params for o in (*p.opts, *p.secondary_opts)}
        used = {w.split("=")[0] for w in words if w.startswith("--")}
        assert used <= known, example


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_help_fits_forty_lines(petitpied, monkeypatch, name):
    monkeypatch.setenv("COLUMNS", "100")
    status, out, _ = petitpied(*name.split(), "--help")
    lines = out.rstrip().splitlines()
    assert status == 0
    assert len(lines) <= 40
    assert max(map(len, lines)) <= 100
    assert "<" not in out.replace("<round|oval|heart>", "") or "|" in out
    assert "\x1b" not in out


def test_types_and_ranges_in_words():
    assert _in_words("PHOTO... <list[Path]>", "Photos.  [required]") == ("PHOTO...", "Photos.")
    assert _in_words("--jobs <int range>", "At once.  [x>=1]") == ("--jobs N", "At once. (1 or more)")
    assert _in_words("--gap MM", "Gap. [default: 8.0; 0<=x<=100]")[1] == "Gap. (else 8.0; 0 to 100)"


def test_the_handbook_names_every_exit_code():
    page = files("petitpied.handbook").joinpath("exit_codes.md").read_text("utf-8")
    for code in ExitCode:
        assert f"| {code.value} |" in page
