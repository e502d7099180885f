"""Heights and sizes from two photos of one tray, on scenes that show one tray twice."""

import json
from collections.abc import Iterator, Sequence
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from petitpied.domain.errors import ReadingError
from petitpied.domain.record import Record
from petitpied.domain.settings import Settings
from petitpied.inspection.one_photo import inspect_photo
from petitpied.inspection.two_photos import inspect_two
from petitpied.photo.decode import decode_photo
from tests.benchmarks.scorer import TrueShells


def _truth(picture: Path) -> Any:
    return json.loads(picture.with_suffix(".json").read_text())


def pairs_in(pictures: Sequence[Path]) -> list[tuple[Path, Path]]:
    """Pictures of one tray, by their true heights and diameters."""
    known = {
        p: [(s["height_mm"], s["area_equiv_diameter_mm"]) for s in _truth(p)["shells"]]
        for p in pictures
    }
    return [(a, b) for a, b in combinations(pictures, 2) if known[a] == known[b]]


def _errors(record: Record, truth: Any, name: str, true_name: str) -> tuple[Any, Any]:
    pairs = TrueShells.of(truth).match(np.array([s.centre_px for s in record.shells]))
    rows = []
    for i, j in pairs:
        quantity = getattr(record.shells[j], name)
        if quantity is not None:
            rows.append((quantity.value - truth["shells"][i][true_name], quantity.u95))
    error, u95 = np.array(rows, float).reshape(-1, 2).T
    return error, u95


def _rms(error: Any) -> str:
    return f"{np.sqrt((error**2).mean()):.3f}" if len(error) else "-"


def pair_lines(pictures: Sequence[Path]) -> Iterator[str]:
    """A row a pair: heights, and diameters from each photo alone and from both."""
    yield (
        "| pair | shells | heights | mean error, mm | RMS, mm | within u95 "
        "| diameter RMS: first, second, both |"
    )
    yield "|---|---|---|---|---|---|---|"
    for pair in pairs_in(pictures):
        photos = [decode_photo(p.read_bytes(), p.name) for p in pair]
        names = " + ".join(p.stem for p in pair)
        try:
            both = inspect_two(photos[0], photos[1], Settings())
        except ReadingError as error:
            yield f"| {names} | {error} | | | | | |"
            continue
        truth = _truth(pair[0])
        height, u95 = _errors(both, truth, "height_mm", "height_mm")
        alone = [
            _errors(inspect_photo(photo, Settings()), _truth(p), *_DIAMETER)[0]
            for photo, p in zip(photos, pair, strict=True)
        ]
        sizes = ", ".join(_rms(e) for e in (*alone, _errors(both, truth, *_DIAMETER)[0]))
        inside = f"{(np.abs(height) <= u95).mean():.2f}" if len(height) else "-"
        mean = f"{height.mean():+.3f}" if len(height) else "-"
        cells = [names, str(len(both.shells)), str(len(height)), mean, _rms(height), inside, sizes]
        yield f"| {' | '.join(cells)} |"


_DIAMETER = ("diameter_mm", "area_equiv_diameter_mm")
