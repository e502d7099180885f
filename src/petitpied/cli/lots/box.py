"""`petitpied box`: gift boxes from matched pairs."""

from pathlib import Path
from typing import Annotated

import typer

from petitpied.cli.options import lot_options as option
from petitpied.cli.options.checks import finite

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
    kind: Annotated[Path, typer.Option("--box", metavar="FILE", help="Your box file.")] = Path(
        STARTER_NAME
    ),
    new: Annotated[
        bool, typer.Option("--new", help="Write a starter box file with remarks (box.toml).")
    ] = False,
    limits: option.Limits = None,
    flavour: option.Flavours = None,
    mix_flavours: option.Mix = False,
    by_eye: option.Eye = option.ByEye.leave,
    seconds: Annotated[
        bool, typer.Option("--seconds", help="Box the seconds instead of what passes.")
    ] = False,
    time_limit: Annotated[
        float,
        typer.Option(
            min=1, max=3600, callback=finite, metavar="SECONDS", help="For matching the colours."
        ),
    ] = 30.0,
    out: option.Out = None,
    as_json: option.AsJson = False,
) -> None:
    """Fill gift boxes: as many as can be filled, then as even as can be."""
    from petitpied.files.output_files import write_new
    from petitpied.sorting.box_file import STARTER

    if new:
        write_new(kind, STARTER.encode())
        typer.echo(f"wrote {kind}: open it in a text editor and put in your own box")
        return
    if not records:
        raise typer.BadParameter("name the records to box, or use --new to start a box file")
    from petitpied.cli.lots.lot_job import LotOptions, boxable, paired
    from petitpied.figures.tray.box_pages import box_lines, box_pictures, boxing_json, summary_text
    from petitpied.files.records.lot_files import read_box
    from petitpied.sorting.boxes import fill_boxes
    from petitpied.sorting.lot import Verdict

    plan = read_box(kind)
    eye = None if by_eye is option.ByEye.leave else Verdict(by_eye.value)
    lot = paired(LotOptions(records, limits, flavour or (), mix_flavours, eye))
    boxing = fill_boxes(boxable(lot, plan, seconds=seconds), plan, time_limit)
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
        results = {"boxes.txt": listing, **box_pictures(boxing, plan)}
        option.write_results(out, results, as_json)
