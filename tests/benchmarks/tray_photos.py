"""``python -m tests.benchmarks.tray_photos [--same N] [--different N]``: photos of trays as values.

One tray seen twice, and different trays of one piping sheet: which are joined?

Another simulator, which knows nothing of the package: a tray is true places and sizes; a photo
measures them with the errors of its view.
"""

import argparse

import numpy as np

from petitpied.domain.bake import BakeShells
from petitpied.domain.tray_identity import same_tray


def a_tray(rng, scatter_mm=1.0, spread_mm=0.8, sheet=None):
    """True places (S, 2), sizes (S, 3), rows and columns of one tray; ``sheet``: a drawn sheet's
    own errors (S, 2), shared by all trays piped on it."""
    rows, columns = (
        sheet.shape[:2] if sheet is not None else (rng.integers(4, 7), rng.integers(4, 7))
    )
    row, column = (a.ravel() for a in np.mgrid[:rows, :columns])
    staggered = 0.0 if sheet is not None else rng.integers(2) * 28.0
    place = np.column_stack([column * 58.0 + (row % 2) * staggered, row * 56.0])
    place = place + (0 if sheet is None else sheet.reshape(-1, 2))
    place = place + rng.normal(0, scatter_mm, place.shape)
    slope = rng.normal(0, 0.5, 2)
    size = 45 + rng.normal(0, 1) + rng.normal(0, spread_mm, len(place))
    size = size + (place - place.mean(axis=0)) @ slope / 300
    cap = size - 3 + rng.normal(0, 0.25, len(place))
    round_ = np.abs(rng.normal(0.6, 0.2, len(place)))
    return place, np.column_stack([size, cap, round_]), row, column


def a_photo(tray, rng, eaten=0):
    """As measured from 390 to 760 mm, tilted to 13 degrees: a frame of its own (turned by a
    quarter or half, skew by a degree, origin elsewhere), places and sizes off by what the view's
    errors make of them, the lower the more; a crop; shells eaten."""
    place, size, row, column = tray
    height, tilt = rng.uniform(390, 760), rng.uniform(0, 13)
    worse = np.sqrt(760 / height) * (1 + tilt / 26)
    kept = np.ones(len(place), bool)
    if rng.random() < 0.5:  # cropped on one side
        axis, share = rng.integers(2), rng.uniform(0, 0.3)
        edge = np.quantile(place[:, axis], [share, 1 - share])
        kept &= place[:, axis] >= edge[0] if rng.random() < 0.5 else place[:, axis] <= edge[1]
    kept[rng.permutation(len(place))[:eaten]] = False
    middle = place.mean(axis=0) + rng.normal(0, 30, 2)
    off = place - middle
    unit = off / 200.0
    # tilt and scale not known exactly: smooth shifts of places and sizes
    error = rng.normal(0, 0.003 * worse, 3)
    factor = 1 + error[0] + unit @ error[1:]
    seen = off * factor[:, None] + rng.normal(0, 0.15 * worse, off.shape)
    sizes = size * np.column_stack([factor, factor, np.ones(len(factor))])
    sizes = sizes + rng.normal(0, 1, sizes.shape) * worse * np.array([0.1, 0.14, 0.08])
    angle = np.deg2rad(rng.choice([0, 90, 180, 270]) + rng.normal(0, 0.7))
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    seen = seen @ turn.T
    order = rng.permutation(np.flatnonzero(kept))
    rows, columns = row[order], column[order]
    if abs(np.sin(angle)) > 0.7:
        rows, columns = columns, rows
    names = ("diameter", "cap_diameter", "roundness")
    values = {name: sizes[order, k] for k, name in enumerate(names)}
    ids = tuple(f"s{i}" for i in order)
    return BakeShells(
        ids, rows - rows.min(), columns - columns.min(), seen[order, 0], seen[order, 1], values
    )


def joined_same(count, rng):
    """How many of so many trays are known in a second photo, up to three shells eaten between."""
    hits = 0
    for _ in range(count):
        tray = a_tray(rng)
        first, second = a_photo(tray, rng), a_photo(tray, rng, eaten=int(rng.integers(4)))
        hits += same_tray(first, second) is not None
    return hits


def joined_different(count, rng):
    """How many pairs of different trays, piped on one drawn sheet, are taken for one."""
    hits = 0
    for _ in range(count):
        sheet = rng.normal(0, 1.0, (*rng.integers(4, 7, 2), 2))
        one, other = (a_tray(rng, 0.8, 0.6, sheet) for _ in range(2))
        hits += same_tray(a_photo(one, rng), a_photo(other, rng)) is not None
    return hits


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--same", type=int, default=300)
    parser.add_argument("--different", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=20_280_000)
    options = parser.parse_args()
    print("\n### Photos of one tray, and of different trays\n")
    print("| | tries | joined |")
    print("|---|---|---|", flush=True)
    rng = np.random.default_rng([options.seed, 31])
    print(f"| one tray | {options.same} | {joined_same(options.same, rng)} |", flush=True)
    rng = np.random.default_rng([options.seed, 32])
    found = joined_different(options.different, rng)
    print(f"| different trays of one sheet | {options.different} | {found} |")


if __name__ == "__main__":
    main()
