"""`petitpied card`: the printable reference cards, the lens chart, and the print's true scale."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from petitpied.cli.options.checks import finite


class Paper(StrEnum):
    """Choices of `card --paper`."""

    a4 = "a4"
    letter = "letter"
    both = "both"


class Letter(StrEnum):
    """Choices of `card --letter`."""

    A = "A"
    B = "B"
    C = "C"
    D = "D"


def card(
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for the pages.")] = Path(),
    paper: Annotated[Paper, typer.Option(help="Size of the paper.")] = Paper.both,
    chart: Annotated[
        bool,
        typer.Option("--chart", help="The lens chart instead, also as a picture for a tablet."),
    ] = False,
    check: Annotated[
        bool,
        typer.Option(
            "--check", help="Measure how true your cards are printed, and remember it for them."
        ),
    ] = False,
    bar: Annotated[
        float | None,
        typer.Option(
            min=50,
            max=150,
            callback=finite,
            metavar="MM",
            help="With --check: the printed bar as your ruler measures it; else you are asked.",
        ),
    ] = None,
    photo: Annotated[
        Path | None,
        typer.Option(
            help="With --check: a photo of a printed card and a bank card (ID-1) side by side."
        ),
    ] = None,
    letter: Annotated[
        list[Letter] | None,
        typer.Option(help="With --check: for this card only; else for all four.", metavar="LETTER"),
    ] = None,
) -> None:
    """Write the reference cards A to D, or the lens chart, as PDF; or check their print."""
    if not check and (bar is not None or photo is not None or letter):
        raise typer.BadParameter("--bar, --photo and --letter belong to --check")
    if check:
        if chart or (bar is not None and photo is not None):
            raise typer.BadParameter("--check takes one of --bar and --photo, and no --chart")
        _check(bar, photo, tuple(each.value for each in letter or Letter))
        return
    _write(out, ("a4", "letter") if paper is Paper.both else (paper.value,), chart)


def _write(out: Path, papers: tuple[str, ...], chart: bool) -> None:
    from petitpied.figures.print.print_card import card_pdf
    from petitpied.figures.print.print_chart import chart_pdf, chart_png
    from petitpied.files.output_files import prepare_folder, write_all

    if chart:
        pages = {out / f"lens_chart_{name}.pdf": chart_pdf(name) for name in papers}
        pages[out / "lens_chart_screen.png"] = chart_png()
    else:
        pages = {out / f"card_{name}.pdf": card_pdf(name) for name in papers}
    prepare_folder(out)
    write_all(pages)
    for path in pages:
        typer.echo(f"wrote {path}")
    typer.echo('Print at 100 % (not "fit to page"), then check the bar with a ruler: 100 mm.')


def _check(bar_mm: float | None, photo: Path | None, letters: tuple[str, ...]) -> None:
    """The bar's length by ruler or from a photo; remembered for the cards."""
    from petitpied.files.own.print_scales import keep_print_scale
    from petitpied.text.wording import printable

    if photo is not None:
        bar_mm = _bar_by_photo(photo)
    elif bar_mm is None:
        asked = typer.prompt("Length of the printed 100 mm bar by your ruler, mm", type=float)
        bar_mm = finite(asked)
        if bar_mm is None or not 50 <= bar_mm <= 150:
            raise typer.BadParameter("a bar of 50 to 150 mm is expected")
    path = keep_print_scale(letters, bar_mm)
    which = "cards " + ", ".join(letters) if len(letters) > 1 else f"card {letters[0]}"
    if round(bar_mm, 2) == 100:
        typer.echo(f"{which}: printed true; nothing to allow for")
    else:
        typer.echo(f"{which}: printed at {bar_mm:.1f} %, allowed for from now on")
    typer.echo(f"wrote {printable(str(path))}")


def _bar_by_photo(path: Path) -> float:
    """What the 100 mm bar must measure, by an ID-1 card in the photo; 100 where within doubt."""
    from petitpied.camera.print_check import print_scale_of
    from petitpied.domain.quantity import Quantity
    from petitpied.files.photo_files import read_photo
    from petitpied.photo.decode import decode_photo
    from petitpied.text.wording import with_u95

    scale = print_scale_of(decode_photo(read_photo(path), path.name))
    bar = Quantity(100 * scale.value, 100 * scale.u_own)
    typer.echo(f"the 100 mm bar must measure {with_u95(bar, 'mm')} (± holds 95 %)")
    return 100.0 if abs(scale.value - 1) < scale.u95 else round(100 * scale.value, 2)
