"""Figures of sorting: pairs, boxes and verdicts against brute force and known truth.

Lots are drawn from the seeds below, which nothing was tuned on; each figure says its own.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from time import process_time

import numpy as np

from petitpied.domain.errors import ReadingError
from petitpied.domain.quantity import Quantity
from petitpied.domain.settings import Settings
from petitpied.inspection.one_photo import inspect_photo
from petitpied.photo.decode import decode_photo
from petitpied.sorting.box_file import BoxKind
from petitpied.sorting.boxes import fill_boxes
from petitpied.sorting.closeness import Closeness
from petitpied.sorting.limits import Limit, Limits
from petitpied.sorting.lot import Verdict
from petitpied.sorting.pairing import pair_lot
from petitpied.sorting.verdicts import Measured, judge
from tests.benchmarks.scorer import TrueShells, true_roundness
from tests.sorting.fillings import every_filling, macarons
from tests.sorting.lots import a_lot, least_total

#: figures only; tests use small seeds
FIRST_SEED = 500_000
RISK = 0.05


def sorting_lines(tuning: list[Path], held_out: list[Path], few: bool) -> Iterator[str]:
    """Every table of this part."""
    yield "\n## Sorting\n"
    yield from _brute_force_lines(50 if few else 500)
    yield from _baseline_lines(10 if few else 100)
    yield from _box_lines(30 if few else 300)
    yield from _speed_lines((1000,) if few else (1000, 10_000))
    yield from _drawn_verdict_lines(20 if few else 400)
    sets = (("tuning scenes", tuning), ("held-out scenes", held_out))
    for title, pictures in sets:
        if pictures:
            yield from _scene_verdict_lines(title, pictures[:2] if few else pictures)


def _brute_force_lines(lots: int) -> Iterator[str]:
    worst = 0.0
    for seed in range(FIRST_SEED, FIRST_SEED + lots):
        shells = a_lot(2 + seed % 9, seed, colour=bool(seed % 2))
        least = least_total(Closeness.of(shells).matrix())
        worst = max(worst, abs(pair_lot(shells).total_cost - least))
    yield (
        f"Pairs, {lots} random lots of 2 to 10 shells: total cost differs from brute force by at "
        f"most {worst:.1e} mm (seeds from {FIRST_SEED}).\n"
    )


@dataclass(frozen=True)
class _Paired:
    difference_mm: float
    cost_mm: float


def _by_order(closeness: Closeness, order: np.ndarray) -> _Paired:
    a, b = order[0 : len(order) - 1 : 2], order[1::2]
    apart = np.abs(closeness.diameter_mm[a] - closeness.diameter_mm[b])
    return _Paired(float(apart.mean()), float(closeness.pairs(a, b)[0].sum()))


def _baseline_lines(lots: int) -> Iterator[str]:
    ours, neighbours, by_size = [], [], []
    for seed in range(FIRST_SEED + 10_000, FIRST_SEED + 10_000 + lots):
        shells = a_lot(36, seed, colour=True)
        closeness, found = Closeness.of(shells), pair_lot(shells)
        mean = float(np.mean([p.difference_mm.value for p in found.pairs]))
        ours.append(_Paired(mean, found.total_cost))
        neighbours.append(_by_order(closeness, np.arange(36)))
        by_size.append(_by_order(closeness, np.argsort(closeness.diameter_mm)))
    yield f"36 shells, {lots} lots (seeds from {FIRST_SEED + 10_000}), mean of a lot:\n"
    yield "| pairs | difference of diameters, mm | total cost, mm | lots with less cost than ours |"
    yield "|---|---|---|---|"
    for name, found_by in (
        ("ours", ours),
        ("neighbours on the tray", neighbours),
        ("sorted by diameter", by_size),
    ):
        apart = np.mean([p.difference_mm for p in found_by])
        cost = np.mean([p.cost_mm for p in found_by])
        fewer = sum(x.cost_mm < o.cost_mm - 1e-9 for x, o in zip(found_by, ours, strict=True))
        yield f"| {name} | {apart:.3f} | {cost:.2f} | {fewer} |"
    yield ""


def _box_lines(lots: int) -> Iterator[str]:
    same_count = same_size = same_colour = 0
    for seed in range(FIRST_SEED + 20_000, FIRST_SEED + 20_000 + lots):
        random = np.random.default_rng(seed)
        count, slots = int(random.integers(3, 10)), int(random.integers(2, 4))
        sizes = random.normal(45, 1, count)
        flavours = [str(f) for f in random.choice(["lemon", "rose"], count)]
        labs = random.normal([60, 20, 10], 1.5, (count, 3))
        kind = BoxKind("box", slots, slots, 60.0)
        mixed = {"lemon": 1, "rose": slots - 1}
        kind = replace(kind, flavours=("one", "any", mixed)[seed % 3])
        kind = replace(kind, even_range_mm=(None, 1.2)[seed // 3 % 2])
        found = fill_boxes(macarons(sizes, flavours, labs), kind, 30.0)
        wanted, worst, colour = every_filling(sizes, flavours, labs, kind)
        same_count += len(found.boxes) == wanted
        same_size += _alike(found.worst_range_mm, worst)
        same_colour += _alike(found.worst_colour, colour)
    yield (
        f"Boxes, {lots} random lots of 3 to 9 macarons (seeds from {FIRST_SEED + 20_000}), "
        f"against every filling tried: same count {same_count}, same worst range of diameter "
        f"{same_size}, same worst range of colour {same_colour}.\n"
    )


def _alike(found: float | None, wanted: float | None) -> bool:
    if found is None or wanted is None:
        return found is None and wanted is None
    return abs(found - wanted) < 1e-9


def _speed_lines(counts: tuple[int, ...]) -> Iterator[str]:
    """CPU seconds, and as a ratio to a product of two 2,000 x 2,000 matrices of doubles by
    NumPy on one core."""
    square = np.random.default_rng(1).normal(size=(2000, 2000))
    start = process_time()
    for _ in range(3):
        square @ square
    unit = (process_time() - start) / 3
    yield "| shells | CPU seconds | times one 2,000 x 2,000 matrix product | gap to the bound |"
    yield "|---|---|---|---|"
    for count in counts:
        shells = a_lot(count, FIRST_SEED + 30_000)
        start = process_time()
        found = pair_lot(shells)
        seconds = process_time() - start
        yield f"| {count} | {seconds:.1f} | {seconds / unit:.0f} | {100 * found.gap_rel:.3f} % |"
    yield ""


def _drawn_verdict_lines(photos: int) -> Iterator[str]:
    """Drawn truth, 36 shells a photo; own and shared errors as large as stated."""
    random = np.random.default_rng(FIRST_SEED + 40_000)
    limits = Limits(
        RISK,
        (Limit("diameter_mm", 43.5, 46.5), Limit("roundness_mm", None, 2.0)),
        (Limit("diameter_mm", 41.0, 49.0), Limit("roundness_mm", None, 4.0)),
    )
    table = _Verdicts()
    for _ in range(photos):
        shared = random.normal(0, 0.15)
        for _ in range(36):
            true = {"diameter_mm": random.normal(45, 1.2), "roundness_mm": random.gamma(6, 0.25)}
            values = {
                "diameter_mm": Quantity(
                    true["diameter_mm"] + shared + random.normal(0, 0.2), 0.2, 0.15
                ),
                "roundness_mm": Quantity(true["roundness_mm"] + random.normal(0, 0.2), 0.2),
            }
            table.add(judge(Measured(values), limits).verdict, true, limits)
    yield (
        f"Verdicts at a risk of 5 %, {photos} drawn photos of 36 shells (seed "
        f"{FIRST_SEED + 40_000}): {table.text()}\n"
    )


@dataclass
class _Verdicts:
    """Counts of verdicts against the truth."""

    shells: int = 0
    passed: int = 0
    wrongly: int = 0
    bad: int = 0
    by_eye: int = 0

    def add(self, verdict: Verdict, true: dict[str, float], limits: Limits) -> None:
        conforms = all(
            (x.low is None or true[x.name] >= x.low) and (x.high is None or true[x.name] <= x.high)
            for x in limits.passes
        )
        self.shells += 1
        self.bad += not conforms
        self.by_eye += verdict is Verdict.BY_EYE
        self.passed += verdict is Verdict.PASS
        self.wrongly += verdict is Verdict.PASS and not conforms

    def text(self) -> str:
        return (
            f"{self.passed} of {self.shells} pass, of these wrongly {self.wrongly} "
            f"({100 * self.wrongly / max(self.passed, 1):.2f} %); of {self.bad} truly bad ones "
            f"{100 * self.wrongly / max(self.bad, 1):.2f} % pass; check by eye "
            f"{100 * self.by_eye / max(self.shells, 1):.0f} %."
        )


def _scene_verdict_lines(title: str, pictures: list[Path]) -> Iterator[str]:
    """Limits at several places of each scene's own true spread; one quantity, then all."""
    names = ("diameter_mm", "roundness_mm", "lean_mm")
    tables = {key: _Verdicts() for key in (*names, "all three")}
    for picture in pictures:
        for true, values in _measured(picture):
            for level in (50, 75, 90):
                everything = _scene_limits(true["all"], level)
                for key in tables:
                    kept = tuple(x for x in everything if key in (x.name, "all three"))
                    limits = Limits(RISK, kept)
                    tables[key].add(judge(Measured(values), limits).verdict, true["own"], limits)
    yield f"Verdicts at a risk of 5 % on {len(pictures)} {title}, limits at three places each:\n"
    for key, table in tables.items():
        yield f"- {key.removesuffix('_mm')}: {table.text()}"
    yield ""


def _scene_limits(true: dict[str, np.ndarray], level: float) -> tuple[Limit, ...]:
    middle = float(np.median(true["diameter_mm"]))
    reach = float(np.percentile(np.abs(true["diameter_mm"] - middle), level))
    return (
        Limit("diameter_mm", middle - reach, middle + reach),
        Limit("roundness_mm", None, float(np.percentile(true["roundness_mm"], level))),
        Limit("lean_mm", None, float(np.percentile(true["lean_mm"], level))),
    )


def _measured(picture: Path) -> list[tuple[dict, dict]]:
    """Of each whole measured shell: truth (its own and all of the scene), measured values."""
    truth = json.loads(picture.with_suffix(".json").read_text())
    try:
        record = inspect_photo(decode_photo(picture.read_bytes(), picture.name), Settings())
    except ReadingError:
        return []
    true = TrueShells.of(truth)
    own = [
        {
            "diameter_mm": s["area_equiv_diameter_mm"],
            "roundness_mm": true_roundness(np.array(s["outline_mm"])),
            "lean_mm": s["lean_mm"],
        }
        for s in truth["shells"]
    ]
    everyone = {name: np.array([values[name] for values in own]) for name in own[0]}
    rows = []
    for i, j in true.match(np.array([s.centre_px for s in record.shells])):
        shell = record.shells[j]
        values = {name: getattr(shell, name) for name in own[0]}
        if true.whole[i] and all(v is not None for v in values.values()):
            rows.append(({"own": own[i], "all": everyone}, values))
    return rows
