"""`petitpied card`: the printable reference cards."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class Paper(StrEnum):
    """Choices of `card --paper`."""

    a4 = "a4"
    letter = "letter"
    both = "both"


def card(
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for the pages.")] = Path(),
    paper: Annotated[Paper, typer.Option(help="Size of the paper.")] = Paper.both,
    chart: Annotated[
        bool,
        typer.Option("--chart", help="The lens chart instead, also as a picture for a tablet."),
    ] = False,
) -> None:
    """Write the reference cards A to D, or the lens chart, as PDF, to be printed at 100 %."""
    from petitpied.rim.output_files import prepare_folder, write_all
    from petitpied.rim.print_card import card_pdf
    from petitpied.rim.print_chart import chart_pdf, chart_png

    names = ("a4", "letter") if paper is Paper.both else (paper.value,)
    if chart:
        pages = {out / f"lens_chart_{name}.pdf": chart_pdf(name) for name in names}
        pages[out / "lens_chart_screen.png"] = chart_png()
    else:
        pages = {out / f"card_{name}.pdf": card_pdf(name) for name in names}
    prepare_folder(out)
    write_all(pages)
    for path in pages:
        typer.echo(f"wrote {path}")
    typer.echo('Print at 100 % (not "fit to page"), then check the bar with a ruler: 100 mm.')
