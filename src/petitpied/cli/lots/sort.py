"""`petitpied sort`: a verdict for every shell, and the lot's yield."""

from pathlib import Path
from typing import Annotated

import typer

from petitpied.cli.options import lot_options as option
from petitpied.cli.options.checks import Replace


def sort(
    records: option.Records,
    limits: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Your limits file; else those of kitchen.toml."),
    ] = None,
    out: option.Out = None,
    photos: option.Photos = None,
    as_json: option.AsJson = False,
    replace: Replace = False,
) -> None:
    """Grade every shell by your limits: top, bottom, crumbs or check by eye; how many, and why."""
    from petitpied.cli.lots.lot_job import LotOptions, judged_trays, sheets, without_photo_line
    from petitpied.files.records.lot_files import chosen_limits
    from petitpied.files.records.verdict_table import verdict_table
    from petitpied.text.lots.sorting_words import (
        LotResult,
        result_json,
        result_lines,
        verdict_codes,
        verdict_listing,
    )

    chosen = chosen_limits(limits)
    if chosen is None:
        raise typer.BadParameter("give --limits FILE, or set up your kitchen: petitpied setup")
    trays, notes = judged_trays(LotOptions(records, limits))
    result = LotResult(trays, notes, chosen)
    if as_json:
        option.print_json(result_json(result))
        if out is None:
            return
    else:
        for line in result_lines(result):
            typer.echo(line)
    grades = result.limits.grades
    pages, without = sheets(
        trays,
        photos,
        lambda tray: (verdict_codes(tray), verdict_listing(tray, grades)),
        ".sorted.jpg",
    )
    if without and not as_json:
        typer.echo(without_photo_line(without))
    contents = {"verdicts.csv": verdict_table(result), **pages}
    option.write_results(out, contents, quiet=as_json, replace=replace)
