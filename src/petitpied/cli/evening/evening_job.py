"""An evening from photos to files: inspect, judge, pair, box, log, one page; each step does what
can be done, and a fault of one photo or of the history stops nothing else."""

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from petitpied.cli.evening.gathering import TrayPhoto
from petitpied.cli.evening.tray_facts import Known
from petitpied.cli.measuring import inspecting as batch
from petitpied.domain.errors import ReadingError
from petitpied.domain.settings import Settings
from petitpied.files.outside_files import Kind, seen_of
from petitpied.files.photo_files import MARKED_SUFFIX
from petitpied.text.wording import counted, printable

if TYPE_CHECKING:
    from petitpied.domain.photo import Photo
    from petitpied.evening.advice import OvenSign
    from petitpied.history.store import Store
    from petitpied.report.lot_part import Sorting
    from petitpied.report.material import Tray
    from petitpied.sorting.box_file import BoxKind
    from petitpied.sorting.limits import Limits


@dataclass(frozen=True)
class Trays:
    """What came of the photos: trays with their photos, notes, and faults."""

    trays: "tuple[Tray, ...]"
    facts: Mapping[str, Mapping[str, Any]]  # photo's hash to facts by field
    notes: tuple[str, ...] = ()
    faults: tuple[ReadingError, ...] = ()


@dataclass(frozen=True)
class Way:
    """How photos are inspected: where the results go, with which settings and limits."""

    folder: Path
    settings: Settings
    limits: "Limits | None"
    jobs: int | None = None
    anew: bool = False


def inspected_trays(
    photos: Sequence[TrayPhoto], facts: Mapping[str, Mapping[str, Any]], way: Way
) -> Trays:
    """Records of all photos, made where they are not there yet; photos decoded meanwhile. In the
    order of their names, so that the order in which they were given changes nothing."""
    from petitpied.files.records.record_files import read_record
    from petitpied.report.material import Tray

    jobs: dict[str, batch.Job] = {}
    for photo in photos:
        flavour = facts[photo.sha256].get("flavour")
        if way.anew or not _still_good(photo, flavour):
            jobs[photo.sha256] = batch.Job(
                photo.path, way.folder, photo.stem, limits=way.limits,
                replace=way.anew, flavour=flavour,
            )  # fmt: skip
    faults: dict[str, ReadingError] = {}
    with ThreadPoolExecutor(1) as beside:  # workers measure meanwhile
        pictures = {p.sha256: beside.submit(_decoded, p.path) for p in photos}
        for sha, error in _run(jobs, way):
            faults[sha] = error
        trays = []
        for photo in sorted(photos, key=lambda p: p.stem):
            if photo.sha256 in faults:
                continue
            file = photo.record or way.folder / f"{photo.stem}.json"
            try:
                record = read_record(file)
                marked = file.with_name(f"{photo.stem}{MARKED_SUFFIX}")
                shown = seen_of(marked, Kind.PHOTO)
                picture = pictures[photo.sha256].result()
                trays.append(Tray(photo.stem, record, picture, marked=shown))
            except ReadingError as error:
                faults[photo.sha256] = error
    return Trays(tuple(trays), facts, (), tuple(faults.values()))


def _still_good(photo: TrayPhoto, flavour: str | None) -> bool:
    """Whether the photo's record can stay: made by this version, of this flavour."""
    from petitpied import __version__
    from petitpied.files.records.record_files import read_record

    if photo.record is None:
        return False
    try:
        record = read_record(photo.record)
    except ReadingError:
        return False
    return record.tool_version == __version__ and record.flavour == flavour


def _decoded(path: Path) -> "Photo":
    from petitpied.files.photo_files import read_photo
    from petitpied.photo.decode import decode_photo

    return decode_photo(read_photo(path), path.name)


def _run(jobs: Mapping[str, batch.Job], way: Way) -> list[tuple[str, ReadingError]]:
    """Inspect; faults by the photo's hash."""
    by_job = {job: sha for sha, job in jobs.items()}
    if not by_job:
        return []
    outcomes = batch.run(tuple(by_job), way.settings, way.jobs or batch.usable_cores())
    return [(by_job[o.job], o.error) for o in outcomes if o.error is not None]


def sorted_trays(
    trays: Sequence["Tray"], limits: "Limits", box: "BoxKind | None", *, mix_flavours: bool
) -> "Sorting":
    """Judged, paired and boxed. A tray of two colours is judged without browning, which would
    only tell the colours apart."""
    from petitpied.evening.answer import colours_of
    from petitpied.report.lot_part import sort_trays

    without = _without_browning(limits)
    return sort_trays(
        trays,
        limits,
        box,
        pairs=True,
        mix_flavours=mix_flavours,
        limits_of=lambda tray: without if colours_of(tray.record) else limits,
    )


def _without_browning(limits: "Limits") -> "Limits":
    names = ("browning", "edge_browning")
    return replace(
        limits,
        tops=tuple(x for x in limits.tops if x.name not in names) or limits.tops,
        bottoms=tuple(x for x in limits.bottoms if x.name not in names),
    )


def logged(
    trays: Sequence["Tray"], known: Known, facts: Mapping[str, Mapping[str, Any]], folder: Path
) -> tuple[str, ...]:
    """Keep the bakes in the history; notes on those that were not kept. A bake that is there
    with the same record and facts stays as it is."""
    from datetime import datetime

    from petitpied.history.logging_bakes import Logbook

    store = known.store
    if store is None:
        return ()
    book = Logbook(store, {}, False, lambda: datetime.now().astimezone())
    notes: dict[str, list[str]] = {}
    for tray in trays:
        path = folder / f"{tray.name}.json"
        try:
            found = facts[tray.record.photo.sha256]
            if not _as_logged(store, tray.record.photo.sha256, path, found):
                book.log(path, found)
        except ReadingError as error:
            notes.setdefault(_why(error), []).append(tray.name)
    return tuple(f"not in the history: {', '.join(n)}; {why}" for why, n in notes.items())


def _why(error: ReadingError) -> str:
    if "in which oven" in error.why:
        return 'its oven is not known: write name = "..." under [oven] in kitchen.toml'
    return f"{error.why}; {error.next_step}"


def _as_logged(store: "Store", sha: str, path: Path, facts: Mapping[str, Any]) -> bool:
    from petitpied.history.facts import known_facts

    there = store.facts_of(sha)
    if there is None:
        return False
    kept = known_facts(there)
    same = all(kept.get(name) == value for name, value in facts.items())
    return same and store.record_text(sha) == seen_of(path, Kind.RECORD)


def with_facts(trays: Sequence["Tray"], store: "Store | None") -> "tuple[Tray, ...]":
    """Trays with the facts of their bakes, where these were kept."""
    if store is None:
        return tuple(trays)
    return tuple(replace(t, facts=store.facts_of(t.record.photo.sha256)) for t in trays)


#: measures that an evening looks at over the bakes so far
LOOKED_AT = ("diameter", "browning", "cracks", "lean")


def oven_sign(store: "Store | None", trays: Sequence["Tray"]) -> "OvenSign | None":
    """What stands out over the bakes of the evening's oven, allowing for how many measures were
    looked at; None without bakes."""
    from petitpied.evening.advice import OvenSign
    from petitpied.history.oven_map_reading import measured_in, read_maps
    from petitpied.patterns.oven.several_measures import over_all
    from petitpied.statistics.sign_flips import ALPHA
    from petitpied.text.oven_map_words import pattern_words

    ovens = [t.facts.oven for t in trays if t.facts is not None]
    if store is None or not ovens:
        return None
    oven = max(set(ovens), key=ovens.count)
    bakes = tuple(b for b in store.bakes(oven) if not b.facts.turned_halfway)
    nothing = OvenSign(oven, len(bakes))
    there = [m for m in LOOKED_AT if m in measured_in(bakes)]
    if not there or len(bakes) < 2:
        return nothing
    maps = [read_maps(bakes, measure)[0] for measure in there]
    least = over_all(maps)
    out = [m for m in maps if m.strongest is not None and least.get(m.measure, 1.0) <= ALPHA]
    if not out:
        return nothing
    best = min(out, key=lambda m: least[m.measure])
    strongest = best.strongest
    if strongest is None:
        return nothing
    return replace(
        nothing,
        measure=best.measure,
        kind=strongest.kind,
        said=printable(pattern_words(best.measure, strongest, best.region)),
        chance=least[best.measure],
        shown=best.strength == "shows",
        turned=any(b.facts.turn_deg == 180 for b in bakes),
    )


def write_changed(folder: Path, files: Mapping[str, bytes]) -> int:
    """Write those files whose content is not there yet, all or none; how many they were.

    Raises
    ------
    OutputError
        If the folder cannot be written.
    """
    from petitpied.files.output_files import prepare_folder, write_own

    new = {folder / name: data for name, data in files.items() if not _is(folder / name, data)}
    if new:
        prepare_folder(folder)
        write_own(new)  # its own page and records of tonight
    return len(new)


def _is(path: Path, data: bytes) -> bool:
    return seen_of(path, Kind.ARCHIVE, len(data) + 1) == data


def unknown_flavours(trays: Sequence["Tray"], facts: Mapping[str, Mapping[str, Any]]) -> list[str]:
    """Trays of unknown flavour, where it matters."""
    names = [t.name for t in trays if not facts[t.record.photo.sha256].get("flavour")]
    if not names or len(trays) < 2:
        return []
    return [
        f"flavour of {counted(len(names), 'tray')} not known ({', '.join(names[:3])}); "
        "name photo or folder after it"
    ]
