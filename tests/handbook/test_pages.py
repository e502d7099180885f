"""The handbook's pages: whole, in order, linked, and legible in a terminal."""

import re

import pytest

from petitpied.handbook.pages import ORDER, UNPLACED, contents, for_a_terminal, pages


def test_every_page_is_listed_once():
    listed = [page.name for _, inside in contents() for page in inside]
    assert sorted(listed) == sorted(pages())
    assert {part for part, _ in contents()} <= {*ORDER, UNPLACED}


@pytest.mark.parametrize("name", pages())
def test_a_page_begins_with_its_title_and_one_sentence(name):
    page = pages()[name]
    assert page.markdown.startswith(f"# {page.title}\n")
    assert len(page.title) < 60
    assert page.gist.endswith(".")
    assert "\n" not in page.gist
    assert len(page.gist) <= 160  # two lines of a terminal


@pytest.mark.parametrize("name", pages())
def test_links_to_other_pages_lead_somewhere(name):
    for text, target in re.findall(r"\[([^\]]*)\]\((\w+)\.md\)", pages()[name].markdown):
        assert target in pages()
        assert text == f"`petitpied handbook {target}`"  # the same in the terminal


def test_a_terminal_gets_words_in_place_of_links_and_pictures():
    text = "<!-- remark -->\nSee [`petitpied handbook x`](x.md), ![A card.](a/b.png)"
    assert for_a_terminal(text) == "See `petitpied handbook x`, *(Picture: A card.)*"
