"""Training strips for the edge network: shells along rays, with the true edges.

A strip is what `petitpied.finding.ray_strips` samples about a shell as the finder sees it, wide
enough to be cut anew at random while training. Drawn scenes of `tests.scenes`, seeded; feet are
given colours of the liner's own in a share of the scenes. Path-traced scenes with truth (JSON
beside JPEG, `tests.traced`) can be added.
"""

import json
import os
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

EDGE_SEED, EDGE_HELD_OUT_SEED = 2_000_000, 9_500_000
#: sizes by scene number over 8, modulo 2; JPEG qualities: chroma at half size smears
#: edges by a pixel
SIZES_PX, JPEG_QUALITY = ((2016, 1512), (1440, 1080)), (70, 97)
#: stored samples of a strip, relative to the shell's radius
WIDE_FROM, WIDE_TO, WIDE_SAMPLES = 0.62, 1.38, 152
#: kinds by scene number modulo 8
KIND = {0: "measured", 1: "ring_mat", 2: "measured", 3: "white_on_white", 4: "measured", 5: "any"}
#: share of scenes whose feet have the liner's colour, within this factor
LINER_FOOT_REL, LINER_FOOT_FACTOR = 0.35, 0.15


def _limit_threads() -> None:
    os.environ["OMP_NUM_THREADS"] = "1"
    import cv2

    cv2.setNumThreads(1)


def strips_of(pixels_bgr: NDArray[np.uint8]) -> tuple[Floats, Floats, NDArray[np.uint8], Floats]:
    """Middles (S, 2) px, the finder's outlines as radii (S, RAYS) px, strips (S, RAYS,
    WIDE_SAMPLES, 3) about them, and the liner's brightness (S, 3) there, of the whole shells that
    the finder sees in a photo."""
    from petitpied.finding.find_shells import find_shells
    from petitpied.finding.ray_strips import RAYS, outline_radius, sample_along_rays

    found = find_shells(pixels_bgr)
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    whole = [s for s in found.seeds if s.whole]
    if not whole or found.light is None:
        return (
            np.zeros((0, 2)),
            np.zeros((0, RAYS)),
            np.zeros((0, RAYS, WIDE_SAMPLES, 3), np.uint8),
            (np.zeros((0, 3))),
        )
    centre = np.array([s.centre_px for s in whole])
    radius = np.array(
        [outline_radius(s.outline_px, c, angle) for s, c in zip(whole, centre, strict=True)]
    )
    part = np.linspace(WIDE_FROM, WIDE_TO, WIDE_SAMPLES)
    reach = radius[:, :, None] * part
    size = np.array([pixels_bgr.shape[1], pixels_bgr.shape[0]])
    light = found.light.at(centre / size)
    return centre, radius, sample_along_rays(pixels_bgr, centre, reach), light


def drawn_strips(seed: int) -> dict[str, NDArray]:
    """Strips of one drawn scene with the true edges relative to each shell's radius.

    ``outer``, ``cap`` (S, RAYS): radius of the silhouette and of the cap's visible edge over the
    finder's outline's; NaN where not known.
    """
    import cv2

    from petitpied.finding.ray_strips import RAYS, ray_directions
    from tests.scenes.drawn import draw as draw_scene
    from tests.scenes.drawn import seeded_scene

    scene = seeded_scene(seed, 0, KIND.get(seed % 8, "measured"), SIZES_PX[seed // 8 % 2])
    rng = np.random.default_rng(seed)
    if rng.random() < LINER_FOOT_REL:
        tint = np.exp(rng.normal(0, LINER_FOOT_FACTOR) + rng.normal(0, 0.04, 3))
        foot = tuple(np.clip(np.asarray(scene.liner.colour) * tint, 5, 250))
        scene = replace(scene, shells=tuple(replace(s, foot_colour=foot) for s in scene.shells))
    drawn = draw_scene(scene, 1.0, 0.8)
    quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(*JPEG_QUALITY))]
    _, coded = cv2.imencode(".jpg", drawn.picture_bgr, quality)
    pixels = np.asarray(cv2.imdecode(coded, cv2.IMREAD_COLOR), np.uint8)
    centre, radius, strips, light = strips_of(pixels)
    outer, cap, keep = [], [], []
    direction = ray_directions()
    step = 0.25
    for index, (c, r) in enumerate(zip(centre, radius, strict=True)):
        label = drawn.labels[
            int(np.clip(round(c[1]), 0, drawn.labels.shape[0] - 1)),
            int(np.clip(round(c[0]), 0, drawn.labels.shape[1] - 1)),
        ]
        if label == 0:
            continue
        reach = np.arange(0.5 * r.min(), 1.45 * r.max(), step)
        x = (c[0] + np.outer(direction[:, 0], reach)).astype(np.float32)
        y = (c[1] + np.outer(direction[:, 1], reach)).astype(np.float32)
        own = (drawn.labels == label).astype(np.float32)
        on_cap = own * drawn.caps
        seen = cv2.remap(own, x, y, cv2.INTER_LINEAR) > 0.5
        seen_cap = cv2.remap(on_cap.astype(np.float32), x, y, cv2.INTER_LINEAR) > 0.5
        last = seen.shape[1] - 1 - seen[:, ::-1].argmax(axis=1)
        last_cap = seen_cap.shape[1] - 1 - seen_cap[:, ::-1].argmax(axis=1)
        known = seen.any(axis=1) & (last < seen.shape[1] - 2)
        outer.append(np.where(known, (reach[last] + step / 2) / r, np.nan))
        cap.append(np.where(known & seen_cap.any(axis=1), (reach[last_cap] + step / 2) / r, np.nan))
        keep.append(index)
    empty = np.zeros((0, RAYS))
    return {
        "strip": strips[keep],
        "light": light[keep].astype(np.float32),
        "outer": np.array(outer if keep else empty, np.float32),
        "cap": np.array(cap if keep else empty, np.float32),
    }


def traced_strips(photo: Path) -> dict[str, NDArray]:
    """The same of a path-traced scene, its truth beside it as JSON."""
    from petitpied.finding.ray_strips import RAYS, outline_radius, ray_directions
    from petitpied.photo.decode import decode_photo
    from tests.benchmarks.scorer import project

    truth = json.loads(photo.with_suffix(".json").read_text(encoding="utf-8"))
    pixels = decode_photo(photo.read_bytes(), photo.name).pixels_bgr
    centre, radius, strips, light = strips_of(pixels)
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    middle = np.array([np.mean(s["silhouette_px"], axis=0) for s in truth["shells"]])
    camera = np.array(truth["camera_mm"], float)
    outer, cap, keep = [], [], []
    for index, (c, r) in enumerate(zip(centre, radius, strict=True)):
        gap = np.hypot(*(middle - c).T)
        shell = truth["shells"][int(gap.argmin())]
        if gap.min() > 0.3 * np.median(r):
            continue
        silhouette = outline_radius(np.array(shell["silhouette_px"], float), c, angle)
        height = np.array(shell["cap_outline_z_mm"], float)
        plan = np.column_stack([np.array(shell["cap_outline_mm"], float), height])
        rim = np.minimum(outline_radius(project(truth, plan), c, angle), silhouette)
        # on the side away from the camera the dome may hide its own rim: not known there
        away = (np.array(shell["centre_mm"])[:2] - camera[:2]) / camera[2]
        foot, top = project(truth, np.array([[*shell["centre_mm"], z] for z in (0.0, 1.0)]))
        outward = (top - foot) / max(float(np.hypot(*(top - foot))), 1e-9)
        rim[ray_directions() @ outward * np.hypot(*away) > 0.06] = np.nan
        outer.append(silhouette / r)
        cap.append(rim / r)
        keep.append(index)
    return {
        "strip": strips[keep],
        "light": light[keep].astype(np.float32),
        "outer": np.array(outer, np.float32),
        "cap": np.array(cap, np.float32),
        "tray": np.zeros(len(keep), np.int64),
    }


def _drawn_or_none(task: tuple[int, float]) -> dict[str, NDArray] | None:
    seed, deadline = task
    if time.time() > deadline:
        return None
    try:
        return drawn_strips(seed)
    except Exception as error:  # a fault of the measuring code: told, the rest goes on
        print(f"scene {seed}: {type(error).__name__}: {error}", flush=True)
        return None


def render_strips(first_seed: int, count: int, workers: int, minutes: float) -> dict[str, NDArray]:
    """Strips of up to ``count`` drawn scenes, as many as ``minutes`` allow."""
    deadline = time.time() + 60 * minutes
    parts = []
    with ProcessPoolExecutor(workers, initializer=_limit_threads) as pool:
        for part in pool.map(
            _drawn_or_none, ((first_seed + n, deadline) for n in range(count)), chunksize=2
        ):
            if part is not None:
                parts.append(part)
    print(f"{len(parts)} scenes, {sum(len(p['strip']) for p in parts)} shells", flush=True)
    return joined(parts)


def joined(parts: list[dict[str, NDArray]]) -> dict[str, NDArray]:
    """Many scenes' strips as one; trays numbered anew, those of one part each its own."""
    both = {name: np.concatenate([p[name] for p in parts]) for name in parts[0] if name != "tray"}
    if "tray" in parts[0]:
        first = np.cumsum([0, *(int(p["tray"].max(initial=-1)) + 1 for p in parts)])
        both["tray"] = np.concatenate([p["tray"] + f for p, f in zip(parts, first, strict=False)])
    return both


def traced_sets(folders: list[Path]) -> Iterator[dict[str, NDArray]]:
    for folder in folders:
        for photo in sorted(folder.glob("*.jpg")):
            if not photo.name.endswith(".marked.jpg") and photo.with_suffix(".json").exists():
                yield traced_strips(photo)
