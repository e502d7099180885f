"""Many processes that log at the same time: every bake is there once, and none shows an error."""

import tempfile
import time
from pathlib import Path

from tests.fuzz import worlds

PROCESSES = 8


def run(count=1000, first=0, processes=PROCESSES):
    """``count`` bakes by eight processes at once, on each kind of database; half of the bakes are
    logged by two of them. Prints what was wrong, returns an exit status."""
    del first  # nothing is drawn here
    faults = []
    with worlds.servers() as servers, tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        worlds.write_records(folder, count)
        for kind, address in {"sqlite": str(folder / "h.sqlite"), **servers}.items():
            begun = time.monotonic()
            found = crowd(folder, address, count, processes)
            faults += [f"{kind}: {fault}" for fault in found]
            seconds = time.monotonic() - begun
            print(f"{kind}: {count} bakes by {processes} processes, {seconds:.0f} s")
    print(*faults, f"{len(faults)} faults", sep="\n")
    return 1 if faults else 0


def crowd(folder, address, count, processes):
    """What was wrong."""
    header, *rows = (folder / "facts.csv").read_text().splitlines()
    crew = []
    for p in range(processes):
        own = rows[p::processes] + rows[(p + 1) % processes :: processes][::2]
        table = folder / f"facts_{p}.csv"
        table.write_text("\n".join([header, *own]))
        crew.append(worlds.started(("log", "--facts", table, "--db", address), folder))
    faults = []
    for p, process in enumerate(crew):
        _, err = process.communicate(timeout=900)
        if process.returncode or err:
            faults.append(f"process {p}: status {process.returncode}: {err[:300]}")
    there = worlds.numbers_in(address)
    if there != set(range(count)):
        faults.append(f"{len(there)} of {count} are there")
    fault = worlds.integrity(address)
    return [*faults, fault] if fault else faults
