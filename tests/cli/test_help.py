"""Help: commands by task, examples that are commands, no page longer than a screen of 40 lines."""

import re
import shlex

import pytest

from petitpied.cli.help_pages import EXAMPLES, _in_words
from petitpied.cli.main import MODULES
from tests.cli.test_readme import COMMANDS

TOP = {name.replace("_", "-") for name in MODULES}


def test_every_command_has_three_examples():
    assert set(EXAMPLES) == TOP
    assert all(len(examples) == 3 for examples in EXAMPLES.values())


@pytest.mark.parametrize("name", sorted(TOP))
def test_examples_use_options_that_exist(name):
    for example in EXAMPLES[name]:
        words = shlex.split(example)
        command = COMMANDS.get(" ".join(words[:2])) or COMMANDS[words[0]]
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
    types = re.findall(r"<[a-z]+>|<[a-z ]*range>|\\[Path\\]", out)  # a choice has "|" in it
    assert types == []
    assert "\x1b" not in out


def test_types_and_ranges_in_words():
    assert _in_words("PHOTO... <list[Path]>", "Photos.  [required]") == ("PHOTO...", "Photos.")
    assert _in_words("--jobs <int range>", "So many.  [x>=1]")[1] == "So many. (1 or more)"
    assert _in_words("--jobs <int range>", "So many.  [x>=1]")[0] == "--jobs N"
    assert _in_words("--gap MM", "Gap. [default: 8.0; 0<=x<=100]")[1] == "Gap. (else 8.0; 0 to 100)"
