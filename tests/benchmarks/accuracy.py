"""Accuracy of the tool, and finds of the baselines, scene by scene."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.errors import ReadingError
from petitpied.domain.settings import Settings
from petitpied.files.records.record_json import record_to_dict
from petitpied.inspection.one_photo import inspect_photo
from petitpied.photo.decode import decode_photo
from tests.benchmarks.baselines import Finds, by_hough_circles, by_watershed, count_finds
from tests.benchmarks.scorer import (
    ERRORS,
    ErrorStats,
    SceneScore,
    TrueShells,
    score,
    statistics,
)
from tests.scenes.drawn import draw, save, seeded_scene

#: drawn scenes from here on are for this table only: nothing was trained or tuned on them
HELD_OUT_SEED = 7_000_000
SIZE_PX = (4032, 3024)


@dataclass(frozen=True)
class SceneResult:
    """One scene: the tool's score, or why it gave none, and the baselines' finds."""

    score: SceneScore
    fault: str | None
    watershed: Finds
    hough: Finds


def drawn_scenes(cache: Path, count: int) -> list[Path]:
    """Pictures of the held-out drawn scenes; drawn into ``cache`` where not there yet."""
    cache.mkdir(parents=True, exist_ok=True)
    pictures = []
    for seed in range(HELD_OUT_SEED, HELD_OUT_SEED + count):
        scene = seeded_scene(seed, 0, "measured", SIZE_PX)
        picture = cache / f"{scene.name}.jpg"
        if not (picture.exists() and picture.with_suffix(".json").exists()):
            save(scene, draw(scene, 1.0, 0.75, 0.5), cache, labels=False)
        pictures.append(picture)
    return pictures


def scenes_in(folder: Path) -> list[Path]:
    """Pictures of a folder that have their truth beside them."""
    return sorted(p for p in folder.glob("*.jpg") if p.with_suffix(".json").exists())


def measure_scene(picture: Path) -> SceneResult:
    """Inspect one scene and score everything on it."""
    truth = json.loads(picture.with_suffix(".json").read_text())
    photo = decode_photo(picture.read_bytes(), picture.name)
    true = TrueShells.of(truth)
    fault = None
    try:
        result = score(truth, record_to_dict(inspect_photo(photo, Settings())))
    except ReadingError as error:
        result, fault = SceneScore(picture.name, int(true.whole.sum())), str(error)
    result.name = picture.stem
    diameter_px = 2 * float(np.median(true.radius_px)) if len(true.radius_px) else 100.0
    cv2.setRNGSeed(1)
    return SceneResult(
        result,
        fault,
        _best_watershed(photo.pixels_bgr, true, diameter_px),
        count_finds(true, by_hough_circles(photo.pixels_bgr, diameter_px)),
    )


def _best_watershed(pixels_bgr: NDArray[np.uint8], true: TrueShells, diameter_px: float) -> Finds:
    """Finds with shells taken as bright or as dark, whichever finds more true ones."""
    both = (by_watershed(pixels_bgr, diameter_px, bright) for bright in (False, True))
    return max((count_finds(true, c) for c in both), key=lambda f: (f.found, -f.false))


def _share(part: int, whole: int) -> str:
    return f"{part / whole:.3f}" if whole else "-"


def _number(value: float | None, places: int = 2) -> str:
    return "-" if value is None or not np.isfinite(value) else f"{value:+.{places}f}"


def _diameter_cells(stats: ErrorStats | None) -> list[str]:
    if stats is None:
        return ["-"] * 4
    return [
        _number(stats.mean),
        f"{stats.rms:.2f}",
        _number(stats.slope_per_100mm),
        "-" if np.isnan(stats.coverage) else f"{stats.coverage:.2f}",
    ]


def scene_lines(results: list[SceneResult]) -> Iterator[str]:
    """A row a scene: finds of the tool and the baselines, diameter errors in mm."""
    yield (
        "| scene | shells | recall | precision | watershed r / p | Hough r / p "
        "| diameter mean | RMS | slope per 100 mm | within u95 |"
    )
    yield "|---|---|---|---|---|---|---|---|---|---|"
    for result in results:
        s = result.score
        cells = [s.name, str(s.whole), _share(s.found, s.whole)]
        cells.append(_share(s.found, s.found + s.false))
        for finds in (result.watershed, result.hough):
            recall = _share(finds.found, finds.whole)
            cells.append(f"{recall} / {_share(finds.found, finds.found + finds.false)}")
        cells += _diameter_cells(statistics([s], "diameter_mm"))
        yield f"| {' | '.join(cells)} |"
    for result in results:
        if result.fault is not None:
            yield f"\n{result.score.name}: {result.fault}"


def total_lines(results: list[SceneResult]) -> Iterator[str]:
    """Finds and errors, mm, over all the scenes of a set."""
    scores = [r.score for r in results]
    whole, found, false = (sum(getattr(s, n) for s in scores) for n in ("whole", "found", "false"))
    yield f"Over all: recall {_share(found, whole)}, precision {_share(found, found + false)};"
    for name, finds in (
        ("watershed", [r.watershed for r in results]),
        ("Hough circles", [r.hough for r in results]),
    ):
        hit, wrong = sum(f.found for f in finds), sum(f.false for f in finds)
        yield f"{name}: recall {_share(hit, whole)}, precision {_share(hit, hit + wrong)}."
    yield ""
    yield "| error, mm | n | mean | RMS | slope per 100 mm | within u95 |"
    yield "|---|---|---|---|---|---|"
    for name in ERRORS:
        stats = statistics(scores, name)
        if stats is not None:
            cells = [name.removesuffix("_mm"), str(stats.count), *_diameter_cells(stats)]
            yield f"| {' | '.join(cells)} |"
