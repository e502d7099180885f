"""Attacks from the command line: counts, and every fault with the number that makes it again."""

import argparse
import sys
import tempfile
import time
from pathlib import Path

from tests.fuzz import crowds, kills, power, run_many

WORLDS = {"kills": kills.run, "power": power.run, "crowd": crowds.run}


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("kind", choices=[*run_many.KINDS, *WORLDS])
    parser.add_argument("--count", type=int, default=200, help="attacks (default 200)")
    parser.add_argument("--first", type=int, default=0, help="number of the first (default 0)")
    parser.add_argument("--workers", type=int, default=2, help="processes (default 2)")
    parser.add_argument(
        "--again", action="store_true", help="the first alone, here, with its words"
    )
    asked = parser.parse_args()
    if asked.kind in WORLDS:
        return WORLDS[asked.kind](asked.count, asked.first)
    if asked.again:
        return _again(asked.kind, asked.first)
    begun = time.monotonic()
    tally = run_many.run(asked.kind, range(asked.first, asked.first + asked.count), asked.workers)
    statuses = ", ".join(f"{status}: {n}" for status, n in sorted(tally.statuses.items()))
    print(
        f"{asked.kind}: {tally.count} attacks from number {asked.first}; statuses {statuses}; "
        f"slowest {tally.slowest_s:.1f} s of processor, memory {tally.memory_bytes / 1e6:.0f} MB; "
        f"{time.monotonic() - begun:.0f} s"
    )
    for number, fault in tally.faults:
        print(f"  {number}: {fault}")
    print(f"{len(tally.faults)} faults")
    return 1 if tally.faults else 0


def _again(kind, number):
    with tempfile.TemporaryDirectory() as folder:
        print(run_many.attack(kind, number, Path(folder) / "attack"))
    return 0


if __name__ == "__main__":
    sys.exit(main())
