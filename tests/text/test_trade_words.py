"""Words of the trade: what bakers read holds none of the laboratory's."""

import ast
from pathlib import Path

import pytest

from petitpied.handbook.pages import pages
from tests.text.trade_words import CURIOUS, STRANGE, strange_in

PACKAGE = Path(__file__).resolve().parents[2] / "src" / "petitpied"
#: pages that define measures as standards do, the handbook's part for the curious
DEFINE = {"measures", "colour"}



def sentences(path):
    """Texts of a module that may reach a baker: with a space, no docstring, no pattern."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    docs = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            parts = [p.value for p in node.values if isinstance(p, ast.Constant)]
            yield " ".join(map(str, parts))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
            if id(node) not in docs and " " in text.strip() and "(?" not in text:
                yield text


@pytest.mark.parametrize("folder", ["text", "report", "figures", "cli", "camera", "files/own"])
def test_no_sentence_of_the_program_has_them(folder):
    found = [
        (path.name, text)
        for path in sorted((PACKAGE / folder).rglob("*.py"))
        for text in sentences(path)
        if STRANGE.search(text) and not CURIOUS.search(text)
    ]
    assert found == []


@pytest.mark.parametrize("name", sorted(pages().keys() - DEFINE))
def test_no_page_of_the_handbook_has_them(name):
    assert strange_in(pages()[name].markdown.splitlines()) == []


def test_readme_has_them_not():
    readme = PACKAGE.parents[1] / "README.md"
    assert strange_in(readme.read_text(encoding="utf-8").splitlines()) == []


def test_the_search_finds_them():
    assert strange_in(["a shell that leans"]) == ["a shell that leans"]
    assert strange_in(["colour: 3 ΔE"])
    assert strange_in(["diameter 43 mm, z +6.3"])
    assert not strange_in(["for the curious: AQL 4 %"])
    assert not strange_in(["For the curious (p: ...):", "  airflow p 0.03 (Hotelling)"])
    assert strange_in(["for the curious: x", "kappa 0.4"])
    assert not strange_in(["a clean cap, a line, the mat"])
