"""The order of an evening's steps, and what is told on the way."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from petitpied.cli.evening.gathering import Gathered, TrayPhoto, gather, results_folder
from petitpied.cli.measuring.inspect import usual_settings
from petitpied.domain.errors import ExitCode, HistoryError, OwnFileError, ReadingError
from petitpied.evening.kitchen import Kitchen
from petitpied.text.wording import printable

if TYPE_CHECKING:
    from petitpied.cli.evening.tray_facts import Known
    from petitpied.history.store import Store
    from petitpied.report.blocks import Letterhead
    from petitpied.report.material import Tray
    from petitpied.sorting.box_file import BoxKind
    from petitpied.sorting.limits import Limits


@dataclass(frozen=True)
class Wanted:
    """What the command line says."""

    photos: tuple[Path, ...]
    out: Path | None = None
    flavours: tuple[str, ...] = ()
    facts: tuple[str, ...] = ()
    kitchen: Path | None = None
    mix_flavours: bool = False
    log: bool = True
    ask: bool = True
    anew: bool = False
    as_json: bool = False
    pdf: bool = False
    jobs: int | None = None
    db: str | None = None


@dataclass(frozen=True)
class Setting:
    """The kitchen as far as it could be read, where its file is, what was wrong with it."""

    kitchen: Kitchen
    path: Path | None
    wrong: tuple[ReadingError, ...] = ()
    letterhead: "Letterhead | None" = None


def run(wanted: Wanted) -> ExitCode:
    """The evening: everything that can be done is done; the status says if something was not.

    Raises
    ------
    ReadingError
        If nothing could be done: no photo, none of them measured, or no folder to write into.
    """
    setting = _setting(wanted)
    gathered = gather(wanted.photos, wanted.out)
    if not gathered.photos:
        raise _nothing(gathered)
    store, notes = _history(wanted)
    return _done(wanted, setting, gathered, _known(setting, wanted, store), notes)


def _setting(wanted: Wanted) -> Setting:
    from petitpied.cli.options.kitchen_parts import facts_of, letterhead_in
    from petitpied.files.own.kitchen_files import find_kitchen, read_kitchen

    starts = [p if p.is_dir() else p.parent for p in wanted.photos[:1]]
    path = wanted.kitchen or find_kitchen(starts)
    if path is None:
        return Setting(Kitchen(), None)
    try:
        kitchen = read_kitchen(path)
    except OwnFileError as fault:
        if wanted.kitchen is not None:
            raise
        return Setting(Kitchen(), path, (fault,))
    wrong: list[ReadingError] = list(kitchen.wrong)
    try:
        facts_of(kitchen)
    except ReadingError as fault:
        wrong.append(fault)
        kitchen = replace(kitchen, facts=None)
    letterhead = None
    try:
        letterhead = letterhead_in(kitchen, path)
    except ReadingError as fault:
        wrong.append(fault)
    return Setting(kitchen, path, tuple(wrong), letterhead)


def _nothing(gathered: Gathered) -> ReadingError:
    from petitpied.domain.errors import PhotoError

    if gathered.faults:
        return gathered.faults[0]
    why = "; ".join(gathered.passed_over) or "there is no photo in what was given"
    return PhotoError(
        what="no tray to look at", why=why, next_step="name photos, or a folder with photos in it"
    )


def _history(wanted: Wanted) -> "tuple[Store | None, tuple[str, ...]]":
    """The history, or why the evening goes on without it."""
    if not wanted.log:
        return None, ()
    from petitpied.history.store import open_store

    try:
        store = open_store(wanted.db)
        copy = f"the history was brought up to date; a copy from before: {store.copy}"
        return store, ((copy,) if store.copy else ())
    except HistoryError as fault:
        if wanted.db is not None:
            raise
        return None, (f"the history was left out: {fault.why}; {fault.next_step}",)


def _known(setting: Setting, wanted: Wanted, store: "Store | None") -> "Known":
    from petitpied.cli.evening.tray_facts import Known
    from petitpied.cli.options.kitchen_parts import facts_of
    from petitpied.files.own.flavours import own_flavours
    from petitpied.history.facts import given_options

    flavours = list(setting.kitchen.flavours)
    try:
        flavours += list(own_flavours())
        if store is not None:
            flavours += [f.flavour for f in store.facts() if f.flavour]
    except ReadingError:
        pass  # the list only helps to recognise names
    return Known(
        kitchen=setting.kitchen,
        lasting=facts_of(setting.kitchen),
        said=given_options({"more": wanted.facts}),
        flavours=tuple(dict.fromkeys(flavours)),
        store=store,
    )


def _facts(
    photos: Sequence[TrayPhoto], known: "Known", wanted: Wanted
) -> Mapping[str, Mapping[str, Any]]:
    """Facts of every tray, by the photo's hash; asked for where they cannot be known."""
    from petitpied.cli.evening.questions import can_ask
    from petitpied.cli.evening.tray_facts import already_logged, facts_of_tray
    from petitpied.cli.evening.tray_questions import ask_facts

    if len(wanted.flavours) not in (0, 1, len(photos)):
        raise typer.BadParameter(
            f"--flavour was given {len(wanted.flavours)} times for {len(photos)} trays: give it "
            "once for all, or once for each in their order"
        )
    found = {p.sha256: facts_of_tray(p, known) for p in photos}
    for number, photo in enumerate(photos):
        if wanted.flavours:
            said = wanted.flavours[number if len(wanted.flavours) > 1 else 0]
            found[photo.sha256]["flavour"] = printable(said.strip())[:200]
    if wanted.ask and can_ask():
        new = [p for p in photos if not already_logged(p, known)]
        ask_facts(new, known.kitchen, found)
    return found


def _done(
    wanted: Wanted,
    setting: Setting,
    gathered: Gathered,
    known: "Known",
    notes: tuple[str, ...],
) -> ExitCode:
    """Measure, sort, keep, write, tell."""
    from petitpied.cli.evening import evening_job as job
    from petitpied.cli.evening.evening_files import pages, record_files
    from petitpied.cli.evening.telling import Told, answer_of, tell
    from petitpied.files.output_files import prepare_folder

    folder = results_folder([p.path for p in gathered.photos], wanted.out)
    facts = _facts(gathered.photos, known, wanted)
    prepare_folder(folder)
    way = job.Way(folder, usual_settings(), setting.kitchen.limits, wanted.jobs, wanted.anew)
    made = job.inspected_trays(gathered.photos, facts, way)
    faults = (*gathered.faults, *made.faults)
    if not made.trays:
        raise faults[0]
    limits, box = _limits_and_box(setting, made.trays)
    sorting = job.sorted_trays(made.trays, limits, box, mix_flavours=wanted.mix_flavours)
    changed = job.write_changed(folder, record_files(sorting.trays))
    unlogged = job.logged(sorting.trays, known, facts, folder)
    sorting = replace(sorting, trays=job.with_facts(sorting.trays, known.store))
    told = Told(
        sorting,
        limits,
        setting.kitchen.target_mm,
        job.oven_sign(known.store, sorting.trays),
        (
            *_kitchen_notes(setting),
            *notes,
            *unlogged,
            *job.unknown_flavours(sorting.trays, facts),
            *gathered.passed_over,
        ),
    )
    answer = answer_of(told)
    sheets = pages(answer, setting.letterhead, known.store, pdf=wanted.pdf)
    changed += job.write_changed(folder, sheets)
    tell(answer, folder, as_json=wanted.as_json, changed=changed)
    for fault in (*setting.wrong, *faults):
        typer.echo(str(fault), err=True)
    if faults:
        return ExitCode.SOME_FAILED
    return ExitCode.OWN_FILE if setting.wrong else ExitCode.OK


def _limits_and_box(
    setting: Setting, trays: "Sequence[Tray]"
) -> "tuple[Limits, BoxKind | None]":
    """The kitchen's; without a kitchen the trade's usual ones about the evening's own size."""
    from statistics import median

    from petitpied.evening.kitchen_text import SLOT_ROOM_MM, limits_for
    from petitpied.sorting.box_file import BoxKind

    kitchen = setting.kitchen
    each = [s.sizes.diameter_mm for t in trays for s in t.record.shells]
    sizes = [size.value for size in each if size is not None]
    target = round(2 * median(sizes)) / 2 if sizes else 45.0
    limits = kitchen.limits or limits_for(target, 2.0)
    if kitchen.box is not None or "box" in kitchen.parts or setting.path is not None:
        return limits, kitchen.box
    return limits, BoxKind("Box of 6", 6, 3, target + SLOT_ROOM_MM)


def _kitchen_notes(setting: Setting) -> tuple[str, ...]:
    if setting.path is None:
        return ("no kitchen.toml, so usual limits and a box of 6 are taken: petitpied setup",)
    if setting.wrong:
        return ("kitchen.toml has a fault, told below: for that part the usual was taken",)
    return ()
