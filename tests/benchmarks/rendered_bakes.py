"""Oven maps end to end: photos of rendered trays inspected, logged, mapped.

Trays on which the oven did nothing, seen by a wide lens from near, tell how often a map cries wolf
because of how the photo was taken; trays of an oven with a hot place tell whether it is found. The
scenes are `tests.traced.varied`'s ``null_bakes`` and ``spot_bakes``.
"""

import json
import tempfile
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from scipy.stats import beta

from petitpied.domain.bake import Bake
from petitpied.domain.settings import Settings
from petitpied.files.records.record_files import record_bytes
from petitpied.history.logging_bakes import Logbook
from petitpied.history.oven_map_reading import ALL, read_maps, read_sides
from petitpied.history.store import open_store
from petitpied.inspection.one_photo import inspect_photo
from petitpied.patterns.oven.findings import Finding, OvenMap
from petitpied.photo.decode import decode_photo

#: bakes in a history, and how many histories are drawn from the rendered ones: those of one bake
#: are as many as there are photos, the others share photos and are not independent
HISTORIES = {1: 48, 3: 200, 6: 200}
FEW_PHOTOS = 3
#: a place counts as found within this, as for simulated histories
NEAR_MM = 60.0
SEED = 5_110
BAKED = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)


def logged(photos: Sequence[Path], folder: Path) -> tuple[Bake, ...]:
    """Every photo inspected, its record kept in ``folder`` and logged; the history's bakes."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "history.sqlite").unlink(missing_ok=True)
    store = open_store(str(folder / "history.sqlite"))
    for number, path in enumerate(photos):
        record = folder / f"{path.stem}.json"
        if not record.exists():
            photo = decode_photo(path.read_bytes(), path.name)
            record.write_bytes(record_bytes(inspect_photo(photo, Settings())))
        truth = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
        turn = (truth["sequence"] or {}).get("turn_deg", 0)
        at = BAKED + timedelta(days=number)
        facts = {"oven": "Rendered", "turn_deg": turn, "baked_at": at}
        Logbook(store, facts, like_last=False, now=lambda: datetime.now(UTC)).log(record)
    return store.bakes("Rendered", None)


def _upper(count: int, of: int) -> float:
    """Upper end of the one-sided 95 % interval of a share (Clopper and Pearson 1934)."""
    return 1.0 if count == of else float(beta.ppf(0.95, count + 1, of - count))


def _edge(found: OvenMap) -> Finding | None:
    return next((f for f in found.findings if f.kind == "centre-edge" and f.effect), None)


def _side(found: Finding | None) -> str:
    if found is None or found.effect is None:
        return "cannot tell"
    told = "stands out" if found.stands_out else "nothing"
    effect = f"{found.effect.value:+.2f} {found.effect.unit}"
    return f"{told}: {found.kind} {effect}, p {found.p_adjusted}"


def null_lines(photos: Sequence[Path], records: Path | None, few: bool) -> Iterator[str]:
    """How often maps of an oven that does nothing find something, measure by measure."""
    with tempfile.TemporaryDirectory() as aside:
        bakes = logged(photos[:FEW_PHOTOS] if few else photos, records or Path(aside))
    rng = np.random.default_rng(SEED)
    yield f"\n### Null trays through the whole pipeline ({len(bakes)} photos)\n"
    yield "| bakes | measure | any alarm | hot edge | upper 95 % | effect of the edge, mean (SD) |"
    yield "|---|---|---|---|---|---|"
    for size, count in HISTORIES.items():
        if size > len(bakes):
            continue
        histories = (
            [(b,) for b in bakes]
            if size == 1
            else [
                tuple(bakes[i] for i in sorted(rng.choice(len(bakes), size, replace=False)))
                for _ in range(3 if few else count)
            ]
        )
        maps = [read_maps(h, ALL) for h in histories]
        for measure in sorted({m.measure for one in maps for m in one}):
            these = [m for one in maps for m in one if m.measure == measure]
            alarms = sum(any(f.stands_out for f in m.findings) for m in these)
            edges = [e for m in these if (e := _edge(m)) is not None]
            hot = sum(e.stands_out for e in edges)
            effects = np.array([e.effect.value for e in edges if e.effect])
            unit = these[0].unit
            yield (
                f"| {size} | {measure} | {alarms} of {len(these)} | {hot} | "
                f"{_upper(hot, len(these)):.1%} | "
                + (f"{effects.mean():+.3f} ({effects.std():.3f}) {unit} |" if len(effects) else "|")
            )


def planted_lines(photos: Sequence[Path], records: Path | None, few: bool) -> Iterator[str]:
    """Whether the hot place of `tests.traced.varied.SPOT` is found, and where."""
    with tempfile.TemporaryDirectory() as aside:
        bakes = logged(photos[:FEW_PHOTOS] if few else photos, records or Path(aside))
    turned = [b.facts.turn_deg == 180 for b in bakes]
    unturned = tuple(b for b, is_turned in zip(bakes, turned, strict=True) if not is_turned)
    truths = [json.loads(p.with_suffix(".json").read_text(encoding="utf-8")) for p in photos]
    spot = next(t["spatial_effect"] for t in truths if not t["sequence"]["turn_deg"])
    # the tray frame has its origin in the tray's middle
    place = np.array(spot["centre_mm"]) - np.array(truths[0]["tray"]["interior_mm"]) / 2
    rng = np.random.default_rng(SEED)
    yield f"\n### A hot place of {spot['diameter_mm']} mm planted ({len(unturned)} unturned)\n"
    yield "| bakes | measure | found | within 60 mm | effect, mean (SD) | shows |"
    yield "|---|---|---|---|---|---|"
    for size in (3, 6, len(unturned)):
        if size > len(unturned):
            continue
        histories = [
            tuple(unturned[i] for i in sorted(rng.choice(len(unturned), size, replace=False)))
            for _ in range(1 if size == len(unturned) else 40)
        ]
        for measure in ("diameter", "browning"):
            maps = [read_maps(h, measure)[0] for h in histories]
            spots = [f for m in maps for f in m.findings if f.kind == "spot"]
            hits = [f for f in spots if f.stands_out and f.effect]
            near = sum(
                bool(f.place_mm) and float(np.hypot(*(np.array(f.place_mm) - place))) <= NEAR_MM
                for f in hits
            )
            value = np.array([f.effect.value for f in hits if f.effect])
            any_found = sum(any(f.stands_out for f in m.findings) for m in maps)
            told = f"{value.mean():+.2f} ({value.std():.2f}) {maps[0].unit}" if len(value) else ""
            yield (
                f"| {size} | {measure} | {any_found} of {len(maps)} | {near} of {len(hits)} | "
                f"{told} | {sum(m.strength == 'shows' for m in maps)} |"
            )
    if not any(turned):
        return
    yield f"\n### The same with the turned ones: it follows the hand ({len(bakes)} bakes)\n"
    yield "| measure | hand's part | oven's part |"
    yield "|---|---|---|"
    for measure in ("diameter", "browning"):
        sides = read_sides(bakes, measure)
        yield f"| {measure} | {_side(sides.hand)} | {_side(sides.oven)} |"
