"""Inspecting photos: one in this process, several spread over processes.

Nothing heavy is imported at the top: a worker process sets its threads before NumPy starts.
"""

import os
from collections.abc import Callable, Iterator
from concurrent.futures import (
    Executor,
    Future,
    ProcessPoolExecutor,
    ThreadPoolExecutor,
    as_completed,
)
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

from petitpied.domain.errors import OutputError, PhotoError, ReadingError
from petitpied.domain.settings import Settings
from petitpied.files.output_files import distinct_stems, write_all
from petitpied.files.photo_files import MARKED_SUFFIX, PICTURE_SUFFIXES, SHEET_SUFFIX, read_photo
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
        If a result would overwrite one of the photos, or a JSON file that is no record.
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
        _spare_strangers(job.result(".json"))
    return jobs


def _spare_strangers(path: Path) -> None:
    """A record may be replaced by a newer one, a JSON file of another kind never."""
    try:
        with path.open("rb") as there:
            start = there.read(200)
    except OSError:  # not there, or told when it is written
        return
    if start.strip() and b'"petitpied/' not in start:
        raise OutputError(
            what=f"{printable(path.name)} would be overwritten",
            why="a file of this name is there, and it is no record of an inspection",
            next_step="choose another folder with --out, or move the file away",
        )


def inspected(photo: "Photo", settings: Settings) -> "Record":
    """`petitpied.inspection.one_photo.inspect_photo`, its view worked out in a second thread."""
    from petitpied.inspection.one_photo import inspect_photo

    with ThreadPoolExecutor(1) as beside:
        return inspect_photo(photo, settings, lambda work: beside.submit(work).result)


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
    if job.second is None:
        record = inspected(photo, settings)
    else:
        from petitpied.inspection.two_photos import inspect_two

        record = inspect_two(photo, decoded(job.second, settings), settings)
    if job.before is not None:
        from petitpied.sizing.growth import with_growth

        raw = replace(settings, shell_height_mm=None)  # the ruler was laid to baked shells
        record = with_growth(record, inspected(decoded(job.before, raw), raw))
    verdicts: tuple[str, ...] = ()
    if job.limits is not None:
        from petitpied.files.records.lot_files import judged
        from petitpied.text.sorting_words import counts_text  # scipy.stats takes long to import

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
    write_all({**texts, **marked, **extra})
    told = (*summary_lines(record, summary), *surface_lines(record))
    return (*told, *verdicts, *growth_lines(record), *shown)


def run(
    jobs: tuple[Job, ...], settings: Settings, workers: int, work: Work = inspect_one
) -> Iterator[Outcome]:
    """Outcomes of all jobs, as they finish; an error of one photo never stops the others.

    A worker that dies (killed, out of memory) takes the jobs in its pool along; each of those
    is tried once more, alone in a process of its own.
    """
    lost: list[Job] = []
    with _pool(min(workers, len(jobs))) as pool:
        futures = {pool.submit(work, job, settings): job for job in jobs}
        try:
            for future in as_completed(futures):
                if isinstance(future.exception(), BrokenProcessPool):
                    lost.append(futures[future])
                else:
                    yield _outcome(futures[future], future)
        finally:
            pool.shutdown(wait=False, cancel_futures=True)
    for job in lost:
        with _processes(1) as pool:
            yield _outcome(job, pool.submit(work, job, settings))


def usable_cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _pool(workers: int) -> Executor:
    return ThreadPoolExecutor(1) if workers <= 1 else _processes(workers)


def _processes(workers: int) -> Executor:
    # "spawn" on every system: a forked process would inherit OpenCV's threads half alive
    return ProcessPoolExecutor(workers, get_context("spawn"), initializer=_one_thread)


def one_thread_for_matrices() -> None:
    """To be called before NumPy is imported: our matrices are small, and sharing each among
    threads made an inspection take a third longer (measured on two cores)."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"


def _one_thread() -> None:
    """In a worker: the processes already use every core."""
    one_thread_for_matrices()
    import cv2

    cv2.setNumThreads(1)


def _outcome(job: Job, future: Future[tuple[str, ...]]) -> Outcome:
    error = future.exception()
    if error is None:
        return Outcome(job, lines=future.result())
    if isinstance(error, ReadingError):
        return Outcome(job, error=error)
    if isinstance(error, Exception):
        return Outcome(job, error=_fault(job, error))
    raise error  # interrupted by the user


def _fault(job: Job, error: Exception) -> ReadingError:
    """A fault of the program itself, told like the others so that the rest goes on."""
    name = printable(job.photo.name)
    if isinstance(error, BrokenProcessPool):
        return PhotoError(
            what=f"{name} could not be inspected",
            why="its process was ended from outside, perhaps for want of memory",
            next_step="inspect it alone, with other programs closed",
        )
    return ReadingError(
        what=f"{name} could not be inspected",
        why=f"an unforeseen fault ({type(error).__name__}: {printable(str(error))[:120]})",
        next_step="inspect it alone with --debug and report what is shown",
    )
