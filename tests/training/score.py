"""Held-out score of the finder: shells found and false finds on drawn scenes it never saw.

``PYTHONPATH=src python -m tests.training.score --count 80`` prints recall and precision over
whole shells, and the error of the proposed outlines, relative to the radius. Scenes start at
`HELD_OUT_SEED`; no scene from there on was trained on or tuned on.
"""

import argparse
from concurrent.futures import ProcessPoolExecutor

import cv2
import numpy as np

from petitpied.finding.find_shells import find_shells
from tests.training.data import HELD_OUT_SEED, draw

#: a shell in truth counts if this many pixels of it show, and it is clear of the border
LEAST_PX, BORDER_PX = 400, 4


def score(seed: int) -> tuple[int, int, int, list[float], list[float]]:
    """True shells, found, false, outline errors, and the scores of the false finds."""
    cv2.setNumThreads(1)
    picture, labels, _ = draw(seed)
    found = [s for s in find_shells(picture).seeds if s.whole]
    area = np.bincount(labels.ravel(), minlength=int(labels.max()) + 1)
    edge = np.zeros_like(labels, bool)
    edge[BORDER_PX:-BORDER_PX, BORDER_PX:-BORDER_PX] = True
    cut = set(np.unique(labels[~edge]).tolist())
    true = [n for n in range(1, len(area)) if area[n] >= LEAST_PX and n not in cut]
    hit: set[int] = set()
    errors, false = [], []
    for seed_found in found:
        mask = np.zeros(labels.shape, np.uint8)
        cv2.fillPoly(mask, [np.rint(seed_found.outline_px).astype(int)], 1)
        inside = labels[mask > 0]
        number = int(np.bincount(inside).argmax()) if len(inside) else 0
        both = (inside == number).sum()
        if number == 0 or both < 0.5 * max(mask.sum(), area[number]):
            if number == 0 or number in true:
                false.append(seed_found.score)
            continue
        if number in hit:
            false.append(seed_found.score)
        hit.add(number)
        errors.append(abs(np.sqrt(mask.sum() / area[number]) - 1))
    return len(true), len(hit & set(true)), len(false), errors, false


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=80)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    seeds = range(HELD_OUT_SEED + 3000, HELD_OUT_SEED + 3000 + options.count)
    with ProcessPoolExecutor(options.workers) as pool:
        rows = list(pool.map(score, seeds))
    true, hit, false = (sum(r[i] for r in rows) for i in range(3))
    error = np.concatenate([r[3] for r in rows])
    print(f"scenes {len(rows)}, whole shells {true}")
    print(f"recall {hit / true:.4f}, precision {hit / max(hit + false, 1):.4f}")
    print(
        f"diameter of the proposed outline: median error {np.median(error):.2%}, "
        f"95th percentile {np.percentile(error, 95):.2%}"
    )
    print("scores of false finds:", np.round(sorted(s for r in rows for s in r[4]), 2))


if __name__ == "__main__":
    main()
