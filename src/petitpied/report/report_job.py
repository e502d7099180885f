"""One report from what was asked on the command line to the files on disk."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from petitpied.files.output_files import prepare_folder, safe_stem, write_all
from petitpied.files.own_folders import history_file
from petitpied.report.blocks import Letterhead, Report
from petitpied.report.letterhead import read_letterhead
from petitpied.report.material import Tray, trays_of_records, trays_since
from petitpied.report.message import report_text
from petitpied.report.model import Wishes, make_report
from petitpied.text.wording import printable

if TYPE_CHECKING:
    from petitpied.history.store import Store


@dataclass(frozen=True)
class Asked:
    """The command's options."""

    records: tuple[Path, ...] = ()
    since: date | None = None
    photos: Path | None = None
    letterhead: Path | None = None
    title: str = ""
    limits: Path | None = None
    box: Path | None = None
    pairs: bool = False
    db: str | None = None


def run(asked: Asked, out: Path | None) -> tuple[str, ...]:
    """Make the report; write it into ``out``, or give its plain text where that is None.

    Returns
    -------
    tuple of str
        What to print.
    """
    if bool(asked.records) == (asked.since is not None):
        raise typer.BadParameter("give records, or --since DATE, one of both")
    store = _store(asked)
    trays = _trays(asked, store)
    report = make_report(trays, _wishes(asked, store))
    if out is None:
        return (report_text(report).rstrip("\n"),)
    return _written(report, out, _stem(trays))


def _store(asked: Asked) -> "Store | None":
    """The history: the one named, or the usual one where there is one."""
    if asked.db is None and asked.since is None and not history_file().exists():
        return None
    from petitpied.history.store import open_store

    return open_store(asked.db)


def _wishes(asked: Asked, store: "Store | None") -> Wishes:
    """The baker's own files, read and checked."""
    head = Letterhead() if asked.letterhead is None else read_letterhead(asked.letterhead)
    title = printable(asked.title)[:120]
    if asked.limits is None and asked.box is None:
        return Wishes(head, title, pairs=asked.pairs, store=store)
    from petitpied.files.records.lot_files import read_box, read_limits

    return Wishes(
        head,
        title,
        None if asked.limits is None else read_limits(asked.limits),
        None if asked.box is None else read_box(asked.box),
        asked.pairs,
        store,
    )


def _trays(asked: Asked, store: "Store | None") -> tuple[Tray, ...]:
    if asked.since is not None and store is not None:
        return trays_since(asked.since, asked.photos, store)
    return trays_of_records(asked.records, asked.photos, store)


def _stem(trays: tuple[Tray, ...]) -> str:
    return f"{safe_stem(trays[0].name + '.json')}.report" if len(trays) == 1 else "report"


def _written(report: Report, out: Path, stem: str) -> tuple[str, ...]:
    from petitpied.report.html import report_html
    from petitpied.report.pdf import report_pdf

    files = {
        out / f"{stem}.html": report_html(report),
        out / f"{stem}.pdf": report_pdf(report),
    }
    prepare_folder(out)
    write_all(files)
    return tuple(f"wrote {printable(str(path))}" for path in files)
