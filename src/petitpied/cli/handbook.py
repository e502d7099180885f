"""``petitpied handbook``: how to do each task, one page a task, in the terminal."""

from typing import Annotated

import typer


def handbook(
    name: Annotated[
        str | None,
        typer.Argument(metavar="PAGE", help="Page to show, as pairs; without it, list them."),
    ] = None,
) -> None:
    """How to do each task: list the pages, or show one."""
    from rich.console import Console
    from rich.markdown import Markdown

    from petitpied.handbook.pages import contents, for_a_terminal, pages

    if name is None:
        width = max(map(len, pages()))
        for part, inside in contents():
            typer.echo(f"{part}")
            for page in inside:
                typer.echo(f"  {page.name:{width}}  {page.title}")
        typer.echo("\nShow a page: petitpied handbook pairs")
        return
    page = pages().get(name.strip().lower().replace("-", "_").removesuffix(".md"))
    if page is None:
        _no_such_page(name, sorted(pages()))
        return
    Console(highlight=False).print(Markdown(for_a_terminal(page.markdown), code_theme="bw"))


def _no_such_page(name: str, known: list[str]) -> None:
    from difflib import get_close_matches

    from petitpied.text.wording import printable

    like = get_close_matches(name, known, n=1)
    next_step = f"did you mean {like[0]}?" if like else "petitpied handbook lists the pages."
    raise typer.BadParameter(
        f"the handbook has no page {printable(name)[:60]}: {next_step}", param_hint="PAGE"
    )
