"""Inspecting photos: one in this process, several spread over processes.

Nothing heavy is imported at the top: a worker process sets its threads before NumPy starts.
"""

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from petitpied.domain.errors import OutputError, PhotoError, ReadingError
from petitpied.domain.settings import Settings
from petitpied.files.output_files import distinct_stems, prepare_folder, write_all
from petitpied.files.photo_files import MARKED_SUFFIX, PICTURE_SUFFIXES, SHEET_SUFFIX, read_photo
from petitpied.running.worker_processes import CPU_SECONDS, TOO_LONG, Ended, run_apart
from petitpied.text.wording import printable

if TYPE_CHECKING:
    from petitpied.domain.photo import Photo
    from petitpied.domain.record import Record
    from petitpied.sorting.limits import Limits


@dataclass(frozen=True, slots=True)
class Job:
    """A photo and where its results go."""

    photo: Path
    folder: Path
    stem: str
    second: Path | None = None  # another photo of the same tray, from elsewhere
    before: Path | None = None  # photo of the same tray as piped, for the growth
    budget_of: str | None = None  # shell whose budget is shown; "": the median one
    limits: "Limits | None" = None  # the baker's, for verdicts
    sheet: bool = False  # a contact sheet too
    replace: bool = False  # write over files of others too
    flavour: str | None = None  # kept in the record

    def result(self, suffix: str) -> Path:
        return self.folder / f"{self.stem}{suffix}"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one job: its short table, or the error."""

    job: Job
    lines: tuple[str, ...] = ()
    error: ReadingError | None = None


Work = Callable[[Job, Settings], tuple[str, ...]]


def plan(photos: tuple[Path, ...], out: Path | None) -> tuple[Job, ...]:
    """A job for each photo; results go to ``out``, else beside the photo.

    Raises
    ------
    OutputError
        If a result would overwrite one of the photos.
    """
    folders = [photo.parent if out is None else out for photo in photos]
    stems = distinct_stems(zip(photos, folders, strict=True))
    jobs = tuple(Job(*parts) for parts in zip(photos, folders, stems, strict=True))
    given = {photo.absolute() for photo in photos}
    for job in jobs:
        taken = [s for s in PICTURE_SUFFIXES if job.result(s).absolute() in given]
        if taken:
            name = printable(job.result(taken[0]).name)
            raise OutputError(
                what=f"{name} cannot be written",
                why="one of the photos has this name",
                next_step="choose another folder with --out",
            )
    return jobs


def _may_replace(job: Job, photo_sha256: str) -> bool:
    """Whether what lies in the results' place may go: the baker said so, or it is the set of this
    very photo.

    Raises
    ------
    OutputError
        If it is the record of another photo, or a file of another kind.
    """
    from petitpied.files.records.record_files import photo_of_record
    from petitpied.files.records.table_files import is_our_table

    place = job.result(".json")
    if job.replace or not os.path.lexists(place):
        return job.replace
    name = printable(place.name)
    owner = photo_of_record(place)
    if owner != photo_sha256:
        why = "it is the record of another photo" if owner else "it is no record of an inspection"
    elif os.path.lexists(job.result(".csv")) and not is_our_table(job.result(".csv")):
        name, why = printable(job.result(".csv").name), "it is a table of another kind"
    else:
        return True
    raise OutputError(
        what=f"{name} would be overwritten",
        why=f"a file of this name is there, and {why}",
        next_step="choose another folder with --out, or say --replace to write over it",
    )


def inspected(photo: "Photo", settings: Settings) -> "Record":
    """As `inspect_photo`, the view worked out in a second thread beside the outlines."""
    from petitpied.inspection.one_photo import find_outlines, inspect_photo, measure, see_view

    if settings.relative:
        return inspect_photo(photo, settings)
    with ThreadPoolExecutor(1) as beside:
        seeing = beside.submit(see_view, photo, settings)
        outlines = find_outlines(photo)
        return measure(photo, settings, outlines, seeing.result())


def inspect_one(job: Job, settings: Settings) -> tuple[str, ...]:
    """Inspect one photo and write its four files.

    Returns
    -------
    tuple of str
        The short table.

    Raises
    ------
    ReadingError
        If the photo cannot be read, has no usable card or shell, or the files cannot be
        written; then no file was changed.
    """
    from petitpied.files.own.lens_files import with_lens
    from petitpied.photo.decode import decode_photo

    def decoded(path: Path, asked: Settings) -> "Photo":
        return with_lens(decode_photo(read_photo(path), path.name), asked)

    settings = _with_colour(settings, job.flavour)
    with ThreadPoolExecutor(1) as aside:  # decoding leaves Python free, to import the rest
        decoding = aside.submit(decoded, job.photo, settings)
        import petitpied.inspection.one_photo  # noqa: F401 as `inspected` will need it
        from petitpied.figures.tray.overlay import marked_jpeg
        from petitpied.files.records.record_files import record_bytes
        from petitpied.files.records.table_files import coco_bytes, csv_bytes
        from petitpied.statistics.tray_summary import summarise
        from petitpied.text.growth_words import growth_lines
        from petitpied.text.summary_words import summary_lines
        from petitpied.text.surface_words import surface_lines

        photo = decoding.result()
    prepare_folder(job.folder)  # before the work, not after it
    replace_files = _may_replace(job, photo.sha256)
    if job.second is None:
        record = inspected(photo, settings)
    else:
        from petitpied.inspection.two_photos import inspect_two

        record = inspect_two(photo, decoded(job.second, settings), settings)
    if job.before is not None:
        from petitpied.sizing.growth import with_growth

        raw = replace(settings, shell_height_mm=None)  # the ruler was laid to baked shells
        record = with_growth(record, inspected(decoded(job.before, raw), raw))
    record = replace(record, flavour=job.flavour)
    verdicts: tuple[str, ...] = ()
    if job.limits is not None:
        from petitpied.files.records.lot_files import judged
        from petitpied.text.lots.sorting_words import (
            counts_text,  # scipy.stats takes long to import
        )

        record, notes = judged(record, job.limits)
        verdicts = (counts_text(record.shells), *(f"note: {note}" for note in notes))
    summary = summarise(record)
    extra = {}
    if job.sheet:
        from petitpied.figures.raster import jpeg_bytes
        from petitpied.figures.tray.sheet import contact_sheet

        sheet = contact_sheet(photo.pixels_bgr, record, summary)
        extra[job.result(SHEET_SUFFIX)] = jpeg_bytes(sheet)
    shown: tuple[str, ...] = ()
    if job.budget_of is not None:
        from petitpied.text.budget_lines import budget_lines

        shown = budget_lines(record, job.budget_of)
    with ThreadPoolExecutor(1) as aside:  # OpenCV's work on the picture leaves Python free
        marking = aside.submit(marked_jpeg, photo.pixels_bgr, record, summary)
        texts = {
            job.result(".json"): record_bytes(record),
            job.result(".csv"): csv_bytes(record),
            job.result(".coco.json"): coco_bytes(record),
        }
        marked = {job.result(MARKED_SUFFIX): marking.result()}
    write_all({**texts, **marked, **extra}, replace=replace_files)
    told = (*summary_lines(record, summary), *surface_lines(record))
    return (*told, *verdicts, *growth_lines(record), *shown)


def _with_colour(settings: Settings, flavour: str | None) -> Settings:
    """Browning counts from the flavour's own colour, where one is kept."""
    if flavour is None or settings.reference is not None or settings.relative:
        return settings
    from petitpied.files.own.flavours import flavour_name, own_flavours

    return replace(settings, reference=own_flavours().get(flavour_name(flavour)))


def run(
    jobs: tuple[Job, ...], settings: Settings, workers: int, work: Work = inspect_one
) -> Iterator[Outcome]:
    """Outcomes of all jobs, as they finish; an error of one photo never stops the others.

    Every photo is read and measured in a process apart, with bounded time and memory.
    """
    for ended in run_apart(partial(_worked, work, settings), jobs, workers):
        yield _outcome(ended)


def _worked(work: Work, settings: Settings, job: Job) -> tuple[str, ...]:
    return work(job, settings)


def usable_cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _outcome(ended: Ended[Job]) -> Outcome:
    job, error = ended.task, ended.error
    if error is None and not ended.lost:
        return Outcome(job, lines=ended.result)
    if isinstance(error, ReadingError):
        return Outcome(job, error=error)
    return Outcome(job, error=_fault(job, error, ended.lost))


def _fault(job: Job, error: Exception | None, lost: str) -> ReadingError:
    """A fault of the program itself, told like the others so that the rest goes on."""
    what = f"{printable(job.photo.name)} could not be inspected"
    if lost == TOO_LONG:
        return PhotoError(
            what=what,
            why=f"it takes more than {CPU_SECONDS} seconds of work, where a photo takes a few",
            next_step="give the photo as the camera wrote it, or take it again",
        )
    if lost or isinstance(error, MemoryError) or "nsufficient memory" in str(error):
        return PhotoError(
            what=what,
            why="it needs more memory than there is for a photo"
            if not lost
            else "its process was ended from outside, perhaps for want of memory",
            next_step="inspect it alone, with other programs closed",
        )
    return ReadingError(
        what=what,
        why=f"an unforeseen fault ({type(error).__name__}: {printable(str(error))[:120]})",
        next_step="inspect it alone with --debug and report what is shown",
    )
