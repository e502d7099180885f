"""``petitpied handbook``: the list, a page, and a name that is no page."""

import pytest

from petitpied.cli.main import MODULES
from petitpied.handbook.pages import contents, page_about, pages


def test_the_list_names_every_page_and_part(petitpied):
    status, out, err = petitpied("handbook")
    assert (status, err) == (0, "")
    for part, inside in contents():
        assert part in out
        for page in inside:
            assert f"  {page.name} " in out
            assert page.title in out


@pytest.mark.parametrize("name", pages())
def test_a_page_is_shown_as_text_that_fits_a_terminal(petitpied, monkeypatch, name):
    monkeypatch.setenv("COLUMNS", "80")
    status, out, err = petitpied("handbook", name)
    assert (status, err) == (0, "")
    assert pages()[name].title in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80
    assert "\x1b" not in out  # no colours where nobody sees them
    assert "<!--" not in out


def test_a_name_may_be_written_another_way(petitpied):
    assert petitpied("handbook", "Whole-Job") == petitpied("handbook", "whole_job")


def test_a_page_that_is_not_there_is_told_with_the_nearest(petitpied):
    status, out, err = petitpied("handbook", "pair")
    assert status == 2
    assert out == ""
    assert "did you mean pairs" in err
    assert "lists the pages" in petitpied("handbook", "\x1b[2J")[2]
    assert "\x1b[2J" not in petitpied("handbook", "\x1b[2J")[2]


@pytest.mark.parametrize("command", MODULES)
def test_help_of_a_command_names_its_page(petitpied, command):
    name = command.replace("_", "-")
    page = page_about(name)
    if name in {"handbook", "demo", "schema"}:
        assert page is None
        return
    assert f"How to: petitpied handbook {page.name}" in petitpied(name, "--help")[1]
