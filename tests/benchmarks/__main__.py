"""``PYTHONPATH=src python -m tests.benchmarks [--fast]``: figures as Markdown tables.

Accuracy on tuning scenes (the samples, and path-traced trays beside the project where they are)
and on held-out scenes (drawn from seeds that nothing was tuned on, and any folder of path-traced
scenes given by --held-out); speed as ratios to named baselines; the finder's held-out score.
``--fast`` takes fewer scenes and rounds, for a look.
"""

import argparse
import tempfile
from pathlib import Path

from petitpied.cli.measuring.inspecting import one_thread_for_matrices

one_thread_for_matrices()  # as the command does, before NumPy is imported below

from tests.benchmarks import (  # noqa: E402
    accuracy,
    coverage,
    feet,
    history,
    pairs,
    rendered_bakes,
    report,
    sorting,
    speed,
)
from tests.benchmarks import lens as lens_figures  # noqa: E402
from tests.benchmarks import patterns as oven_patterns  # noqa: E402
from tests.benchmarks import surface_colour as colour  # noqa: E402
from tests.benchmarks import surface_cracks as cracks  # noqa: E402
from tests.training.data import HELD_OUT_SEED  # noqa: E402
from tests.training.score import score as score_finder  # noqa: E402

PARTS = (
    "trays",
    *("accuracy", "coverage", "pairs", "speed", "finder"),
    *("history", "patterns", "sorting", "report", "colour", "cracks", "feet", "lens"),
)
ROOT = Path(__file__).resolve().parents[2]
SAMPLES, TRAYS = ROOT / "sample_images", ROOT.parent / "shared" / "trays"
TIMED = "two_cards_violet.jpg"  # 36 shells


def _say(line: str) -> None:
    print(line, flush=True)


def _accuracy(title: str, pictures: list[Path]) -> None:
    _say(f"\n## Accuracy, {title}\n")
    results = [accuracy.measure_scene(picture) for picture in pictures]
    for line in accuracy.scene_lines(results):
        _say(line)
    _say("")
    for line in accuracy.total_lines(results):
        _say(line)


def _finder(count: int) -> None:
    """Scenes drawn from seeds that the finder's network was never trained or tuned on."""
    _say("\n## The finder alone, on drawn scenes that it never saw\n")
    first = HELD_OUT_SEED + 1000
    rows = [score_finder(seed) for seed in range(first, first + count)]
    true, hit, false = (sum(row[i] for row in rows) for i in range(3))
    _say("| scenes | whole shells | recall | precision |")
    _say("|---|---|---|---|")
    _say(f"| {count} | {true} | {hit / true:.4f} | {hit / max(hit + false, 1):.4f} |")


def _trust(tuning: list[Path], held_out: list[Path], options: argparse.Namespace) -> None:
    """Coverage of the stated intervals, and what two photos of one tray give."""
    sets = (("scenes used for tuning", tuning), ("held-out scenes", held_out))
    if options.only != "pairs":
        if options.calibrate:
            for line in coverage.calibration_lines(tuning, accuracy.scenes_in(TRAYS)):
                _say(line)
        for title, pictures in sets:
            for line in coverage.coverage_lines(title, pictures) if pictures else ():
                _say(line)
    if options.only != "coverage":
        _say("\n## Two photos of one tray\n")
        for line in pairs.pair_lines([*tuning, *held_out]):
            _say(line)


def _colour(options: argparse.Namespace) -> None:
    """Colour and marks: on scenes used for tuning, on held-out ones, under other looks; time."""
    few = options.fast
    more = [p for folder in options.tuning for p in accuracy.scenes_in(folder)]
    samples = accuracy.scenes_in(SAMPLES)
    tuning = [*samples, *accuracy.scenes_in(TRAYS), *more]
    held_out = accuracy.scenes_in(options.held_out) if options.held_out else []
    sets = (("scenes used for tuning", tuning), ("held-out scenes", held_out))
    for title, pictures in sets:
        for line in colour.colour_lines(title, pictures[:3] if few else pictures):
            _say(line)
    for line in colour.warm_and_cool_lines(samples[:1] if few else samples):
        _say(line)
    for line in colour.time_lines(samples[0], 3 if few else 9):
        _say(line)


def main() -> None:
    """Print every table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--fast", action="store_true", help="fewer scenes and rounds")
    parser.add_argument("--cache", type=Path, help="folder for the drawn scenes, kept")
    parser.add_argument("--held-out", type=Path, help="folder of path-traced scenes with truth")
    parser.add_argument("--only", choices=PARTS, help="one part")
    parser.add_argument(
        "--tuning", type=Path, action="append", default=[], help="more scenes used for tuning"
    )
    parser.add_argument("--null", type=Path, help="folder of rendered bakes of an even oven")
    parser.add_argument("--planted", type=Path, help="folder of rendered bakes with a hot place")
    parser.add_argument("--records", type=Path, help="folder for the records of these, kept")
    parser.add_argument(
        "--calibrate", action="store_true", help="with coverage: fit what edges are worth"
    )
    options = parser.parse_args()
    few = options.fast
    if options.only in (None, "accuracy"):
        tuning = [*accuracy.scenes_in(SAMPLES), *accuracy.scenes_in(TRAYS)]
        _accuracy("scenes used for tuning", tuning[:3] if few else tuning)
        with tempfile.TemporaryDirectory() as folder:
            drawn = accuracy.drawn_scenes(options.cache or Path(folder), 1 if few else 6)
            _accuracy("held-out scenes, drawn", drawn)
        if options.held_out is not None:
            traced = accuracy.scenes_in(options.held_out)
            _accuracy("held-out scenes, path-traced", traced[:2] if few else traced)
    if options.only in (None, "coverage", "pairs"):
        more = [p for folder in options.tuning for p in accuracy.scenes_in(folder)]
        tuning = [*accuracy.scenes_in(SAMPLES), *accuracy.scenes_in(TRAYS), *more]
        held_out = accuracy.scenes_in(options.held_out) if options.held_out else []
        _trust(tuning[:3] if few else tuning, held_out, options)
    if options.only in (None, "speed"):
        _say("\n## Speed and memory\n")
        for line in speed.speed_lines(SAMPLES / TIMED, few):
            _say(line)
    if options.only in (None, "finder"):
        _finder(10 if few else 80)
    if options.only in (None, "history"):
        for line in history.history_lines(few):
            _say(line)
    if options.only in (None, "patterns"):
        _say("\n## Oven maps, oven or hand\n")
        for line in oven_patterns.pattern_lines(few):
            _say(line)
    if options.only in (None, "sorting"):
        more = [p for folder in options.tuning for p in accuracy.scenes_in(folder)]
        tuning = [*accuracy.scenes_in(SAMPLES), *accuracy.scenes_in(TRAYS), *more]
        held_out = accuracy.scenes_in(options.held_out) if options.held_out else []
        for line in sorting.sorting_lines(tuning, held_out, few):
            _say(line)
    if options.only in (None, "report"):
        for line in report.report_lines(few):
            _say(line)
    if options.only in (None, "colour"):
        _colour(options)
    for part, lines_for in (("cracks", cracks.crack_lines), ("feet", feet.foot_lines)):
        if options.only not in (None, part):
            continue
        more = [p for folder in options.tuning for p in accuracy.scenes_in(folder)]
        tuning = [*accuracy.scenes_in(SAMPLES), *accuracy.scenes_in(TRAYS), *more]
        held_out = accuracy.scenes_in(options.held_out) if options.held_out else []
        for title, pictures in (("scenes used for tuning", tuning), ("held-out scenes", held_out)):
            for line in lines_for(title, pictures[:3] if few else pictures):
                _say(line)
    if options.only in (None, "trays"):
        for folder, lines_of in (
            (options.null, rendered_bakes.null_lines),
            (options.planted, rendered_bakes.planted_lines),
        ):
            photos = accuracy.scenes_in(folder) if folder else []
            for line in lines_of(photos, options.records, few) if photos else ():
                _say(line)
    if options.only in (None, "lens"):
        tuning = [*accuracy.scenes_in(SAMPLES), *accuracy.scenes_in(TRAYS)]
        held_out = accuracy.scenes_in(options.held_out) if options.held_out else []
        for line in lens_figures.lens_lines(tuning, held_out, few):
            _say(line)


if __name__ == "__main__":
    main()
