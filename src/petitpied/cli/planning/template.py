"""`petitpied template`: a true-scale piping sheet."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from petitpied.cli.options.checks import finite

#: wider than any common macaron; smaller than its own growth is refused elsewhere
MAX_SIZE_MM = 200.0


class SheetPaper(StrEnum):
    """Choices of `template --paper`."""

    a4 = "a4"
    letter = "letter"
    a3 = "a3"


class SheetForm(StrEnum):
    """Choices of `template --form`."""

    round = "round"
    oval = "oval"
    heart = "heart"


def template(
    target: Annotated[
        float,
        typer.Option(
            min=5, max=MAX_SIZE_MM, callback=finite, metavar="MM",
            help="Diameter wanted of the baked shell.", show_default=False,
        ),
    ],
    records: Annotated[
        list[Path] | None,
        typer.Option(
            "--from", metavar="RECORD",
            help="Record with growth (inspected with --before); may be given several times.",
        ),
    ] = None,
    growth: Annotated[
        float | None,
        typer.Option(
            min=-50, max=100, callback=finite, metavar="MM",
            help="Baked minus piped diameter, by your ruler, where no record has it.",
        ),
    ] = None,
    spread: Annotated[
        float | None,
        typer.Option(
            min=0, max=20, callback=finite, metavar="MM",
            help="Spread of baked diameters (standard deviation), as inspect prints it.",
        ),
    ] = None,
    gap: Annotated[
        float,
        typer.Option(
            min=0, max=100, callback=finite, metavar="MM",
            help="Least gap wanted between two mean baked shells.",
        ),
    ] = 8.0,
    risk: Annotated[
        float,
        typer.Option(
            min=0.001, max=0.5, callback=finite, metavar="SHARE",
            help="Chance that any two shells of the sheet touch, at most.",
        ),
    ] = 0.05,
    form: Annotated[SheetForm, typer.Option(help="What is piped.")] = SheetForm.round,
    paper: Annotated[SheetPaper, typer.Option(help="Size of the paper.")] = SheetPaper.a4,
    tray: Annotated[
        str | None,
        typer.Option(
            metavar="WxD",
            help="Inner size of the tray in mm, as 420x320 (door at a long side: width first); "
            "prints pages to glue.",
        ),
    ] = None,
    card: Annotated[
        bool, typer.Option("--card/--no-card", help="Keep a place free for the card.")
    ] = True,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for the PDF.")] = Path(),
) -> None:  # fmt: skip
    """Write a piping sheet: rounds of the size that bakes to the target, far enough apart."""
    from petitpied.cli.planning import piping_sheet
    from petitpied.figures.print.print_template import template_pdf
    from petitpied.files.output_files import prepare_folder, write_all

    if records and growth is not None:
        raise typer.BadParameter("--growth has no use with --from: the records tell the growth")
    measured = piping_sheet.growth_from_records(tuple(records or ()))
    if measured is None:
        measured = piping_sheet.growth_entered(growth, spread)
    wanted = piping_sheet.Wanted(
        target, form.value, gap, risk, card, piping_sheet.sheet_size(tray, paper.value)
    )
    planned = piping_sheet.plan(wanted, measured)
    path = out / f"piping_{form.value}_{target:g}mm_{paper.value}.pdf"
    data = template_pdf(planned.template, paper.value)
    prepare_folder(out)
    write_all({path: data})
    for line in planned.lines:
        typer.echo(line)
    typer.echo(f"wrote {path}")
