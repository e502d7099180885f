"""Records as a lot: read together, checked against each other, judged by the baker's limits."""

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from petitpied.domain.errors import LotError, PhotoError, RecordError
from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.files.output_files import distinct_stems
from petitpied.files.outside_files import Kind, Refused, is_folder, open_outside, seen_of
from petitpied.files.own.kitchen_files import find_kitchen, read_kitchen
from petitpied.files.own.own_file import read_own_file
from petitpied.files.photo_files import SUFFIXES, is_own_picture, read_photo
from petitpied.files.records.record_files import read_record
from petitpied.files.shown_paths import short_keys
from petitpied.sorting.box_file import BoxKind, parse_box
from petitpied.sorting.colours_apart import by_colour
from petitpied.sorting.judging import judge_record
from petitpied.sorting.limits import Limits, parse_limits
from petitpied.sorting.lot import LotShell, Verdict, harmonics_of
from petitpied.sorting.lot_trays import Aside, LotTray
from petitpied.text.lots.verdict_words import reason_text, spoken
from petitpied.text.wording import printable

#: our own files that are no record, which a glob over a folder of results catches
OWN_ENDINGS = (
    *(".coco.json", ".review.json", ".csv", ".xlsx", ".txt", ".toml", ".html", ".pdf", ".svg"),
)
#: where `petitpied bake` puts its results, beside the first photo
EVENING = "evening"
RECORD_START_BYTES = 4000  # schema, version and photo stand there
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


def chosen_limits(path: Path | None) -> Limits | None:
    """The limits in a file that was named, else those of the kitchen; None without either.

    Raises
    ------
    OwnFileError
        If they cannot be read or have a fault, with the line.
    """
    return read_limits(path) if path is not None else _of_kitchen("limits")


def chosen_box(path: Path | None) -> BoxKind | None:
    """The box in a file that was named, else that of the kitchen; otherwise as `chosen_limits`."""
    return read_box(path) if path is not None else _of_kitchen("box")


def _of_kitchen(part: str) -> Any:
    """A part of the kitchen's file; a fault in another part does not matter here."""
    path = find_kitchen()
    if path is None:
        return None
    kitchen = read_kitchen(path)
    found = getattr(kitchen, part)
    if found is None and part in kitchen.parts and kitchen.wrong:
        raise kitchen.wrong[0]
    return found


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
        replace(_tray(file, name, flavour), key=key)
        for file, name, flavour, key in zip(files, names, each, short_keys(files), strict=True)
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
    flavour = flavour or record.flavour or ""
    if not flavour and record.colour is not None:
        flavour = record.colour.reference.partition(FLAVOUR_REFERENCE)[2]
    return LotTray(str(file), printable(name), record, printable(flavour), str(file))


def _records_in(path: Path) -> list[Path]:
    """Records that a name stands for: a folder's, a photo's own, none for other files of ours
    that a glob catches; else the file itself, which says what is wrong when it is read."""
    if not is_folder(path):
        if path.suffix.lower() in SUFFIXES:
            return [] if is_own_picture(path) else [_record_of(path)]
        return [] if path.name.endswith(OWN_ENDINGS) else [path]
    return sorted(
        file
        for file in path.glob("*.json")
        if not file.name.endswith(".coco.json") and _looks_like_record(file)
    )


def _record_of(photo: Path) -> Path:
    """The record of a photo, beside it or in the evening's folder, known by the photo's hash.

    Raises
    ------
    LotError
        If there is none.
    """
    try:
        sha = hashlib.sha256(read_photo(photo)).hexdigest().encode()
    except PhotoError:
        raise _no_record(photo) from None
    for folder in (photo.parent, photo.parent / EVENING, Path()):
        for file in sorted(folder.glob("*.json")):
            start = seen_of(file, Kind.RECORD, RECORD_START_BYTES) or b""
            if _looks_like_record(file) and sha in start:
                return file
    raise _no_record(photo)


def _no_record(photo: Path) -> LotError:
    return LotError(
        what=f"{printable(photo.name)} has no record yet",
        why="it is a photo, and nothing beside it was measured from it",
        next_step="measure it first: petitpied inspect, or do it all: petitpied bake",
    )


def _looks_like_record(file: Path) -> bool:
    """Other JSON files may lie in the folder: pairs, boxes, truths."""
    try:
        with open_outside(file, Kind.RECORD) as stream:
            return b'"petitpied/inspection/' in stream.read(200)
    except (Refused, OSError):
        return file.is_file()  # told when it is read


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
    found = judge_record(record, limits)
    shells = tuple(
        replace(
            shell,
            verdict=judgement.verdict.value,
            reasons=tuple(reason_text(reason, limits.grades) for reason in judgement.reasons),
        )
        for shell, judgement in zip(record.shells, found.judgements, strict=True)
    )
    words = ", ".join(spoken(name) for name in found.left_out)
    notes = (f"not measured in this photo, judged without: {words}",) if words else ()
    return replace(record, shells=shells), notes


def lot_of(trays: Sequence[LotTray]) -> tuple[tuple[LotShell, ...], tuple[Aside, ...]]:
    """Shells that can be paired, tray by tray, and those that cannot; of quite different colours
    they count as of different flavours."""
    shells: list[LotShell] = []
    aside: list[Aside] = []
    for tray in trays:
        for shell in tray.record.shells:
            entry = _lot_shell(tray, shell)
            if isinstance(entry, LotShell):
                shells.append(entry)
            else:
                aside.append(Aside(tray.key, shell.id, entry))
    return by_colour(shells), tuple(aside)


def _lot_shell(tray: LotTray, shell: Shell) -> LotShell | str:
    """The shell as pairing sees it, or why it cannot be paired."""
    view = tray.record.view
    if shell.not_measured is not None:
        return f"not measured: {printable(shell.not_measured)}"
    if shell.sizes.diameter_mm is None or view is None or len(shell.place.outline_px) < 8:
        return "its size or outline is not in the record"
    outline_mm = view.to_plane(shell.place.outline_px)
    try:
        harmonics = harmonics_of(outline_mm)
    except ValueError:
        return "its outline in the record is no closed line"
    if not np.isfinite(harmonics).all():
        return "its outline in the record is no closed line"
    colour = shell.surface.colour
    lab = None if colour is None else (colour.lightness.value, colour.a.value, colour.b.value)
    return LotShell(
        record=tray.key,
        id=shell.id,
        diameter_mm=shell.sizes.diameter_mm,
        harmonics_mm=harmonics,
        lab=lab,
        height_mm=shell.sizes.height_mm,
        flavour=tray.flavour,
        verdict=None if shell.verdict is None else Verdict(shell.verdict),
    )
