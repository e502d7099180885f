"""`petitpied agreement`: how far the tool agrees with the baker."""

from pathlib import Path
from typing import Annotated

import typer


def agreement(
    records: Annotated[
        list[Path],
        typer.Argument(metavar="RECORD...", help="Records with judgements.", show_default=False),
    ],
) -> None:
    """Compare the tool with your judgements: table, Cohen's kappa, and the best crack limit."""
    from petitpied.domain.errors import LotError
    from petitpied.files.records.record_files import read_record
    from petitpied.files.records.review_files import read_review
    from petitpied.statistics.judgements import judged_pairs
    from petitpied.text.agreement_words import agreement_lines

    judged = []
    for path in records:
        record = read_record(path)
        judged.append((record, read_review(path, record)))
    pairs = judged_pairs(judged)
    if not any(pairs.values()):
        raise LotError(
            what="there is nothing to compare",
            why="no shell of these records was judged, or the tool did not look at what was judged",
            next_step="judge some shells, as in: petitpied review RECORD --set B3.crack=no",
        )
    for line in agreement_lines(pairs):
        typer.echo(line)
