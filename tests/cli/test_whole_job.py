"""The whole job as the handbook tells it: every command in order, its output as shown there.

`.ci/run` does the same with README's first command in a fresh clone, and walks through
`petitpied demo` from the installed package.
"""

import shlex
import sys
from pathlib import Path

import pytest

from petitpied.cli.main import main
from petitpied.handbook.pages import pages
from tests.cli.console_session import disagreement, same_line, sessions
from tests.cli.test_readme import COMMANDS

SAMPLES = Path(__file__).parents[2] / "sample_images"
#: commands that the session cannot show: they need photos of a lens chart or several of one
#: tray, or are the whole walk themselves
NOT_SHOWN = {"lens", "repeatability", "demo", "schema", "handbook"}


@pytest.fixture
def kitchen(tmp_path, monkeypatch):
    """An empty folder with the sample photos, and a home of its own."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sample_images").symlink_to(SAMPLES, target_is_directory=True)
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "HOME", "LOCALAPPDATA", "APPDATA"):
        monkeypatch.setenv(name, str(tmp_path / "home"))
    return tmp_path


def printed_by(command, monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", shlex.split(command))
    status = 0
    try:
        main()
    except SystemExit as end:
        status = end.code or 0
    shown = capsys.readouterr()
    assert (status, shown.err) == (0, ""), command
    return shown.out.rstrip("\n").split("\n")


def test_every_command_of_the_page_prints_what_it_shows(kitchen, monkeypatch, capsys):
    told = sessions(pages()["whole_job"].markdown)
    wanted = {name.split()[0] for name in COMMANDS} - NOT_SHOWN
    assert {t.command.split()[1] for t in told} >= wanted
    for one in told:
        printed = printed_by(one.command, monkeypatch, capsys)
        missing = disagreement(one.lines, printed)
        assert missing is None, f"$ {one.command}: {missing}\n" + "\n".join(printed)
    for name in ("report.html", "report.pdf", "sorted.jpg", "pairs.jpg", "marked.jpg"):
        assert (kitchen / "results" / f"rose_white_parchment.{name}").stat().st_size > 10_000


def test_numbers_may_differ_a_little_words_not():
    assert same_line("mean 45.07 mm", "mean 45.11 mm")
    assert not same_line("mean 45.07 mm", "mean 55.07 mm")
    assert not same_line("mean 45.07 mm", "median 45.07 mm")


def test_left_out_lines_are_where_the_page_says_so():
    printed = ["a 1", "b", "c"]
    assert disagreement(("a 1", "...", "c"), printed) is None
    assert disagreement(("...",), printed) is None
    assert disagreement(("a 1", "b"), printed) == "(more was printed: c)"
    assert disagreement(("a 1", "c"), printed) == "c"
    assert disagreement(("...", "d"), printed) == "d"
