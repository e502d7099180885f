"""Work done apart: in processes with bounded time and memory, so that a bad file harms no other.

Nothing heavy is imported here: a worker process sets its threads before NumPy starts.
"""

import os
import signal
import sys
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from multiprocessing import connection, get_context
from typing import Any, Generic, TypeVar

from petitpied.rim.interrupts import Interrupted, heard_by_parent

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


@dataclass
class _Worker(Generic[Task]):
    """A process, our end of its pipe, and what it is doing since when."""

    process: Any
    pipe: Any
    task: Task | None = None
    since_s: float = field(default=0.0)


def run_apart(
    work: Callable[[Task], Any], tasks: Sequence[Task], workers: int, bounds: Bounds | None = None
) -> Iterator[Ended[Task]]:
    """Results of all tasks, as they finish. ``work`` must be importable, tasks be pickled.

    A task whose worker dies (killed, out of memory) is tried once more, alone, after the others:
    the memory may have been short because of them. Workers end with this iterator.
    """
    limits = bounds or Bounds()
    waiting, again = deque(tasks), []
    pool: list[_Worker[Task]] = []
    try:
        for ended in _rounds(pool, waiting, min(workers, len(tasks)), (work, limits)):
            if ended.lost == DIED and len(tasks) > 1:
                again.append(ended.task)
            else:
                yield ended
        for task in again:
            yield from _rounds(pool, deque([task]), 1, (work, limits))
    finally:
        _end(pool)


def _rounds(
    pool: list[_Worker[Task]],
    waiting: deque[Task],
    workers: int,
    job: tuple[Callable[[Task], Any], Bounds],
) -> Iterator[Ended[Task]]:
    """Hand out tasks until none is left and none is being worked on."""
    work, bounds = job
    while waiting or any(worker.task is not None for worker in pool):
        while waiting and (idle := _idle(pool, workers, bounds)) is not None:
            idle.task, idle.since_s = waiting.popleft(), time.monotonic()
            idle.pipe.send((work, idle.task))
        busy = [worker for worker in pool if worker.task is not None]
        # an answer or the end of the process; both wake us
        left_s = min(w.since_s + bounds.clock_s - time.monotonic() for w in busy)
        heard = connection.wait([w.pipe for w in busy], timeout=max(0.0, left_s))
        for worker in busy:
            late = time.monotonic() - worker.since_s >= bounds.clock_s
            if worker.pipe in heard or late:
                yield _answer(pool, worker, late=worker.pipe not in heard)


def _idle(pool: list[_Worker[Task]], workers: int, bounds: Bounds) -> _Worker[Task] | None:
    for worker in pool:
        if worker.task is None:
            return worker
    if len(pool) >= workers:
        return None
    # "spawn" on every system: a forked process would inherit OpenCV's threads half alive
    context = get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_serve, args=(theirs, bounds), daemon=True)
    process.start()
    theirs.close()  # its end is the worker's alone: when that dies, we hear it
    pool.append(_Worker(process, ours))
    return pool[-1]


def _answer(pool: list[_Worker[Task]], worker: _Worker[Task], *, late: bool) -> Ended[Task]:
    task = worker.task
    assert task is not None
    worker.task = None
    try:
        if late:
            raise TimeoutError
        kind, value = worker.pipe.recv()
    except (EOFError, OSError):
        pool.remove(worker)
        _end([worker])
        by_clock = late or worker.process.exitcode == -getattr(signal, "SIGXCPU", 0)
        return Ended(task, lost=TOO_LONG if by_clock else DIED)
    return Ended(task, result=value) if kind == "done" else Ended(task, error=value)


def _end(pool: Sequence[_Worker[Any]]) -> None:
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
