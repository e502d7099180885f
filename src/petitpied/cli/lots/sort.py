"""`petitpied sort`: a verdict for every shell, and the lot's yield."""

from pathlib import Path
from typing import Annotated

import typer

from petitpied.cli.options import lot_options as option


def sort(
    records: option.Records,
    limits: Annotated[Path, typer.Option(metavar="FILE", help="Your limits file.")],
    out: option.Out = None,
    photos: option.Photos = None,
    as_json: option.AsJson = False,
) -> None:
    """Judge every shell by your limits: pass, second, reject or check by eye; yield and why."""
    from petitpied.cli.lots.lot_job import LotOptions, judged_trays, sheets, without_photo_line
    from petitpied.files.records.lot_files import read_limits
    from petitpied.files.records.verdict_table import verdict_table
    from petitpied.text.sorting_words import (
        LotResult,
        result_json,
        result_lines,
        verdict_codes,
        verdict_listing,
    )

    trays, notes = judged_trays(LotOptions(records, limits))
    result = LotResult(trays, notes, read_limits(limits))
    if as_json:
        option.print_json(result_json(result))
        if out is None:
            return
    else:
        for line in result_lines(result):
            typer.echo(line)
    pages, without = sheets(
        trays, photos, lambda tray: (verdict_codes(tray), verdict_listing(tray)), ".sorted.jpg"
    )
    if without and not as_json:
        typer.echo(without_photo_line(without))
    option.write_results(out, {"verdicts.csv": verdict_table(result), **pages}, as_json)
