"""Many attacks in processes of their own, each attack by its number; hangs are ended and told."""

import multiprocessing
import os
import random
import resource
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from tests.fuzz import files, photos
from tests.fuzz.judge import bound_memory, faults_of, run_command

KINDS = {**files.KINDS, "photos": photos.photo, "inspections": photos.inspection}
MOST_SECONDS = dict.fromkeys(files.KINDS, files.MOST_SECONDS) | photos.MOST_SECONDS
MOST_BYTES = 1_200_000_000
#: by the clock: a machine shared with others may take so much longer than its processor time
HANGS_AFTER = 12.0


@dataclass
class Tally:
    """What came of the attacks of one kind."""

    count: int = 0
    statuses: Counter = field(default_factory=Counter)
    faults: list = field(default_factory=list)  # (number, what)
    slowest_s: float = 0.0
    memory_bytes: int = 0

    def add(self, number, status, faults, seconds, memory):
        self.count += 1
        self.statuses[status] += 1
        self.faults += [(number, fault) for fault in faults]
        self.slowest_s = max(self.slowest_s, seconds)
        self.memory_bytes = max(self.memory_bytes, memory)


def attack(kind, number, folder):
    """One attack: status, what is wrong, processor seconds."""
    drawn = random.Random(f"{kind}/{number}")
    folder = files.fresh(folder)
    made = KINDS[kind](drawn, folder)
    if kind == "photos":
        return photos.decoded(made, folder, MOST_SECONDS[kind])
    outcome = run_command(made)
    faults = faults_of(outcome, folder, MOST_SECONDS[kind])
    if kind == "inspections":
        faults += photos.wrong_results(outcome, folder)
    return outcome.status, faults, outcome.seconds


def run(kind, numbers, workers):
    """All attacks of a kind with these numbers."""
    context = multiprocessing.get_context("spawn")
    tally = Tally()
    shares = [list(numbers)[w::workers] for w in range(workers)]
    crew = [_Worker(context, kind, share) for share in shares if share]
    while crew:
        ready = multiprocessing.connection.wait([w.pipe for w in crew], timeout=1)
        for worker in list(crew):
            if worker.pipe in ready and not worker.take(tally):
                crew.remove(worker)
            elif time.monotonic() - worker.since > HANGS_AFTER * MOST_SECONDS[kind]:
                worker.give_up(tally)
    return tally


class _Worker:
    def __init__(self, context, kind, share):
        self.context, self.kind, self.share = context, kind, share
        self._start()

    def _start(self):
        self.pipe, theirs = self.context.Pipe()
        self.since = time.monotonic() + 30  # its imports
        self.process = self.context.Process(
            target=_serve, args=(theirs, self.kind, self.share), daemon=False
        )
        self.process.start()
        theirs.close()

    def take(self, tally):
        try:
            answer = self.pipe.recv()
        except EOFError:
            self.process.join()
            if not self.share:
                return False
            tally.add(self.share.pop(0), 1, [f"died: {self.process.exitcode}"], 0, 0)
            self._start()
            return bool(self.share)
        self.since = time.monotonic()
        self.share.remove(answer[0])
        tally.add(*answer)
        return True

    def give_up(self, tally):
        self.process.kill()
        self.process.join()
        tally.add(self.share.pop(0), 1, ["hangs"], 0, 0)
        self._start()


def _serve(pipe, kind, share):
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[name] = "1"
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # libraries that write past Python
    with tempfile.TemporaryDirectory(prefix="petitpied-fuzz-") as own:
        os.environ |= {"XDG_DATA_HOME": f"{own}/data", "XDG_CONFIG_HOME": f"{own}/config"}
        os.environ["HOME"] = f"{own}/home"
        os.chdir(files.fresh(Path(own) / "here"))
        bound_memory(MOST_BYTES)
        for number in list(share):
            status, faults, seconds = attack(kind, number, Path(own) / "attack")
            memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
            pipe.send((number, status, faults, seconds, memory))
