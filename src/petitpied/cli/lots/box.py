"""`petitpied box`: gift boxes from matched pairs."""

from pathlib import Path
from typing import Annotated

import typer

from petitpied.cli.options import lot_options as option
from petitpied.cli.options.checks import Replace, finite
from petitpied.files.shown_paths import shown_path

STARTER_NAME = "box.toml"


def box(
    records: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="RECORD...",
            help="Records (NAME.json) that inspect wrote, or folders of them.",
            show_default=False,
        ),
    ] = None,
    kind: Annotated[
        Path | None,
        typer.Option(
            "--box", metavar="FILE", help="Your box file; else box.toml, or that of kitchen.toml."
        ),
    ] = None,
    new: Annotated[
        bool, typer.Option("--new", help="Write a starter box file with remarks (box.toml).")
    ] = False,
    limits: option.Limits = None,
    flavour: option.Flavours = None,
    mix_flavours: option.Mix = False,
    by_eye: option.Eye = option.ByEye.leave,
    bottoms: Annotated[
        bool, typer.Option("--bottoms", help="Box the macarons of two bottoms instead.")
    ] = False,
    time_limit: Annotated[
        float,
        typer.Option(
            min=1, max=3600, callback=finite, metavar="SECONDS", help="For matching the colours."
        ),
    ] = 30.0,
    out: option.Out = None,
    photos: option.Photos = None,
    as_json: option.AsJson = False,
    replace: Replace = False,
) -> None:
    """Fill gift boxes: as many as can be filled, then as even as can be."""
    from petitpied.files.output_files import write_new
    from petitpied.sorting.box_file import STARTER

    if new:
        target = kind or Path(STARTER_NAME)
        write_new(target, STARTER.encode())
        typer.echo(f"wrote {shown_path(target)}: open it in a text editor and put in your own box")
        return
    if not records:
        raise typer.BadParameter("name the records to box, or use --new to start a box file")
    from petitpied.cli.lots.lot_job import LotOptions, boxable, paired, shown_of
    from petitpied.figures.tray.box_pages import box_lines, box_pictures, boxing_json, summary_text
    from petitpied.files.records.lot_files import chosen_box, read_box
    from petitpied.sorting.boxes import fill_boxes
    from petitpied.sorting.lot import Verdict

    if kind is None and Path(STARTER_NAME).is_file():
        kind = Path(STARTER_NAME)
    plan = chosen_box(kind) or read_box(Path(STARTER_NAME))
    eye = None if by_eye is option.ByEye.leave else Verdict(by_eye.value)
    lot = paired(LotOptions(records, limits, flavour or (), mix_flavours, eye))
    boxing = fill_boxes(boxable(lot, plan, bottoms=bottoms), plan, time_limit)
    lines = [*box_lines(boxing, lot.names), summary_text(boxing, plan)]
    if as_json:
        option.print_json(boxing_json(boxing, lot.pairing, lot.aside))
        if out is None:
            return
    else:
        for line in (*lines, *(f"note: {note}" for note in (*lot.notes, *boxing.notes))):
            typer.echo(line)
    if boxing.boxes:
        listing = "\n".join([*lines, ""]).encode()
        results = {"boxes.txt": listing, **box_pictures(boxing, plan, shown_of(lot, photos))}
        option.write_results(out, results, quiet=as_json, replace=replace)
