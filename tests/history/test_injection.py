"""Texts that a spreadsheet would run or a browser would obey, through the history and out again.

The lists follow OWASP's on CSV injection and cross-site scripting, from memory.
"""

import csv
import re

from petitpied.history.store import open_store
from tests.history.bakes import log_bake, round_sizes

FORMULAS = (
    "=1+1", "+1+1", "-2+3", "@SUM(1+1)", "=HYPERLINK(\"http://x.example\";\"a\")",
    "=cmd|' /C calc'!A0", "=1+1\";=1+1", "%0A-2+3", ";=1+1", "＝1+1", "﹣1+1",
)  # fmt: skip
MARKUP = (
    "<script>alert(1)</script>", "\"><img src=x onerror=alert(1)>", "<svg/onload=alert(1)>",
    "</title><script>alert(1)</script>", "<a href=javascript:alert(1)>a</a>", "{{7*7}}",
    "<!--", "' onmouseover='alert(1)", "&lt;script&gt;", "<iframe srcdoc='<b>x'>",
)  # fmt: skip
#: what a spreadsheet takes for a formula where a cell begins with it
BEGINNINGS = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")


def bakes_named(path, texts):
    store = open_store(str(path))
    for n, text in enumerate(texts):
        log_bake(store, n, round_sizes(42), oven="Deck", note=text, flavour=text, batch=text)


def is_number(text):
    return re.fullmatch(r"[-+]?[0-9.]+(e[-+]?[0-9]+)?", text) is not None


def test_no_cell_of_an_export_is_a_formula(tmp_path, petitpied):
    db, table = tmp_path / "h.sqlite", tmp_path / "all.csv"
    bakes_named(db, FORMULAS)
    assert petitpied("history", "export", table, "--db", db)[0] == 0
    rows = list(csv.reader(table.read_text("utf-8").splitlines()))
    bad = {c for row in rows for c in row if c.startswith(BEGINNINGS) and not is_number(c)}
    assert bad == set()
    archive = tmp_path / "all.zip"
    assert petitpied("history", "export", archive, "--db", db)[0] == 0
    other = tmp_path / "other.sqlite"
    assert petitpied("history", "import", archive, "--db", other)[0] == 0
    notes = {facts.note for facts in open_store(str(other)).facts()}
    assert notes == set(FORMULAS)  # as they were


def test_no_text_becomes_markup_in_a_report(tmp_path, petitpied):
    db = tmp_path / "h.sqlite"
    bakes_named(db, MARKUP)
    report = ("report", "--since", "2025-01-01", "--title", MARKUP[3], "--out", tmp_path)
    assert petitpied(*report, "--db", db)[0] == 0
    page = (tmp_path / "report.html").read_text("utf-8")
    tags = {tag.lower() for tag in re.findall(r"<\s*/?\s*([a-zA-Z]+)", page)}
    assert not tags & {"script", "iframe", "img", "a"} or "onerror" not in page
    for text in MARKUP:
        if re.search("<[a-z/!]", text):
            assert text not in page
    assert not re.search(r"<[^>]+\son[a-z]+\s*=", page)
    assert "49" not in re.findall(r"flavour (\d+)", page)
