"""The history: rate of logging, what 10,000 bakes cost, and how often charts and causes cry wolf.

Chance: seeds from `SEED` on, used for these figures only.
"""

import json
import resource
import subprocess
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import process_time

import numpy as np

from petitpied.domain.bake import MEASURES, BakeFacts, BakeShells
from petitpied.files.records.record_files import record_bytes
from petitpied.history import store as store_module
from petitpied.history.logging_bakes import Logbook
from petitpied.history.packing import pack
from petitpied.history.store import open_store
from petitpied.history.tables import BAKE, VALUES
from petitpied.patterns.trends import control_charts as charts
from petitpied.patterns.trends.association import Outcome, associations
from petitpied.patterns.trends.regressors import Regressor
from petitpied.patterns.trends.run_rules import nelson, western_electric
from tests.history.bakes import sha_of, with_sha
from tests.records import a_record, a_shell, circle

SEED = 7_000_000
SHELLS = 36
START = datetime(2000, 1, 1, 9, tzinfo=UTC)


def history_lines(few):
    """All tables."""
    yield from _logging_lines(20 if few else 200)
    yield from _size_lines(1_000 if few else 10_000)
    yield from _alarm_lines(100 if few else 1_000)
    yield from _causes_lines(50 if few else 500)


# --- logging


def _real_record():
    """As large as a photo's: outlines of 180 points."""
    shells = [
        a_shell(
            f"{'ABCDEF'[k // 6]}{k % 6 + 1}", k // 6, k % 6, 42 + 0.01 * k,
            outline_px=circle((800, 600), 84, 180), cap_outline_px=circle((800, 600), 78, 180),
        )
        for k in range(SHELLS)
    ]  # fmt: skip
    return record_bytes(a_record(shells))


def _logging_lines(count):
    text = _real_record()
    with tempfile.TemporaryDirectory() as folder:
        paths = []
        for n in range(count):
            path = Path(folder) / f"tray_{n}.json"
            path.write_bytes(with_sha(text, n))
            paths.append(path)
        store = open_store(str(Path(folder) / "h.sqlite"))
        book = Logbook(store, {"oven": "Deck"}, False, lambda: START)
        begun = process_time()
        for path in paths:
            book.log(path)
        whole = (process_time() - begun) / count
        begun = process_time()
        for n, path in enumerate(paths):
            store.add(path.read_bytes(), BakeFacts(sha_of(n), START, "Deck"), logged_at=START)
        kept = (process_time() - begun) / count
        size = (Path(folder) / "h.sqlite").stat().st_size / count
    yield "\n## Logging\n"
    yield "| what | figure |"
    yield "|---|---|"
    sizes = f"{len(text) / 1e3:.0f} kB, in the database {size / 1e3:.0f} kB"
    yield f"| record of {SHELLS} shells | {sizes} |"
    yield f"| read, checked, kept, confirmed ({count} bakes) | {1 / whole:.0f} a second |"
    yield f"| of that, the database's part | {1e3 * kept:.0f} ms a bake |"


# --- size


def _fill(address, count):
    """Bakes with every measure, straight into the tables: records are not read by these figures."""
    rng = np.random.default_rng(SEED)
    place = np.arange(SHELLS)
    ids = tuple(f"{'ABCDEF'[k // 6]}{k % 6 + 1}" for k in place)
    store = open_store(address)
    with store._writing() as c:
        for n in range(count):
            shells = BakeShells(
                ids, place // 6, place % 6, place % 6 * 60.0 - 150, place // 6 * 60.0 - 150,
                {m: rng.normal(40, 1, SHELLS) for m in MEASURES},
                {m: np.full(SHELLS, 0.1) for m in MEASURES},
            )  # fmt: skip
            facts = BakeFacts(
                sha_of(n), START + timedelta(hours=9 * n), "Deck", rack=("top", "low")[n % 2],
                turn_deg=(0, 180)[n // 2 % 2], set_temperature_c=150.0 + 5 * (n % 3),
                fan=bool(rng.integers(2)), liner=("mat", "paper")[n // 4 % 2],
                rest_minutes=float(rng.integers(20, 60)), humidity_rel=float(rng.uniform(0.3, 0.7)),
                flavour=f"flavour {rng.integers(8)}",
            )  # fmt: skip
            packed, sha = pack(shells), sha_of(n)
            c.execute(BAKE.insert().values(store_module._row(facts) | {"logged_at": "x"}))
            c.execute(
                VALUES.insert().values(
                    photo_sha256=sha, ids=packed.ids, columns=packed.columns, packed=packed.data
                )
            )


WORK = {
    "read all bakes": ("history", "list", "--json"),
    "trend, with chart": ("trend", "--out", "chart.png"),
    "trend, share of faults": ("trend", "--of", "share", "--fault", "cracks >= 41"),
    "causes": ("causes",),
}


def _size_lines(most):
    yield "\n## Many bakes\n"
    yield (
        f"Processor time of whole commands, {SHELLS} shells a bake; of it the start of the program "
        f"alone {_timed('.', ('--version',))[0]:.1f} s."
    )
    yield "\n| what | " + " | ".join(f"{n:,} bakes" for n in (most // 10, most)) + " | memory |"
    yield "|---|---|---|---|"
    with tempfile.TemporaryDirectory() as folder:
        for count in (most // 10, most):
            _fill(str(Path(folder) / f"{count}.sqlite"), count)
        for name, arguments in WORK.items():
            times = []
            for count in (most // 10, most):
                seconds, megabytes = _timed(folder, (*arguments, "--db", f"{count}.sqlite"))
                times.append(f"{seconds:.1f} s")
            yield f"| {name} | {' | '.join(times)} | {megabytes:.0f} MB |"
        yield from _inner_lines(str(Path(folder) / f"{most}.sqlite"))


def _timed(folder, arguments):
    """Processor seconds and peak memory (MB) of a command in a process of its own."""
    code = "import sys; from tests.benchmarks.history import timed_command as t; t(sys.argv[1:])"
    root = Path(__file__).resolve().parents[2]
    env = {"PYTHONPATH": f"{root}:{root / 'src'}", "OMP_NUM_THREADS": "1", "PATH": "/usr/bin:/bin"}
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], cwd=folder, env=env, check=True,
        capture_output=True, text=True,
    )  # fmt: skip
    return json.loads(done.stderr.splitlines()[-1])


def timed_command(arguments):
    """Run in the child: the command, then what it took on the error stream."""
    from petitpied.cli.main import app

    app(arguments, standalone_mode=False)
    used = resource.getrusage(resource.RUSAGE_SELF)
    print([used.ru_utime + used.ru_stime, used.ru_maxrss / 1024], file=sys.stderr)


def _inner_lines(address):
    """The parts alone, in this process, best of three, processor time."""

    def best(work):
        times = []
        for _ in range(3):
            begun = process_time()
            result = work()
            times.append(process_time() - begun)
        return min(times), result

    store = open_store(address)
    seconds, bakes = best(store.bakes)
    yield f"\nAlone: `Store.bakes` of {len(bakes):,} bakes {seconds:.2f} s."


# --- false alarms


def _alarm_lines(runs):
    yield "\n## How often a steady process raises a signal\n"
    yield "Mean bakes to the first signal, normal values (standard error in brackets)."
    yield "\n| chart | limits known | from 20 bakes | from 50 bakes |"
    yield "|---|---|---|---|"
    rng = np.random.default_rng(SEED + 1)

    def first(judge):
        return lambda z: next((s.index for s in judge(z)), None)

    def limits(z):
        beyond = np.flatnonzero(np.abs(z) > 3)
        return int(beyond[0]) if len(beyond) else None

    for name, judge, length in (
        ("individuals, limits only", limits, 4000),
        ("individuals, Western Electric 1 to 4", first(western_electric), 1000),
        ("individuals, Nelson 1 to 8", first(nelson), 800),
    ):
        cells = [_run_length(rng, judge, length, base, runs) for base in (None, 20, 50)]
        yield f"| {name} | {' | '.join(cells)} |"
    cells = [_ewma_run_length(rng, base, max(100, runs // 4)) for base in (None, 20, 50)]
    yield f"| EWMA | {' | '.join(cells)} |"
    for between in (False, True):
        share = _share_alarms(rng, max(200, runs // 3), between=between)
        kind = "widened by the scatter between trays" if between else "binomial limits"
        yield f"| share of faults, trays differ, {kind}: bakes beyond | {100 * share:.1f} % | | |"


def _told(lengths):
    return f"{np.mean(lengths):.0f} ({np.std(lengths) / np.sqrt(len(lengths)):.0f})"


def _run_length(rng, judge, length, base, runs):
    lengths = []
    for _ in range(runs):
        values = rng.normal(size=length)
        if base is not None:
            start = rng.normal(size=base)
            values = (values - start.mean()) / charts.sigma_of_individuals(start)
        hit = judge(values)
        lengths.append(length if hit is None else hit + 1)
    return _told(lengths)


def _ewma_run_length(rng, base, runs):
    lengths = []
    for _ in range(runs):
        values, centre, sigma = rng.normal(size=4000), 0.0, 1.0
        if base is not None:
            start = rng.normal(size=base)
            centre, sigma = float(start.mean()), charts.sigma_of_individuals(start)
        beyond = np.flatnonzero(charts.ewma(values, centre, sigma).beyond)
        lengths.append(int(beyond[0]) + 1 if len(beyond) else 4000)
    return _told(lengths)


def _share_alarms(rng, runs, *, between):
    """Share of bakes beyond the limits: trays' fault rates scatter (beta, mean 10 %)."""
    beyond = []
    for _ in range(runs):
        counts = rng.integers(24, 37, 60).astype(float)
        faults = rng.binomial(counts.astype(int), rng.beta(3, 27, 60)).astype(float)
        base = np.arange(60) < 30
        beyond.append(charts.share(faults, counts, base, between=between).beyond[30:].mean())
    return float(np.mean(beyond))


# --- causes


def _causes_lines(runs):
    yield "\n## Causes\n"
    yield "| histories | what | figure |"
    yield "|---|---|---|"
    for bakes, shape in ((8, "normal"), (12, "heavy tails, uneven"), (30, "heavy tails, uneven")):
        rng = np.random.default_rng(SEED + 2 + bakes)
        false = sum(_null(rng, bakes, shape) for _ in range(runs))
        share = f"{100 * false / runs:.1f} %"
        yield f"| {bakes} bakes, nothing planted, {shape} | any finding (wanted: 5 %) | {share} |"
    rng = np.random.default_rng(SEED + 3)
    found = held = 0
    for _ in range(runs):
        hit, inside = _planted(rng)
        found += hit
        held += inside
    yield f"| 20 bakes, 1 SD a step of one fact | found | {100 * found / runs:.0f} % |"
    yield f"| the same | its single 95 % interval holds the truth | {100 * held / runs:.1f} % |"


def _facts(rng, bakes):
    amounts = [Regressor(f"f{i}", "", "x", 1.0, rng.normal(size=bakes)) for i in range(4)]
    yes = Regressor("fan", "on", "", 1.0, (rng.permutation(bakes) < bakes // 2).astype(float))
    return [*amounts, yes]


def _noise(rng, bakes, shape, fact):
    if shape == "normal":
        return rng.normal(size=bakes)
    return rng.standard_t(3, bakes) * (1 + np.abs(fact.values))


def _null(rng, bakes, shape):
    facts = _facts(rng, bakes)
    outcomes = [Outcome(f"o{i}", "x", "mm", _noise(rng, bakes, shape, facts[0])) for i in range(3)]
    return any(a.stands_out for a in associations(outcomes, facts, np.arange(bakes), rng))


def _planted(rng):
    facts = _facts(rng, 20)
    values = facts[1].values + rng.normal(size=20)
    found = associations([Outcome("o", "x", "mm", values)], facts, np.arange(20), rng)
    mine = next(a for a in found if a.fact is facts[1])
    (single,) = associations([Outcome("o", "x", "mm", values)], [facts[4]], np.arange(20), rng)
    return mine.stands_out, single.low <= 0 <= single.high
