"""`petitpied pair`: matched pairs over one or many trays."""

import typer

from petitpied.cli.options import lot_options as option
from petitpied.cli.options.checks import Replace


def pair(
    records: option.Records,
    limits: option.Limits = None,
    flavour: option.Flavours = None,
    mix_flavours: option.Mix = False,
    by_eye: option.Eye = option.ByEye.leave,
    out: option.Out = None,
    photos: option.Photos = None,
    as_json: option.AsJson = False,
    replace: Replace = False,
) -> None:
    """Match shells to macarons: like sizes, outlines and colours; a sheet to pick by."""
    from petitpied.cli.lots.lot_job import LotOptions, paired, sheets, without_photo_line
    from petitpied.sorting.lot import Verdict
    from petitpied.text.lots.pairing_words import (
        left_lines,
        pair_codes,
        pair_lines,
        pair_listing,
        pairing_json,
        summary_text,
    )

    eye = None if by_eye is option.ByEye.leave else Verdict(by_eye.value)
    lot = paired(LotOptions(records, limits, flavour or (), mix_flavours, eye))
    lines = pair_lines(lot.pairing, lot.names) + left_lines(lot.pairing, lot.aside, lot.names)
    text = summary_text(lot.pairing, len(lot.shells) + len(lot.aside))
    if as_json:
        option.print_json(pairing_json(lot.pairing, lot.aside))
        if out is None:
            return
    else:
        for line in (*lines, text, *(f"note: {note}" for note in lot.notes)):
            typer.echo(line)
    pages, without = sheets(
        lot.trays,
        photos,
        lambda tray: (pair_codes(lot.pairing, tray), pair_listing(lot.pairing, tray, lot.names)),
        ".pairs.jpg",
    )
    if without and not as_json:
        typer.echo(without_photo_line(without))
    listing = "\n".join([*lines, text, ""]).encode()
    option.write_results(out, {"pairs.txt": listing, **pages}, quiet=as_json, replace=replace)
