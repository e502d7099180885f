"""`petitpied demo`: a made-up kitchen, and the whole job walked through on it."""

from pathlib import Path
from typing import Annotated

import typer


def demo(
    out: Annotated[
        Path, typer.Option(metavar="DIR", help="A new folder for the made-up kitchen.")
    ] = Path("petitpied_demo"),
) -> None:
    """Show the whole job on six trays of a made-up kitchen, command by command."""
    from petitpied.cli.demo_walk import run_demo

    run_demo(out)
