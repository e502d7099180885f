"""Records as a lot: read together, checked against each other, judged by the baker's limits."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from petitpied.domain.errors import LotError, RecordError
from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.files.output_files import distinct_stems
from petitpied.files.own.own_file import read_own_file
from petitpied.files.records.record_files import read_record
from petitpied.sorting.box_file import BoxKind, parse_box
from petitpied.sorting.limits import LIMITABLE, Limits, parse_limits
from petitpied.sorting.lot import LotShell, Verdict, harmonics_of
from petitpied.sorting.lot_trays import Aside, LotTray, value_of
from petitpied.sorting.verdicts import Measured, judge
from petitpied.text.verdict_words import reason_text, spoken
from petitpied.text.wording import printable

#: how `TrayColour.reference` names a flavour
FLAVOUR_REFERENCE = "flavour "


def read_limits(path: Path) -> Limits:
    """Limits from the baker's file.

    Raises
    ------
    OwnFileError
        If it cannot be read or has a fault, with the line.
    """
    return parse_limits(read_own_file(path, "limits file"))


def read_box(path: Path) -> BoxKind:
    """A box from the baker's file; errors as for `read_limits`."""
    return parse_box(read_own_file(path, "box file"))


def read_trays(paths: Sequence[Path], flavours: Sequence[str] = ()) -> tuple[LotTray, ...]:
    """Records of a lot; folders stand for the records in them.

    ``flavours``: one for all, or one for each record in their order, or none: then the flavour
    that a record names as the reference of its colours, if any.

    Raises
    ------
    RecordError, LotError
        If one cannot be read, has no millimetres, or two are of the same photo; if nothing is
        there, or the flavours do not fit the records.
    """
    files = [file for path in paths for file in _records_in(path)]
    if not files:
        raise LotError(
            what="nothing to sort",
            why="there is no record in what was given",
            next_step="inspect a photo first: it writes NAME.json",
        )
    if len(flavours) not in (0, 1, len(files)):
        raise LotError(
            what="the flavours do not fit the records",
            why=f"{len(flavours)} flavours were given for {len(files)} records",
            next_step="give --flavour once for all, or once for each record in their order",
        )
    names = distinct_stems((file, Path()) for file in files)
    each = (
        list(flavours) * len(files) if len(flavours) == 1 else list(flavours) or [""] * len(files)
    )
    trays = tuple(
        _tray(file, name, flavour) for file, name, flavour in zip(files, names, each, strict=True)
    )
    seen: dict[str, str] = {}
    for tray in trays:
        other = seen.setdefault(tray.record.photo.sha256, tray.name)
        if other != tray.name:
            raise LotError(
                what=f"{tray.name} and {other} are the same tray",
                why="both records are of one photo",
                next_step="give each tray once",
            )
    return trays


def _tray(file: Path, name: str, flavour: str) -> LotTray:
    record = _with_scale(read_record(file), file)
    if not flavour and record.colour is not None:
        flavour = record.colour.reference.partition(FLAVOUR_REFERENCE)[2]
    return LotTray(str(file), printable(name), record, printable(flavour))


def _records_in(path: Path) -> list[Path]:
    if not path.is_dir():
        return [path]
    return sorted(
        file
        for file in path.glob("*.json")
        if not file.name.endswith(".coco.json") and _looks_like_record(file)
    )


def _looks_like_record(file: Path) -> bool:
    """Other JSON files may lie in the folder: pairs, boxes, truths."""
    try:
        with file.open("rb") as stream:
            return b'"petitpied/inspection/' in stream.read(200)
    except OSError:
        return True  # told when it is read


def _with_scale(record: Record, file: Path) -> Record:
    if record.view is None:
        raise RecordError(
            what=f"{printable(file.name)} has no scale",
            why="it was inspected without a card, so nothing in it is in millimetres",
            next_step="take the photo again with the card in view and inspect it",
        )
    return record


def judged(record: Record, limits: Limits) -> tuple[Record, tuple[str, ...]]:
    """The record with verdicts and reasons filled in, and notes on what was left out."""
    measured = [s for s in record.shells if s.not_measured is None]
    unknown = [
        n for n in limits.names if measured and all(value_of(s, n) is None for s in measured)
    ]
    # what no shell has is left out, and said; what one shell lacks is checked by eye
    shells = tuple(_judged(shell, limits, unknown) for shell in record.shells)
    words = ", ".join(spoken(name) for name in unknown)
    notes = (f"not measured in this photo, judged without: {words}",) if unknown else ()
    return replace(record, shells=shells), notes


def _judged(shell: Shell, limits: Limits, unknown: Sequence[str]) -> Shell:
    values = {n: v for n in LIMITABLE if (v := value_of(shell, n)) is not None}
    reasons = dict(shell.missing)
    missing = {
        n: reasons.get(n, "not measured")
        for n in limits.names
        if n not in values and n not in unknown
    }
    judgement = judge(Measured(values, missing, shell.not_measured), limits)
    texts = tuple(reason_text(reason) for reason in judgement.reasons)
    return replace(shell, verdict=judgement.verdict.value, reasons=texts)


def lot_of(trays: Sequence[LotTray]) -> tuple[tuple[LotShell, ...], tuple[Aside, ...]]:
    """Shells that can be paired, tray by tray, and those that cannot."""
    shells: list[LotShell] = []
    aside: list[Aside] = []
    for tray in trays:
        for shell in tray.record.shells:
            entry = _lot_shell(tray, shell)
            if isinstance(entry, LotShell):
                shells.append(entry)
            else:
                aside.append(Aside(tray.key, shell.id, entry))
    return tuple(shells), tuple(aside)


def _lot_shell(tray: LotTray, shell: Shell) -> LotShell | str:
    """The shell as pairing sees it, or why it cannot be paired."""
    view = tray.record.view
    if shell.not_measured is not None:
        return f"not measured: {printable(shell.not_measured)}"
    if shell.diameter_mm is None or view is None or len(shell.outline_px) < 8:
        return "its size or outline is not in the record"
    outline_mm = view.to_plane(shell.outline_px)
    try:
        harmonics = harmonics_of(outline_mm)
    except ValueError:
        return "its outline in the record is no closed line"
    if not np.isfinite(harmonics).all():
        return "its outline in the record is no closed line"
    colour = shell.colour
    lab = None if colour is None else (colour.lightness.value, colour.a.value, colour.b.value)
    return LotShell(
        record=tray.key,
        id=shell.id,
        diameter_mm=shell.diameter_mm,
        harmonics_mm=harmonics,
        lab=lab,
        height_mm=shell.height_mm,
        flavour=tray.flavour,
        verdict=None if shell.verdict is None else Verdict(shell.verdict),
    )
