"""Trays piped by a made-up hand, each shell with its true row and place.

``python -m tests.finding.piped_trays`` prints how often ids go wrong by the hand's scatter.
"""

from dataclasses import dataclass

import numpy as np

from petitpied.finding.lattice import Lattice, find_lattice


@dataclass(frozen=True)
class PipedTray:
    """``row`` (N,) from 0; ``place`` (N,) across, half-integers in shifted rows."""

    centres_mm: np.ndarray
    diameters_mm: np.ndarray
    row: np.ndarray
    place: np.ndarray

    def without(self, index):
        keep = np.arange(len(self.row)) != index
        return PipedTray(
            self.centres_mm[keep], self.diameters_mm[keep], self.row[keep], self.place[keep]
        )

    def true_places(self):
        """(row, column) lists, counted from the first row and the left-most place."""
        column = np.floor(self.place - self.place.min() + 0.25).astype(int)
        return (self.row - self.row.min()).tolist(), column.tolist()


def random_tray(rng, scatter_rel, *, least_rows=2, least_columns=3):
    """Square or staggered, up to 20 % missing, turned by 3 degrees, fanned and bent a little;
    shells off their places by a normal scatter (cut at 3 sigma), in pitches and by axis."""
    rows, columns = rng.integers(least_rows, 8), rng.integers(least_columns, 10)
    staggered, first_shifted = rng.integers(2), rng.integers(2)
    diameter = rng.uniform(20, 60)
    pitch = diameter * rng.uniform(1.1, 1.5)
    row_pitch = pitch * rng.uniform(0.85, 1.15)
    row, column = np.divmod(np.arange(rows * columns), columns)
    place = column + 0.5 * staggered * ((row + first_shifted) % 2)
    keep = rng.random(len(row)) >= rng.uniform(0, 0.2)
    if keep.sum() < 4:
        keep[:] = True
    row, place = row[keep], place[keep]
    u, v = place - (columns - 1) / 2, row - (rows - 1) / 2
    fan, bend_x, bend_y = rng.normal(size=3) * [0.01, 0.005, 0.005]
    x, y = (
        (u + fan * u * v + bend_x * v * v) * pitch,
        (v + fan * u * v + bend_y * u * u) * row_pitch,
    )
    turn, slant = np.deg2rad(rng.normal(size=2) * [3, 0.6])
    centres = np.column_stack(
        [x * np.cos(turn) - y * np.sin(turn + slant), x * np.sin(turn) + y * np.cos(turn + slant)]
    )
    scatter = np.clip(rng.normal(size=centres.shape), -3, 3) * scatter_rel * min(pitch, row_pitch)
    return PipedTray(centres + scatter, np.full(len(row), diameter), row, place)


def places_of(lattice: Lattice):
    return lattice.row.tolist(), lattice.column.tolist()


def lattice_of(tray):
    return find_lattice(tray.centres_mm, tray.diameters_mm)


def removable(tray):
    """Shells whose loss takes away neither the first row nor the left-most places."""
    alone_in_row = [
        (tray.row == tray.row.min()).sum() == 1 and r == tray.row.min() for r in tray.row
    ]
    left = tray.place.min()
    alone_left = (tray.place == left) & ((tray.place == left).sum() == 1)
    return np.flatnonzero(~(np.array(alone_in_row) | alone_left))


def shares_of_violations(scatter_rel, trays, seed=0):
    """(trays with a wrong place, removals that rename another shell), each as a share."""
    rng = np.random.default_rng([seed, round(scatter_rel * 1000)])
    wrong = renamed = removals = 0
    for _ in range(trays):
        tray = random_tray(rng, scatter_rel)
        whole = lattice_of(tray)
        wrong += places_of(whole) != tray.true_places()
        gone = int(rng.choice(removable(tray)))
        rest = lattice_of(tray.without(gone))
        removals += 1
        renamed += rest.ids != tuple(np.delete(whole.ids, gone))
    return wrong / trays, renamed / removals


if __name__ == "__main__":
    print("scatter, pitches   trays with a wrong place   removals that rename")
    for scatter in (0.0, 0.03, 0.06, 0.09, 0.12, 0.15):
        shares = shares_of_violations(scatter, 400)
        print(f"{scatter:16.2f}   {shares[0]:24.1%}   {shares[1]:20.1%}")
