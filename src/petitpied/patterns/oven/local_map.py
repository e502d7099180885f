"""The map's cells: how far shells lie from their tray's mean, place by place."""

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as t_distribution

from petitpied.patterns.oven.findings import Cell
from petitpied.patterns.oven.templates import Region
from petitpied.patterns.oven.tray_stack import LEAN, Stack
from petitpied.statistics.made_together import by_unit

Floats = NDArray[np.float64]

#: a cell is about one shell's pitch wide, so that a bake has a shell in most cells
CELL_MM = 60.0
MOST_CELLS = 10  # each way, for trays of any size
#: a shell counts in a cell by its distance: half a cell as standard deviation
REACH_REL = 0.5
#: a bake speaks of a cell if its shells there count as this much of a shell at its middle
#: (one at 1.2 standard deviations); else the cell is blank in that bake
LEAST_WEIGHT = 0.5
#: a cell is blank unless this part of the bakes speaks of it
LEAST_BAKES_REL = 0.34


def cell_grid(region: Region) -> tuple[Floats, Floats, tuple[float, float]]:
    """Middles along x and along y, and the cells' size, mm: they tile the region and half a
    pitch round it."""
    axes: list[Floats] = []
    sizes: list[float] = []
    for middle, half in zip(region.middle_mm, region.half_mm, strict=True):
        count = int(np.clip(round(2 * half / CELL_MM) + 1, 1, MOST_CELLS))
        step = 2 * half / (count - 1) if count > 1 else max(2 * half, CELL_MM)
        axes.append(np.asarray(middle + (np.arange(count) - (count - 1) / 2) * step, float))
        sizes.append(step)
    return axes[0], axes[1], (sizes[0], sizes[1])


def local_means(stack: Stack, values: Floats, region: Region) -> tuple[Floats, Floats]:
    """By bake and cell (x-major): mean of ``values`` (N, S, K) near the cell (N, C, K), NaN
    where the bake has no shell near; and weights (N, C)."""
    x, y, size = cell_grid(region)
    factors = [
        np.exp(-((place[..., None] - axis) ** 2) / (2 * (REACH_REL * step) ** 2))
        for place, axis, step in zip((stack.x_mm, stack.y_mm), (x, y), size, strict=True)
    ]
    first = (factors[0] * stack.present[..., None]).transpose(0, 2, 1)
    weight = (first @ factors[1]).reshape(stack.count, -1)
    sums = [
        (first @ (values[..., k, None] * factors[1])).reshape(stack.count, -1)
        for k in range(values.shape[-1])
    ]
    spoken = weight >= LEAST_WEIGHT
    mean = np.stack(sums, axis=-1) / np.where(spoken, weight, np.nan)[..., None]
    return mean, weight


def map_cells(stack: Stack, region: Region, outstanding: Floats) -> tuple[Cell, ...]:
    """Cells row by row from the side away from the door; ``outstanding`` (T, 2): places that
    stand out, which mark the cells they lie in. The lean is shown as it is, by the length of its
    mean, not as a difference from the tray's."""
    x, y, size = cell_grid(region)
    values = stack.values if stack.measure == LEAN else stack.centred()
    by_bake, _ = local_means(stack, values, region)
    bakes = np.isfinite(by_bake[..., 0]).sum(axis=0)
    means = _unit_means(stack, by_bake)
    heard = np.isfinite(means[..., 0])
    units = heard.sum(axis=0)
    filled = np.where(heard[..., None], means, 0.0)
    average = filled.sum(axis=0) / np.maximum(units, 1)[:, None]
    rest = np.where(heard[..., None], means - average, 0.0)
    variance = (rest**2).sum(axis=0) / np.maximum(units - 1, 1)[:, None]
    half = t_distribution.ppf(0.975, np.maximum(units - 1, 1)) * np.sqrt(
        variance.sum(axis=-1) / np.maximum(units, 1)
    )
    enough = bakes >= max(1, int(np.ceil(LEAST_BAKES_REL * stack.count)))
    marked = _cells_of(outstanding, (x, y), size)
    cells = []
    for row in range(len(y)):
        for column in range(len(x)):
            c = column * len(y) + row
            length = float(average[c, 0] if means.shape[-1] == 1 else np.hypot(*average[c]))
            known = bool(enough[c])
            cells.append(
                Cell(
                    (float(x[column]), float(y[row])),
                    size,
                    length if known else None,
                    float(half[c]) if known and units[c] >= 2 else None,
                    int(bakes[c]),
                    known and c in marked,
                )
            )
    return tuple(cells)


def _unit_means(stack: Stack, means: Floats) -> Floats:
    """Means (U, C, K) over the bakes of each unit that speak, of means (N, C, K), NaN if none."""
    heard = np.isfinite(means)
    count = by_unit(stack.unit, heard.astype(float))
    total = by_unit(stack.unit, np.where(heard, means, 0.0))
    return np.asarray(total / np.where(count > 0, count, np.nan))


def _cells_of(
    places_mm: Floats, axes: tuple[Floats, Floats], size: tuple[float, float]
) -> frozenset[int]:
    """Flat (x-major) indices of the cells that hold the places."""
    if not len(places_mm):
        return frozenset()
    index = [
        np.clip(np.rint((places_mm[:, k] - axes[k][0]) / size[k]), 0, len(axes[k]) - 1).astype(int)
        for k in range(2)
    ]
    return frozenset((index[0] * len(axes[1]) + index[1]).tolist())


def lean_field(lean: Stack, region: Region) -> dict[tuple[float, float], tuple[float, float]]:
    """Mean lean (x, y) mm by cell's middle, where at least a third of the bakes speak."""
    x, y, _ = cell_grid(region)
    means, _ = local_means(lean, lean.values, region)
    heard = np.isfinite(means[..., 0])
    bakes = heard.sum(axis=0)
    total = np.where(heard[..., None], means, 0.0).sum(axis=0)
    field = {}
    for c in np.flatnonzero(bakes >= max(1, np.ceil(LEAST_BAKES_REL * lean.count))):
        place = (float(x[c // len(y)]), float(y[c % len(y)]))
        field[place] = (float(total[c, 0] / bakes[c]), float(total[c, 1] / bakes[c]))
    return field
