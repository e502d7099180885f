"""`petitpied demo`: a made-up kitchen, and the whole job walked through on it."""

from pathlib import Path
from typing import Annotated

import typer


def demo(
    out: Annotated[
        Path, typer.Option(metavar="DIR", help="A new folder for the made-up kitchen.")
    ] = Path("petitpied_demo"),
    whole: Annotated[
        bool, typer.Option("--all", help="The long walk: every command, on six trays.")
    ] = False,
) -> None:
    """Show an evening of a made-up kitchen: set up, bake, and the page; or the whole job."""
    from petitpied.cli.demo_walk import evening, run_demo, steps

    run_demo(out, steps() if whole else evening())
