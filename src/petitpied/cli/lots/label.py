"""`petitpied label`: a draft of what stands on a box."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from petitpied.cli.options.checks import Replace
from petitpied.files.shown_paths import shown_path


class LabelSheets(StrEnum):
    """Choices of `label --sheet`."""

    a4_8 = "a4-8"
    a4_4 = "a4-4"
    a4_14 = "a4-14"
    letter_6 = "letter-6"
    letter_10 = "letter-10"


def label(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="The label file (TOML).", show_default=False),
    ] = None,
    records: Annotated[
        list[Path] | None,
        typer.Option(
            "--from", metavar="RECORD",
            help="Record of a tray in the box; may be repeated: the lot leads back to it.",
        ),
    ] = None,
    lot: Annotated[
        str | None, typer.Option(metavar="CODE", help="A lot code of your own.")
    ] = None,
    sheet: Annotated[
        LabelSheets, typer.Option(help="Labels on a sheet: A4 or US Letter, so many.")
    ] = LabelSheets.a4_8,
    new: Annotated[
        bool, typer.Option("--new", help="Write a starter file to FILE (else label.toml).")
    ] = False,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for text and PDF.")] = Path(),
    replace: Replace = False,
) -> None:  # fmt: skip
    """Draft a box's label: ingredients, allergens, date, lot; check it with your authority."""
    from petitpied.cli.lots.label_job import drafted
    from petitpied.files.output_files import prepare_folder, write_all, write_new
    from petitpied.files.own.label_file import LABEL_STARTER

    if new:
        target = file or Path("label.toml")
        write_new(target, LABEL_STARTER.encode())
        typer.echo(f"wrote {shown_path(target)}: open it in a text editor and put in your own box")
        return
    if file is None:
        raise typer.BadParameter("give the label file; begin with: petitpied label --new")
    if lot is not None and not (lot.isprintable() and 0 < len(lot.strip()) <= 40):
        raise typer.BadParameter("--lot must be 1 to 40 letters")
    found = drafted(file, sheet.value, records or (), lot)
    prepare_folder(out)
    write_all({out / name: data for name, data in found.files.items()}, replace=replace)
    for line in found.lines:
        typer.echo(line)
    for name in found.files:
        typer.echo(f"wrote {shown_path(out / name)}: a draft, check it with your authority")
