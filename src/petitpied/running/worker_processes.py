"""Work done apart: in processes with bounded time and memory, so that a bad file harms no other.

Nothing heavy is imported here: a worker process sets its threads before NumPy starts.
"""

import contextlib
import os
import signal
import sys
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from multiprocessing import connection, get_context
from typing import Any, Generic, TypeVar

from petitpied.running.interrupts import Interrupted, heard_by_parent

Task = TypeVar("Task")

#: an inspection takes one to six seconds of processor time (50 megapixels); a photo made to be
#: slow is given up; by the clock, for what waits without working
CPU_SECONDS, CLOCK_SECONDS = 60, 600
#: a photo of 50 megapixels takes 0.9 GB
MEMORY_BYTES = 2_000_000_000
#: a worker that is told to end has this long to put its files in order
END_SECONDS = 1.0

TOO_LONG = "too long"
DIED = "died"


@dataclass(frozen=True)
class Bounds:
    """What one task may take."""

    cpu_s: int = CPU_SECONDS
    clock_s: float = CLOCK_SECONDS
    memory_bytes: int = MEMORY_BYTES


@dataclass(frozen=True)
class Ended(Generic[Task]):
    """What came of a task: its result, or the error it raised, or `TOO_LONG` or `DIED`."""

    task: Task
    result: Any = None
    error: Exception | None = None
    lost: str = ""


@dataclass(frozen=True, eq=False)
class _Worker:
    """A process, and our end of its pipe."""

    process: Any
    pipe: Any


#: workers that do something: what, and since when by the monotonic clock
Busy = dict[_Worker, tuple[Task, float]]


def run_apart(
    work: Callable[[Task], Any], tasks: Sequence[Task], workers: int, bounds: Bounds | None = None
) -> Iterator[Ended[Task]]:
    """Results of all tasks, as they finish. ``work`` must be importable, tasks be pickled.

    A task whose worker dies (killed, out of memory) is tried once more, alone, after the others:
    the memory may have been short because of them. Workers end with this iterator.
    """
    limits, again = bounds or Bounds(), []
    pool: list[_Worker] = []
    try:
        for ended in _all_ended(work, tasks, min(workers, len(tasks)), (limits, pool)):
            if ended.lost == DIED and len(tasks) > 1:
                again.append(ended.task)
            else:
                yield ended
        for task in again:
            yield from _all_ended(work, [task], 1, (limits, pool))
    finally:
        _end(pool)


def _all_ended(
    work: Callable[[Task], Any],
    tasks: Sequence[Task],
    workers: int,
    means: tuple[Bounds, list[_Worker]],
) -> Iterator[Ended[Task]]:
    """Hand out tasks until none is left and none is being worked on."""
    bounds, pool = means
    waiting = deque(tasks)
    busy: Busy[Task] = {}
    while waiting or busy:
        while waiting and len(busy) < workers:
            worker = next((w for w in pool if w not in busy), None) or _started(pool, bounds)
            busy[worker] = waiting.popleft(), time.monotonic()
            with contextlib.suppress(OSError):  # it died meanwhile: heard below
                worker.pipe.send((work, busy[worker][0]))
        # an answer or the end of the process: both wake us
        left_s = min(since for _, since in busy.values()) + bounds.clock_s - time.monotonic()
        connection.wait([worker.pipe for worker in busy], timeout=max(0.0, left_s))
        for worker, (task, since) in list(busy.items()):
            late = time.monotonic() - since >= bounds.clock_s
            if worker.pipe.poll() or late:
                del busy[worker]
                yield _answer(pool, worker, task, late=late)


def _started(pool: list[_Worker], bounds: Bounds) -> _Worker:
    """One more worker."""
    # "spawn" on every system: a forked process would inherit OpenCV's threads half alive
    context = get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_serve, args=(theirs, bounds), daemon=True)
    process.start()
    theirs.close()  # its end is the worker's alone: when that dies, we hear it
    pool.append(_Worker(process, ours))
    return pool[-1]


def _answer(pool: list[_Worker], worker: _Worker, task: Task, *, late: bool) -> Ended[Task]:
    try:
        if not worker.pipe.poll():
            raise EOFError
        kind, value = worker.pipe.recv()
    except (EOFError, OSError):
        pool.remove(worker)
        _end([worker])
        by_clock = late or worker.process.exitcode == -getattr(signal, "SIGXCPU", 0)
        return Ended(task, lost=TOO_LONG if by_clock else DIED)
    return Ended(task, result=value) if kind == "done" else Ended(task, error=value)


def _end(pool: Sequence[_Worker]) -> None:
    """Told to end, then ended."""
    for worker in pool:
        worker.process.terminate()
    end_s = time.monotonic() + END_SECONDS
    for worker in pool:
        worker.process.join(max(0.0, end_s - time.monotonic()))
        if worker.process.exitcode is None:
            worker.process.kill()
            worker.process.join()
        worker.pipe.close()


def one_thread_for_matrices() -> None:
    """To be called before NumPy is imported: our matrices are small, and sharing each among
    threads made an inspection take a third longer (measured on two cores)."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"


def _serve(pipe: Any, bounds: Bounds) -> None:
    """A worker's life: tasks in, answers out, until the pipe is closed."""
    heard_by_parent()
    one_thread_for_matrices()
    _bound_memory(bounds.memory_bytes)
    try:
        import cv2

        cv2.setNumThreads(1)  # the processes already use every core
        while True:
            work, task = pipe.recv()
            _bound_time(bounds.cpu_s)
            try:
                answer = ("done", work(task))
            except Exception as error:
                answer = ("failed", _carried(error))
            pipe.send(answer)
    except (EOFError, OSError, Interrupted):
        return


def _carried(error: Exception) -> Exception:
    """An error that can cross the pipe: its own, or its words."""
    import pickle

    try:
        pickle.loads(pickle.dumps(error))
    except Exception:
        return RuntimeError(f"{type(error).__name__}: {error}")
    return error


def _bound_memory(most: int) -> None:
    """Where the system knows it (Linux): memory of the process's own, not what it maps of files."""
    if sys.platform != "linux":
        return
    import resource

    hard = resource.getrlimit(resource.RLIMIT_DATA)[1]
    soft = most if hard == resource.RLIM_INFINITY else min(most, hard)
    resource.setrlimit(resource.RLIMIT_DATA, (soft, hard))


def _bound_time(seconds: int) -> None:
    """So much processor time from now on, counted by the system over all threads."""
    if sys.platform == "win32":
        return
    import resource

    used = sum(resource.getrusage(resource.RUSAGE_SELF)[:2])
    hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
    soft = int(used) + seconds + 1
    if hard == resource.RLIM_INFINITY or soft <= hard:
        resource.setrlimit(resource.RLIMIT_CPU, (soft, hard))
