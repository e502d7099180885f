"""Training lines for the judge of cracks: dark lines on traced caps, and which are true cracks.

``python -m tests.training.crack_data FOLDER... --out lines.npz`` inspects the scenes of folders
(picture and truth side by side, `tests.traced`) and keeps of every dark line what the package's own
functions say of it: the profiles across it, its evidence, and whether it lies on a true crack. With
``--textured SEED`` every cap is given a made-up texture first, so that the judge sees rough
surfaces too: crumbs, pores, folds, grain; with ``--unsharp SEED`` the photo is blurred, and some of
these sharpened again. All is drawn from the seed and the scene's own number.

The file's arrays: ``strip`` (P, ACROSS, 3) uint8, profiles across all lines, one after the other,
blue, green, red; ``start`` (L + 1,) where each line's begin; ``evidence`` (L, K), its names in
``evidence_names``; ``label`` (L,) 1 on a true crack, 0 off; ``cap`` (L,) which of the caps; of each
cap (C,) ``cap_tray`` its tray, ``cap_large`` and ``cap_cracked`` whether it has a large crack, any
crack; ``names`` (T,) of the trays.
"""

import argparse
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from petitpied.contours.rings import Heights
from petitpied.domain.errors import ReadingError
from petitpied.domain.photo import Photo
from petitpied.domain.record import Record
from petitpied.domain.settings import Settings
from petitpied.domain.view import View
from petitpied.inspection.one_photo import inspect_photo
from petitpied.photo.decode import decode_photo
from petitpied.surface.caps.cap_patch import CapPatches, cap_of, cap_patches
from petitpied.surface.cracks.paths import Line, centred, find_lines, smoothed
from petitpied.surface.cracks.profile import EVIDENCE, evidence, profiles
from petitpied.surface.cracks.ridges import Ridges, find_ridges
from petitpied.surface.cracks.search import LEAST_LENGTH_MM
from petitpied.surface.cracks.strips import ACROSS
from petitpied.surface.foot.foot_ring import RimHeights
from tests.scenes.camera import project
from tests.scenes.description import Camera

Floats = NDArray[np.float64]
Map = NDArray[np.float32]
Truth = dict[str, Any]

#: a line is on a crack if this part of it lies within so far of a true centre line; in between,
#: it is left out
ON_REL, OFF_REL, NEAR_MM = 0.6, 0.3, 1.3
#: a large crack is at least so long and so wide: a shell that has one should be called cracked
LARGE_MM = (8.0, 0.4)
#: no true shell is farther from the shell that is measured, mm
SAME_SHELL_MM = 8.0
#: textures: size of their grain, how much of a cap's brightness they change (standard deviation),
#: and how far from the cap's edge they end, px: the edge itself is found as before
GRAIN_MM, CHANGE_REL, EDGE_PX = (0.4, 3.5), (0.02, 0.1), 15
#: blur of an unsharp photo, px of one of that long side, and the share that is sharpened afterwards
BLUR_PX, USUAL_LONG_PX, SHARPENED = (1.2, 3.6), 4032, 0.3


@dataclass(frozen=True)
class Inspected:
    """A scene as the package sees it: ``seen``, the record's shell of each cap of ``patches``;
    ``truths`` the true shell of each cap, None where there is none near."""

    photo: Photo
    record: Record
    patches: CapPatches
    seen: tuple[int, ...]
    truths: tuple[Truth | None, ...]


def scenes_in(folders: Sequence[Path]) -> Iterator[tuple[Photo, Truth]]:
    """Pictures that have their truth beside them."""
    for folder in folders:
        for picture in sorted(folder.glob("*.jpg")):
            beside = picture.with_suffix(".json")
            if picture.name.endswith(".marked.jpg") or not beside.exists():
                continue
            truth = json.loads(beside.read_text(encoding="utf-8"))
            yield decode_photo(picture.read_bytes(), picture.name), truth


def inspected(photo: Photo, truth: Truth) -> Inspected | None:
    """The scene with its caps in plan view as `petitpied.surface.survey` lays them; None without a
    cap in view. Raises what `inspect_photo` raises."""
    record = inspect_photo(photo, Settings())
    view = record.view
    if view is None:
        return None
    rim_mm, foot_mm = (record.heights_mm[name].value for name in ("cap_rim", "foot"))
    heights = RimHeights(rim_mm, Heights().bare_rim_mm, foot_mm)
    caps = [cap_of(view, shell, heights.rim_of(shell)) for shell in record.shells]
    seen = tuple(index for index, cap in enumerate(caps) if cap is not None)
    if not seen:
        return None
    patches = cap_patches(photo.pixels_bgr, view, [cap for cap in caps if cap is not None])
    truths = true_shells(truth, record)
    return Inspected(photo, record, patches, seen, tuple(truths[index] for index in seen))


def true_camera(truth: Truth) -> Camera:
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


def plan_to_plan(truth: Truth, view: View, points_mm: Floats) -> Floats:
    """Plan-view places (N, 2) of the truth's frame in the record's: both seen on the liner."""
    flat = np.column_stack([points_mm, np.zeros(len(points_mm))])
    return view.to_plane(project(true_camera(truth), flat))


def true_shells(truth: Truth, record: Record) -> list[Truth | None]:
    """The true shell of each shell of a record, None where there is none near."""
    if record.view is None:
        return [None] * len(record.shells)
    centres = np.array([s["centre_mm"] for s in truth["shells"]])
    places = plan_to_plan(truth, record.view, centres)
    found: list[Truth | None] = []
    for shell in record.shells:
        if shell.centre_mm is None:
            found.append(None)
            continue
        off = np.hypot(*(places - shell.centre_mm).T)
        near = off.min() < SAME_SHELL_MM
        found.append(truth["shells"][int(off.argmin())] if near else None)
    return found


def true_paths_px(truth: Truth, shell: Truth, patches: CapPatches, index: int) -> list[Floats]:
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


def dark_lines(patches: CapPatches) -> tuple[Ridges, list[Line]]:
    """The lines that `petitpied.surface.cracks.search` would judge."""
    ridges = find_ridges(patches)
    valley = smoothed(ridges.valley) if ridges.numbers else ridges.valley
    lines = [centred(patches, valley, line) for line in find_lines(patches, ridges)]
    return ridges, [li for li in lines if li.length_mm(patches.mm_per_px) >= LEAST_LENGTH_MM]


def lines_of(scene: Inspected, truth: Truth) -> dict[str, NDArray[Any]]:
    """The file's arrays of one scene: its caps with a true shell, and the lines on them that are
    on a crack or off."""
    patches = scene.patches
    known = [cap for cap, true in enumerate(scene.truths) if true is not None]
    trues = [true for true in scene.truths if true is not None]
    paths = {c: true_paths_px(truth, t, patches, c) for c, t in zip(known, trues, strict=True)}
    told = {
        "cap_large": np.array([any(map(_is_large, t["cracks"])) for t in trues], bool),
        "cap_cracked": np.array([bool(t["cracks"]) for t in trues], bool),
        "strip": np.zeros((0, ACROSS, 3), np.uint8),
        "count": np.zeros(0, np.int64),
        "evidence": np.zeros((0, len(EVIDENCE)), np.float32),
        "label": np.zeros(0, np.float32),
        "cap": np.zeros(0, np.int64),
    }
    ridges, lines = dark_lines(patches)
    if not lines:
        return told
    across = profiles(patches, lines)
    rows = evidence(patches, ridges, lines, across)
    label = np.array(
        [
            on_crack(line, paths[line.cap], patches.mm_per_px) if line.cap in paths else np.nan
            for line in lines
        ]
    )
    kept = np.isfinite(label)
    counts = np.diff(across.starts)
    codes = np.clip(across.bgr[:, :ACROSS], 0, 255).astype(np.uint8)
    number = {cap: place for place, cap in enumerate(known)}
    caps = [number.get(line.cap, -1) for line in lines]
    return told | {
        "strip": codes[np.repeat(kept, counts)],
        "count": counts[kept],
        "evidence": rows[kept].astype(np.float32),
        "label": label[kept].astype(np.float32),
        "cap": np.array(caps, np.int64)[kept],
    }


def _is_large(crack: Truth) -> bool:
    return bool(crack["length_mm"] >= LARGE_MM[0] and crack["width_mm"] >= LARGE_MM[1])


def joined(parts: Sequence[dict[str, NDArray[Any]]]) -> dict[str, NDArray[Any]]:
    """Many scenes' arrays as a file's: caps and lines numbered through."""
    both = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    first = np.cumsum([0, *(len(part["cap_large"]) for part in parts)])
    both["cap"] = np.concatenate([p["cap"] + f for p, f in zip(parts, first, strict=False)])
    both["cap_tray"] = np.repeat(np.arange(len(parts)), np.diff(first))
    both["start"] = np.concatenate([[0], np.cumsum(both.pop("count"))])
    return both


def noise(rng: np.random.Generator, shape: tuple[int, int], sigma_px: float) -> Map:
    """Gaussian noise (H, W), smoothed."""
    grain: Any = rng.standard_normal(shape).astype(np.float32)
    return np.asarray(cv2.GaussianBlur(grain, (0, 0), max(0.6, sigma_px)), np.float32)


def _unit(grain: Map) -> Map:
    return np.asarray(grain / grain.std(), np.float32)


def layers(rng: np.random.Generator, shape: tuple[int, int], size_px: float) -> Map:
    """Noise of four sizes, each twice the one before: a crust."""
    each = [
        _unit(noise(rng, shape, size_px * 2.0**i)) * 2.0 ** (i * rng.uniform(0, 1))
        for i in range(-2, 2)
    ]
    return np.asarray(sum(each), np.float32)


def folds(rng: np.random.Generator, shape: tuple[int, int], size_px: float) -> Map:
    """Sharp crests, or sharp valleys, between soft ones: wrinkles."""
    grain = np.abs(_unit(noise(rng, shape, size_px))) ** rng.uniform(0.5, 1)
    return np.asarray(-grain * rng.choice([-1, 1]), np.float32)


def cells(rng: np.random.Generator, shape: tuple[int, int], size_px: float) -> Map:
    """Cells about random places with dark walls between: distance to the second nearest place less
    that to the nearest (Worley, SIGGRAPH 1996, from memory)."""
    height, width = shape
    count = int(height * width / (3 * size_px) ** 2)
    places = rng.uniform(0, 1, (count, 2)) * [height, width]
    y, x = np.mgrid[0:height:2, 0:width:2]
    near, _ = cKDTree(places).query(np.column_stack([y.ravel(), x.ravel()]), k=2)
    wall: Any = (near[:, 1] - near[:, 0]).reshape(y.shape).astype(np.float32)
    return np.asarray(
        np.minimum(cv2.resize(wall, (width, height)), size_px * rng.uniform(0.5, 3)), np.float32
    )


def threads(rng: np.random.Generator, shape: tuple[int, int], size_px: float) -> Map:
    """Fine noise drawn out along six directions: scratches, fibres."""
    laid = np.zeros(shape, np.float32)
    side = int(8 * size_px) | 1
    middle = side // 2
    for angle in rng.uniform(0, np.pi, 6):
        brush: Any = np.zeros((side, side), np.float32)
        way = middle * np.array([np.cos(angle), np.sin(angle)])
        ends = [tuple(int(v) for v in middle + sign * way) for sign in (-1, 1)]
        cv2.line(brush, ends[0], ends[1], 1, 1)
        over = rng.random() < 0.5
        drawn: Any = cv2.filter2D(noise(rng, shape, 0.35 * size_px), -1, brush / brush.sum())
        laid = np.maximum(laid, drawn) if over else laid + drawn
    return laid


def blobs(rng: np.random.Generator, shape: tuple[int, int], size_px: float) -> Map:
    """Dark spots with an edge: crumbs, freckles."""
    grain = _unit(noise(rng, shape, size_px))
    spots: Any = -(grain > rng.uniform(0.5, 1.8)).astype(np.float32)
    return np.asarray(cv2.GaussianBlur(spots, (0, 0), 0.8), np.float32)


def pits(rng: np.random.Generator, shape: tuple[int, int], size_px: float) -> Map:
    """Dark spots that fade out: pores."""
    spots: Any = -np.maximum(_unit(noise(rng, shape, size_px)) - 1, 0)
    return np.asarray(cv2.GaussianBlur(spots, (0, 0), 0.8), np.float32)


TEXTURES: tuple[Callable[[np.random.Generator, tuple[int, int], float], Map], ...] = (
    *(layers, cells, folds, threads, blobs, pits),
)


def texture(rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float) -> Map:
    """A texture (H, W) of mean 0 and standard deviation 1, at most 3 from it, made at half size."""
    kind = TEXTURES[int(rng.choice(len(TEXTURES)))]
    height, width = shape[0] // 2 + 1, shape[1] // 2 + 1
    half: Any = kind(rng, (height, width), rng.uniform(*GRAIN_MM) * px_per_mm / 2)
    whole = cv2.resize(half, (2 * width, 2 * height))[: shape[0], : shape[1]]
    whole = whole - whole.mean()
    return np.asarray(np.clip(whole / (whole.std() + 1e-9), -3, 3), np.float32)


def textured(photo: Photo, record: Record, rng: np.random.Generator) -> Photo:
    """The photo with a texture on the caps that ``record`` found, none at their edges."""
    shape = photo.pixels_bgr.shape[:2]
    mask: Any = np.zeros(shape, np.float32)
    px_per_mm = []
    for shell in record.shells:
        if shell.cap_outline_px is None or shell.cap_diameter_mm is None:
            continue
        cv2.fillPoly(mask, [shell.cap_outline_px.astype(np.int32)], 1.0)
        px_per_mm.append(np.ptp(shell.cap_outline_px[:, 0]) / shell.cap_diameter_mm.value)
    if not px_per_mm:
        return photo
    mask = cv2.GaussianBlur(cv2.erode(mask, np.ones((EDGE_PX, EDGE_PX))), (0, 0), EDGE_PX / 5)
    change = rng.uniform(*CHANGE_REL)
    grain = texture(rng, shape, float(np.median(px_per_mm)))
    lit = photo.pixels_bgr * (1 + change * grain * mask)[..., None]
    return replace(photo, pixels_bgr=np.clip(lit, 0, 255).astype(np.uint8))


def unsharp(photo: Photo, rng: np.random.Generator) -> Photo:
    """The photo as an unsteady or unfocused one, some sharpened afterwards as telephones do."""
    pixels: Any = photo.pixels_bgr
    sigma_px = rng.uniform(*BLUR_PX) * max(pixels.shape) / USUAL_LONG_PX
    pixels = cv2.GaussianBlur(pixels, (0, 0), sigma_px)
    if rng.random() < SHARPENED:
        soft = cv2.GaussianBlur(pixels, (0, 0), 2 * sigma_px).astype(np.float32)
        pixels = np.clip(pixels + rng.uniform(0.5, 1.5) * (pixels - soft), 0, 255).astype(np.uint8)
    return replace(photo, pixels_bgr=np.asarray(pixels))


def scene_number(name: str) -> int:
    """The number in a scene's name, ``v17.jpg``: 17."""
    return int("".join(c for c in Path(name).stem if c.isdigit()) or 0)


def collect(
    folders: Sequence[Path], out: Path, texture_seed: int | None, blur_seed: int | None
) -> None:
    parts, names = [], []
    for photo, truth in scenes_in(folders):
        number = scene_number(photo.name)
        try:
            if texture_seed is not None:
                rng = np.random.default_rng(texture_seed + number)
                photo = textured(photo, inspect_photo(photo, Settings()), rng)
            if blur_seed is not None:
                photo = unsharp(photo, np.random.default_rng(blur_seed + number))
            scene = inspected(photo, truth)
        except ReadingError as error:
            print(f"{photo.name}: {error}", flush=True)
            continue
        if scene is None:
            continue
        parts.append(lines_of(scene, truth))
        names.append(Path(photo.name).stem)
        label = parts[-1]["label"]
        print(f"{photo.name}: {len(label)} lines, {int(label.sum())} on cracks", flush=True)
    if not parts:
        raise SystemExit("no scene: name folders with pictures and their truth")
    every = joined(parts)
    np.savez(out, **every, names=np.array(names), evidence_names=np.array(EVIDENCE))


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folders", type=Path, nargs="+", metavar="FOLDER")
    parser.add_argument("--textured", type=int, metavar="SEED", help="give the caps a texture")
    parser.add_argument("--unsharp", type=int, metavar="SEED", help="blur the photos")
    parser.add_argument("--out", type=Path, default=Path("lines.npz"))
    options = parser.parse_args()
    collect(options.folders, options.out, options.textured, options.unsharp)


if __name__ == "__main__":
    main()
