"""The handbook's pages: their order, and what each is about."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

#: parts of the handbook and their pages, in the order in which a baker comes to them
ORDER = {
    "Begin": ("install", "card", "photo", "whole_job", "cautions"),
    "Every bake": ("measure", "limits", "pairs", "boxes", "report"),
    "Over many bakes": ("history", "oven", "trend"),
    "Before piping": ("piping", "batch"),
    "How sure it is": ("measures", "lens", "faults", "colour", "repeat", "lots"),
    "To look things up": ("trouble", "files", "options"),
}
#: where a page stands that has no place yet
UNPLACED = "More"
#: pages that show every command, and so are about none
ABOUT_ALL = ("whole_job", "options")


@dataclass(frozen=True, slots=True)
class Page:
    """One page; ``gist``: what it is about, the sentence under its title."""

    name: str
    title: str
    gist: str
    markdown: str


@cache
def pages() -> dict[str, Page]:
    """Every page by name, in no order; a Markdown file in this folder is a page."""
    found = (f for f in files(__package__).iterdir() if f.name.endswith(".md"))
    return {
        file.name.removesuffix(".md"): _page(file.name.removesuffix(".md"), file.read_text("utf-8"))
        for file in sorted(found, key=lambda file: file.name)
    }


def contents() -> Iterator[tuple[str, tuple[Page, ...]]]:
    """The handbook's parts with their pages, in order."""
    known = pages()
    for part, names in ORDER.items():
        yield part, tuple(known[name] for name in names)
    placed = {name for names in ORDER.values() for name in names}
    rest = tuple(page for name, page in known.items() if name not in placed)
    if rest:
        yield UNPLACED, rest


def page_about(command: str) -> Page | None:
    """The first page, in the handbook's order, with a line of code that begins with a command."""
    line = re.compile(rf"^petitpied {re.escape(command)}(?: |$)", re.MULTILINE)
    inside = (page for _, part in contents() for page in part if page.name not in ABOUT_ALL)
    return next((page for page in inside if line.search(page.markdown)), None)


def _page(name: str, markdown: str) -> Page:
    title, gist, *_ = re.split(r"\n\n+", markdown.strip())
    return Page(name, title.removeprefix("# "), " ".join(gist.split()), markdown)


def for_a_terminal(markdown: str) -> str:
    """Markdown without what a terminal cannot do: remarks, links to pages, pictures."""
    text = re.sub(r"<!--.*?-->\n?", "", markdown, flags=re.DOTALL)
    text = re.sub(r"!\[([^\]]*)\]\([^)\s]*\)", r"*(Picture: \1)*", text)
    return re.sub(r"\[([^\]]*)\]\((?!https?:)[^)\s]*\)", r"\1", text)
