"""Training pictures for the finder: drawn scenes of `tests.scenes`, seeded, rendered in parallel.

Recipe: 1024 x 768 px, scene number n from seed ``FIRST_SEED + n``, kinds that matter
most drawn more often (``MORE_OF``), the others of kind ``any``; held-out
scenes start at ``HELD_OUT_SEED``. Three maps a scene: picture, number of the shell seen in each
pixel, and whether the pixel shows a cap.
"""

import os
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

FIRST_SEED, HELD_OUT_SEED = 1_000_000, 9_000_000
SIZE_PX = (1024, 768)
#: kinds drawn more often than chance would, by scene number modulo 8
MORE_OF = {0: "measured", 4: "measured", 1: "ring_mat", 5: "ring_mat", 2: "white_on_white"}


def _limit_threads() -> None:
    os.environ["OMP_NUM_THREADS"] = "1"
    import cv2

    cv2.setNumThreads(1)


def draw(seed: int) -> tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint8]]:
    """Picture (H, W, 3) BGR, shell numbers (H, W), cap mask (H, W) of one scene."""
    from tests.scenes.drawn import draw as draw_scene
    from tests.scenes.drawn import seeded_scene

    kind = MORE_OF.get(seed % 8, "any")
    drawn = draw_scene(seeded_scene(seed, 0, kind, SIZE_PX), 1.0, 0.8)
    maps = (drawn.picture_bgr, drawn.labels.astype(np.uint8), drawn.caps.astype(np.uint8))
    if drawn.labels.shape[0] > drawn.labels.shape[1]:  # an upright picture: lay it down
        maps = tuple(np.ascontiguousarray(m.swapaxes(0, 1)) for m in maps)
    return maps[0], maps[1], maps[2]


def _fill(task: tuple[str, int, int, int, float]) -> int:
    folder, first, start, stop, deadline = task
    if time.time() > deadline:
        return 0
    maps = [np.load(Path(folder) / f"{n}.npy", mmap_mode="r+") for n in ("picture", "shell", "cap")]
    for index in range(start, stop):
        for target, value in zip(maps, draw(first + index), strict=True):
            target[index] = value
    return stop - start


def render_set(folder: Path, count: int, first_seed: int, workers: int, minutes: float) -> None:
    """Render up to ``count`` scenes into memory-mapped arrays under ``folder``.

    Stops after ``minutes``; ``count.txt`` says how many scenes, from the first, are there.
    """
    deadline = time.time() + 60 * minutes
    folder.mkdir(parents=True, exist_ok=True)
    width, height = SIZE_PX
    for name, shape in (
        ("picture", (count, height, width, 3)),
        ("shell", (count, height, width)),
        ("cap", (count, height, width)),
    ):
        np.lib.format.open_memmap(folder / f"{name}.npy", "w+", np.uint8, shape).flush()
    chunk = 8
    tasks = [
        (str(folder), first_seed, s, min(s + chunk, count), deadline)
        for s in range(0, count, chunk)
    ]
    with ProcessPoolExecutor(workers, initializer=_limit_threads) as pool:
        done = 0
        for n in pool.map(_fill, tasks):
            done += n
            if n and done % 400 < chunk:
                print(f"{done} of {count} scenes", flush=True)
    (folder / "count.txt").write_text(str(done))
