"""Trains the judge of cracks (`petitpied.surface.cracks_verdict`) on scenes with exact truth.

``python -m tests.training.cracks collect FOLDER... --out lines.npz`` inspects the scenes of folders
(picture and truth side by side) and keeps the evidence of every dark line, with whether it lies on
a true crack. ``python -m tests.training.cracks train lines.npz... --out weights.py`` trains, with
the score of a tenfold cross-check in which no scene judges itself. Drawn scenes come from
``python -m tests.scenes.drawn FOLDER --kind surface --seed 3000000 --width 4032``, traced ones
from ``python -m tests.traced``.
"""

import argparse
import json
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from petitpied.domain.errors import ReadingError
from petitpied.domain.record import Record
from petitpied.domain.settings import Settings
from petitpied.domain.view import View
from petitpied.surface.cap_patch import CapPatches, cap_of, cap_patches
from petitpied.surface.cracks import LEAST_LENGTH_MM
from petitpied.surface.cracks_paths import Line, centred, find_lines, smoothed
from petitpied.surface.cracks_profile import EVIDENCE, evidence
from petitpied.surface.cracks_ridges import find_ridges
from petitpied.surface.cracks_verdict import network, standardised
from petitpied.vision.decode import decode_photo
from petitpied.vision.inspection import inspect_photo
from tests.scenes.camera import project
from tests.scenes.description import Camera

Floats = NDArray[np.float64]

#: a line is on a crack if this part of it lies within so far of a true centre line; in between,
#: it is left out
ON_REL, OFF_REL, NEAR_MM = 0.6, 0.3, 1.3
HIDDEN, RIDGE, SEEDS, FOLDS = 32, 0.01, (5, 6, 7), 10
#: a scene with more lines (a dusty one) counts as this many
MOST_A_SCENE = 30.0
#: drawn scenes show decoys of every kind, but their cracks have no shadows cast within: one is
#: learnt from only where the filter's answer is as strong as on nearly all traced cracks
DRAWN, STRONG = "surface_", 0.08


def true_camera(truth: dict[str, Any]) -> Camera:
    dist = truth["dist"]
    return Camera(
        truth["width"],
        truth["height"],
        0.0,
        np.array(truth["K"], float),
        (dist["k1"], dist["k2"], dist.get("p1", 0.0), dist.get("p2", 0.0)),
        np.array(truth["world_to_camera"], float),
        0.0,
        0.0,
    )


def plan_to_plan(truth: dict[str, Any], view: View, points_mm: Floats) -> Floats:
    """Plan-view places (N, 2) of the truth's frame in the record's: both seen on the liner."""
    flat = np.column_stack([points_mm, np.zeros(len(points_mm))])
    return view.to_plane(project(true_camera(truth), flat))


def true_shells(truth: dict[str, Any], record: Record) -> list[dict[str, Any] | None]:
    """The true shell of each shell of a record, None where there is none near."""
    if record.view is None:
        return [None] * len(record.shells)
    centres = np.array([s["centre_mm"] for s in truth["shells"]])
    places = plan_to_plan(truth, record.view, centres)
    found: list[dict[str, Any] | None] = []
    for shell in record.shells:
        if shell.centre_mm is None:
            found.append(None)
            continue
        off = np.hypot(*(places - shell.centre_mm).T)
        found.append(truth["shells"][int(off.argmin())] if off.min() < 8 else None)
    return found


def true_paths_px(
    truth: dict[str, Any], shell: dict[str, Any], patches: CapPatches, index: int
) -> list[Floats]:
    """Centre lines of a true shell's cracks in its tile, 0.05 mm apart or so."""
    paths = []
    for crack in shell["cracks"]:
        plan = plan_to_plan(truth, patches.view, np.array(crack["polyline_mm"], float))
        t = np.arange(0, len(plan) - 1, 0.1)
        at = np.arange(len(plan))
        dense = np.column_stack([np.interp(t, at, plan[:, i]) for i in (0, 1)])
        paths.append(patches.to_tile_px(index, dense))
    return paths


def on_crack(line: Line, paths: list[Floats], mm_per_px: float) -> float:
    """1 on a true crack, 0 off, NaN in between."""
    if not paths:
        return 0.0
    every = np.concatenate(paths)
    gap = np.hypot(*(line.path_px[:, None] - every[None]).transpose(2, 0, 1)).min(axis=1)
    share = float((gap * mm_per_px < NEAR_MM).mean())
    return 1.0 if share > ON_REL else 0.0 if share < OFF_REL else float("nan")


def lines_of(picture: Path) -> Iterator[tuple[Floats, float]]:
    """Evidence and label of every dark line of a scene that is long enough to be judged."""
    truth = json.loads(picture.with_suffix(".json").read_text())
    photo = decode_photo(picture.read_bytes(), picture.name)
    record = inspect_photo(photo, Settings())
    if record.view is None:
        return
    rim_mm = record.heights_mm["cap_rim"].value
    truths = true_shells(truth, record)
    both = [
        (cap, true)
        for shell, true in zip(record.shells, truths, strict=True)
        if true is not None and (cap := cap_of(record.view, shell, rim_mm)) is not None
    ]
    if not both:
        return
    patches = cap_patches(photo.pixels_bgr, record.view, [cap for cap, _ in both])
    ridges = find_ridges(patches)
    valley = smoothed(ridges.valley)
    lines = [centred(patches, valley, line) for line in find_lines(patches, ridges)]
    lines = [li for li in lines if li.length_mm(patches.mm_per_px) >= LEAST_LENGTH_MM]
    for line, row in zip(lines, evidence(patches, ridges, lines), strict=True):
        paths = true_paths_px(truth, both[line.cap][1], patches, line.cap)
        label = on_crack(line, paths, patches.mm_per_px)
        if np.isfinite(label):
            yield row, label


def collect(folders: list[Path], out: Path) -> None:
    rows: list[Floats] = []
    labels: list[float] = []
    scenes: list[str] = []
    for folder in folders:
        for picture in sorted(folder.glob("*.jpg")):
            if not picture.with_suffix(".json").exists():
                continue
            try:
                pairs = list(lines_of(picture))
            except ReadingError as error:
                print(f"{picture.name}: {error}", flush=True)
                continue
            rows += [row for row, _ in pairs]
            labels += [label for _, label in pairs]
            scenes += [picture.stem] * len(pairs)
            print(f"{picture.name}: {len(pairs)} lines", flush=True)
    np.savez(out, rows=np.array(rows), labels=np.array(labels), scenes=np.array(scenes))


def fit(values: Floats, labels: Floats, weights: Floats, seed: int) -> Floats:
    """All weights (flat) of one network: cross-entropy with a ridge, by L-BFGS from ``seed``."""
    k = values.shape[1]
    start = np.random.default_rng(seed).normal(0, 0.3, (k + 2) * HIDDEN + 1)

    def loss(flat: Floats) -> tuple[float, Floats]:
        hidden, bias, out = unpack(flat, k)
        h = np.tanh(values @ hidden + bias)
        p = 1 / (1 + np.exp(-np.clip(h @ out[:-1] + out[-1], -40, 40)))
        cross = -(labels * np.log(p + 1e-12) + (1 - labels) * np.log(1 - p + 1e-12))
        d = weights * (p - labels)
        back = np.outer(d, out[:-1]) * (1 - h**2)
        slope = np.concatenate([(values.T @ back).ravel(), back.sum(0), h.T @ d, [d.sum()]])
        ridge = RIDGE * weights.sum()
        return (
            float(weights @ cross + ridge / 2 * flat @ flat / HIDDEN),
            slope + ridge * flat / HIDDEN,
        )

    return np.asarray(minimize(loss, start, jac=True, method="L-BFGS-B").x)


def fit_all(
    values: Floats, labels: Floats, weights: Floats
) -> tuple[Floats, Floats, Floats]:
    """Hidden weights, their biases and the last ones of the mean of the networks from `SEEDS`,
    before the logistic, as one network (Hansen & Salamon, IEEE PAMI 12, 1990, from memory)."""
    parts = [unpack(fit(values, labels, weights, seed), values.shape[1]) for seed in SEEDS]
    hidden, bias, last = zip(*parts, strict=True)
    out = [*(part[:-1] for part in last), [sum(part[-1] for part in last)]]
    return np.concatenate(hidden, axis=1), np.concatenate(bias), np.concatenate(out) / len(SEEDS)


def unpack(flat: Floats, k: int) -> tuple[Floats, Floats, Floats]:
    n = k * HIDDEN
    return flat[:n].reshape(k, HIDDEN), flat[n : n + HIDDEN], flat[n + HIDDEN :]


def load(files: list[Path]) -> tuple[Floats, Floats, NDArray[np.str_]]:
    parts = [np.load(file) for file in files]
    rows, labels, scenes = (
        np.concatenate([part[name] for part in parts]) for name in ("rows", "labels", "scenes")
    )
    return rows, labels, scenes


def line_weights(labels: Floats, scenes: NDArray[np.str_]) -> Floats:
    """Cracks and others weigh alike in all; within both, a scene with many lines (a dusty one) no
    more than one with `MOST_A_SCENE`."""
    weights = np.ones(len(labels))
    for name in np.unique(scenes):
        for label in (0, 1):
            here = (scenes == name) & (labels == label)
            weights[here] *= min(1.0, MOST_A_SCENE / max(int(here.sum()), 1))
    for label in (0, 1):
        weights[labels == label] *= 0.5 * len(labels) / max(weights[labels == label].sum(), 1e-9)
    return weights


def cross_check(rows: Floats, labels: Floats, scenes: NDArray[np.str_]) -> Floats:
    """Scores (N,) of lines by networks that never saw their scene."""
    names = np.unique(scenes)
    fold = np.random.default_rng(SEEDS[0]).permutation(len(names)) % FOLDS
    scores = np.zeros(len(labels))
    for n in range(FOLDS):
        test = np.isin(scenes, names[fold == n])
        mean, spread = rows[~test].mean(0), rows[~test].std(0) + 1e-6
        values = standardised(rows, mean, spread)
        weights = line_weights(labels[~test], scenes[~test])
        scores[test] = network(values[test], *fit_all(values[~test], labels[~test], weights))
    return scores


def train(files: list[Path], out: Path) -> None:
    rows, labels, scenes = load(files)
    faint = rows[:, EVIDENCE.index("answer")] < STRONG
    learnt = ~(faint & (labels == 1) & np.char.startswith(scenes, DRAWN))
    rows, labels, scenes = rows[learnt], labels[learnt], scenes[learnt]
    scores = cross_check(rows, labels, scenes)
    drawn = np.char.startswith(scenes, DRAWN)
    for kind, here in (("traced", ~drawn), ("drawn", drawn)):
        cracks, others = here & (labels == 1), here & (labels == 0)
        print(
            f"{kind}: {len(np.unique(scenes[here]))} scenes; cross-check: "
            f"{int((scores[cracks] >= 0.5).sum())} of {int(cracks.sum())} lines on cracks found, "
            f"{int((scores[others] >= 0.5).sum())} of {int(others.sum())} other lines taken for one"
        )
    mean, spread = rows.mean(0), rows.std(0) + 1e-6
    values = standardised(rows, mean, spread)
    hidden, bias, last = fit_all(values, labels, line_weights(labels, scenes))
    arrays = {"MEAN": mean, "SPREAD": spread, "HIDDEN": hidden, "HIDDEN_BIAS": bias, "OUT": last}
    lines = ['"""Weights of `cracks_verdict`, written by `tests/training/cracks.py`."""', ""]
    lines += [f"# {', '.join(EVIDENCE[i : i + 6])}" for i in range(0, len(EVIDENCE), 6)]
    lines += ["# fmt: off"]
    for name, value in arrays.items():
        told = ", ".join(_row(part) for part in value)
        wrapped = textwrap.wrap(told, 100, initial_indent="    ", subsequent_indent="    ")
        lines += [f"{name} = (", *wrapped, ")"]
    out.write_text("\n".join(lines) + "\n")


def _row(value: Any) -> str:
    if np.ndim(value) == 0:
        return f"{float(value):.4g}"
    return "(" + ", ".join(f"{float(v):.4g}" for v in value) + ")"


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("step", choices=["collect", "train"])
    parser.add_argument("paths", type=Path, nargs="+")
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    {"collect": collect, "train": train}[options.step](options.paths, options.out)


if __name__ == "__main__":
    main()
