"""Photos that lie, made from scenes with truth: told or not, and how far their sizes are off.

Each scene is cut (72 % of its width, off the middle), its card is given waves of 2 px, a tenth of
it is washed out, made black or unsharp, a grid or moire is laid over it, or it is photographed anew
from 25 degrees. Untouched scenes must be told as nothing of the kind.
"""

import argparse
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.camera.find_card import find_cards
from petitpied.domain import card
from petitpied.domain.errors import ReadingError
from petitpied.domain.photo import Photo
from petitpied.domain.settings import Settings
from petitpied.inspection.one_photo import inspect_photo
from petitpied.photo.decode import decode_photo
from tests.benchmarks.accuracy import scenes_in
from tests.benchmarks.scorer import project

Floats = NDArray[np.float64]
Pixels = NDArray[np.uint8]

#: what a photo that lies is told by
WORDS = {
    "cropped": "seems to be cropped",
    "cropped, no frame in EXIF": "seems to be cropped",
    "waves of 2 px": "flat",
    "waves of 1 px": "flat",
    "washed out": "washed out",
    "black": "black",
    "unsharp": "unsharp",
    "grid": "regular pattern",
    "moire": "regular pattern",
    "photographed anew": "lie in one plane",
}
PART_REL, CROP_REL = 0.13, 0.72


@dataclass(frozen=True)
class Lie:
    """A photo, and where px (N, 2) of the scene lie in it."""

    photo: Photo
    place: Callable[[Floats], Floats]


def _same(points: Floats) -> Floats:
    return points


def made(kind: str, photo: Photo, truth: dict[str, Any], rng: np.random.Generator) -> Lie:
    """One of `WORDS`, or the scene as it is."""
    pixels = photo.pixels_bgr
    if kind.startswith("cropped"):
        return _cropped(photo, rng, keep_frame=kind == "cropped")
    if kind == "photographed anew":
        anew, h = _anew(pixels, rng)
        return Lie(
            replace(photo, pixels_bgr=anew, focal_35mm_mm=26.0),
            lambda p: np.asarray(cv2.perspectiveTransform(p[None], h)[0], float),
        )
    if kind.startswith("waves"):
        pixels = _waved(pixels, float(kind.split()[2]), rng)
    elif kind in ("washed out", "black", "unsharp"):
        pixels = _part_lost(pixels, kind, truth, rng)
    elif kind in ("grid", "moire"):
        y, x = np.mgrid[: len(pixels), : pixels.shape[1]].astype(np.float32)
        waves = {
            "grid": 0.88 + 0.06 * np.cos(1.843 * x + 0.129 * y) + 0.06 * np.cos(1.843 * y),
            "moire": 1 + 0.04 * np.cos(0.676 * x + 0.203 * y),
        }
        pixels = np.clip(pixels * waves[kind][..., None], 0, 255).astype(np.uint8)
    return Lie(replace(photo, pixels_bgr=pixels), _same)


def _cards(pixels: Pixels) -> list[Floats]:
    sightings = find_cards(np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY), np.uint8))
    outline = card.outline_corners_mm()[None]
    return [np.asarray(cv2.perspectiveTransform(outline, s.homography())[0]) for s in sightings]


def _cropped(photo: Photo, rng: np.random.Generator, keep_frame: bool) -> Lie:
    height, width = photo.pixels_bgr.shape[:2]
    size = np.rint(CROP_REL * np.array([width, height])).astype(int)
    spare = np.array([width, height]) - size
    seen = np.concatenate(_cards(photo.pixels_bgr))
    low, high = seen.max(axis=0) + 60 - size, seen.min(axis=0) - 60  # the cards stay in it
    start = rng.integers(spare + 1).astype(float)
    start = np.clip(start, np.clip(low, 0, spare), np.clip(high, 0, spare)).astype(int)
    left, top = start.tolist()
    part = photo.pixels_bgr[top : top + size[1], left : left + size[0]]
    frame = photo.frame_px if keep_frame else None
    return Lie(
        replace(photo, pixels_bgr=np.ascontiguousarray(part), frame_px=frame), lambda p: p - start
    )


def _waved(pixels: Pixels, amplitude_px: float, rng: np.random.Generator) -> Pixels:
    """Waves in each card: of 20 to 70 mm, for a photo 4,032 px wide."""
    height, width = pixels.shape[:2]
    out = pixels.copy()
    y, x = np.mgrid[:height, :width].astype(np.float32)
    for corners in _cards(pixels):
        mask = np.zeros((height, width), np.uint8)
        cv2.fillConvexPoly(mask, np.rint(corners).astype(np.int32), 255)
        soft = cv2.GaussianBlur(mask, (0, 0), 4).astype(np.float32) / 255
        px_per_mm = float(np.hypot(*(corners[1] - corners[0]))) / card.WIDTH_MM
        wave_px = px_per_mm * rng.uniform(20, 70)
        moved = []
        for plane in (x, y):
            turn, phase = rng.uniform(0, 2 * np.pi, 2)
            along = (x * np.cos(turn) + y * np.sin(turn)) / wave_px
            shift = amplitude_px * max(width, height) / 4032 * np.sin(2 * np.pi * along + phase)
            moved.append((plane + shift * soft).astype(np.float32))
        out[mask > 0] = cv2.remap(pixels, moved[0], moved[1], cv2.INTER_CUBIC)[mask > 0]
    return out


def _part_lost(
    pixels: Pixels, kind: str, truth: dict[str, Any], rng: np.random.Generator
) -> Pixels:
    """An ellipse of about a tenth of the tray about one of its shells."""
    centres = project(truth, np.array([s["centre_mm"] for s in truth["shells"]]))
    middle = centres[rng.integers(len(centres))]
    height, width = pixels.shape[:2]
    half = PART_REL * max(height, width) * np.array([1.3, 0.8])
    half = half[::-1] if rng.random() < 0.5 else half
    y, x = np.mgrid[:height, :width].astype(np.float32)
    far = ((x - middle[0]) / half[0]) ** 2 + ((y - middle[1]) / half[1]) ** 2
    near = np.exp(-(far**2))[..., None]
    if kind == "washed out":
        changed = pixels + 400 * near
    elif kind == "black":
        changed = pixels * np.clip(1 - 1.05 * near, 0, 1)
    else:
        soft = cv2.GaussianBlur(pixels, (0, 0), 0.0022 * max(height, width))
        changed = pixels * (1 - near) + soft * near
    return np.clip(changed, 0, 255).astype(np.uint8)


def _anew(pixels: Pixels, rng: np.random.Generator) -> tuple[Pixels, Floats]:
    """The picture as a flat print, by a 26 mm lens from 25 degrees; and its homography."""
    height, width = pixels.shape[:2]
    focal = 26.0 / 43.267 * float(np.hypot(width, height))
    middle = (np.array([width, height]) - 1) / 2
    way = rng.uniform(0, 2 * np.pi)
    turn, _ = cv2.Rodrigues(np.deg2rad(25) * np.array([np.cos(way), np.sin(way), 0.0]))
    matrix = np.array([[focal, 0, middle[0]], [0, focal, middle[1]], [0, 0, 1]])
    pose = np.column_stack([turn[:, 0], turn[:, 1], [0, 0, 1.25 * focal]])
    h = matrix @ pose @ np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1]])
    table = (90, 100, 110)
    return np.asarray(cv2.warpPerspective(pixels, h, (width, height), borderValue=table)), h


@dataclass(frozen=True)
class Told:
    """What came of one photo: refused or not, its warnings, errors and errors over ±, mm."""

    refused: bool
    warnings: tuple[str, ...]
    errors_mm: Floats
    over_u95: Floats

    def says(self, word: str) -> bool:
        return self.refused or any(word in warning for warning in self.warnings)


def told(lie: Lie, truth: dict[str, Any]) -> Told:
    """Inspect a photo that lies; sizes are compared with those of the scene."""
    try:
        record = inspect_photo(lie.photo, Settings())
    except ReadingError as error:
        return Told(True, (str(error),), np.zeros(0), np.zeros(0))
    centres = lie.place(project(truth, np.array([s["centre_mm"] for s in truth["shells"]])))
    true_mm = [s["area_equiv_diameter_mm"] for s in truth["shells"]]
    rows = []
    for shell in record.shells:
        size = shell.diameter_mm
        away = np.hypot(*(centres - shell.centre_px).T)
        nearest = int(away.argmin())
        if size is not None and away[nearest] < 60:
            rows.append((size.value - true_mm[nearest], size.u95))
    off, u95 = np.array(rows).reshape(-1, 2).T
    return Told(False, record.warnings, off, np.abs(off) / u95)


def lies_lines(pictures: list[Path]) -> Iterator[str]:
    """A row a kind: how many are told or refused, false words, sizes of those that are measured."""
    yield "| photo | told | refused | other words | diameter RMS, mm | mean | the ± holds |"
    yield "|---|---|---|---|---|---|---|"
    for kind in ("untouched", *WORDS):
        rng = np.random.default_rng(8)
        results = []
        for picture in pictures:
            truth = json.loads(picture.with_suffix(".json").read_text(encoding="utf-8"))
            photo = decode_photo(picture.read_bytes(), picture.name)
            results.append(told(made(kind, photo, truth, rng), truth))
        own = WORDS.get(kind, "untold")
        other = set(WORDS.values()) - {own}
        false = sum(any(r.says(word) for word in other) and not r.refused for r in results)
        errors = np.concatenate([r.errors_mm for r in results])
        over = np.concatenate([r.over_u95 for r in results])
        count = "-" if kind == "untouched" else f"{sum(r.says(own) for r in results)}"
        rms = float(np.sqrt(np.mean(errors**2))) if len(errors) else float("nan")
        yield (
            f"| {kind} | {count} of {len(results)} | {sum(r.refused for r in results)} | {false} "
            f"| {rms:.2f} | {np.mean(errors):+.2f} | {np.mean(over <= 1):.2f} |"
        )


def main() -> None:
    """Print the table for folders of path-traced scenes."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--every", type=int, default=1, help="one scene in so many")
    options = parser.parse_args()
    scenes = [p for folder in options.folders for p in scenes_in(folder)]
    for line in lies_lines(scenes[:: options.every]):
        print(line, flush=True)


if __name__ == "__main__":
    main()
