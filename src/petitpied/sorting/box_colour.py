"""Boxes of like colour at a given count and evenness: mixed-integer programming (HiGHS)."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

#: larger tasks are not tried: the program would need gigabytes
MOST_ENTRIES, MOST_MACARONS = 400_000, 400
#: thresholds tried: halving a list of some thousand colour differences takes twelve
MOST_STEPS = 12
_OPTIMAL, _TIME, _INFEASIBLE = 0, 1, 2  # scipy.optimize.milp, result.status


@dataclass(frozen=True)
class ColourTask:
    """N macarons: ``size_mm`` (N,), ``lab`` (N, 3), ``group`` (N,) of the box's recipe, of which
    each box takes ``counts``; colours are compared within a ``flavour`` (N,) only. No box may
    have a range of size above ``range_mm``."""

    size_mm: Floats
    lab: Floats
    group: Indices
    flavour: Indices
    counts: tuple[int, ...]
    range_mm: float

    def apart(self) -> Floats:
        """CIELAB 1976 distances (N, N); 0 between flavours."""
        apart = np.linalg.norm(self.lab[:, None] - self.lab[None], axis=2)
        return np.where(self.flavour[:, None] == self.flavour[None], apart, 0.0)


def most_alike(
    task: ColourTask, start: Sequence[Sequence[int]], time_limit_s: float
) -> tuple[list[list[int]], float]:
    """Boxes (lists of indices), as many as in ``start``, with the smallest worst range of colour.

    Returns
    -------
    boxes, bound
        No such boxes have a worst range below ``bound``; they are optimal where it is reached.
    """
    best = [list(box) for box in start]
    if len(task.size_mm) > MOST_MACARONS:
        return best, 0.0
    apart = task.apart()
    worst = _worst(apart, best)
    levels = np.unique(np.append(apart[np.triu_indices(len(apart), 1)], 0.0))
    # the answer is one of the levels: proven[low - 1] is impossible, levels[high] is reached
    low, high = 0, int(np.searchsorted(levels, worst - 1e-9))
    proven = 0
    for _ in range(MOST_STEPS):
        if low >= high:
            break
        middle = (low + high) // 2
        boxes, status = _boxes_within(task, apart, float(levels[middle]), len(best), time_limit_s)
        if boxes is not None:
            best = boxes
            high = int(np.searchsorted(levels, _worst(apart, boxes) - 1e-9))
        else:
            low = middle + 1
            if status == _INFEASIBLE:
                proven = max(proven, low)
    return best, float(levels[min(proven, high)])


def _worst(apart: Floats, boxes: Sequence[Sequence[int]]) -> float:
    return max(float(apart[np.ix_(box, box)].max()) for box in boxes)


def _boxes_within(
    task: ColourTask, apart: Floats, most: float, count: int, time_limit_s: float
) -> tuple[list[list[int]] | None, int]:
    """``count`` boxes without two of one flavour farther apart than ``most``, or None.

    A variable for "j lies in the box whose smallest macaron is i" (asymmetric representatives:
    Campelo et al., Discrete Appl. Math. 156 (2008) 1097), so that boxes have no order.
    """
    order = np.lexsort((np.arange(len(task.size_mm)), task.size_mm))
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    near = task.size_mm[None] - task.size_mm[:, None] <= task.range_mm + 1e-9
    allowed = near & (rank[None] >= rank[:, None]) & (apart <= most)
    first, member = np.nonzero(allowed)
    rows = _Rows(len(first))
    variable = -np.ones(allowed.shape, np.int64)
    variable[first, member] = np.arange(len(first))
    for i in range(len(order)):
        own = variable[i, i]
        inside = np.flatnonzero(allowed[i])
        for group, needed in enumerate(task.counts):
            these = variable[i, inside[task.group[inside] == group]]
            rows.add([*these, own], [*np.ones(len(these)), -float(needed)], 0.0, 0.0)
        rows.add(variable[allowed[:, i], i], np.ones(int(allowed[:, i].sum())), 0.0, 1.0)
        far = np.argwhere(np.triu(apart[np.ix_(inside, inside)] > most))
        for j, k in inside[far]:
            rows.add([variable[i, j], variable[i, k], own], [1.0, 1.0, -1.0], -np.inf, 0.0)
        if rows.entries > MOST_ENTRIES:
            return None, _TIME
    owns = variable[np.arange(len(order)), np.arange(len(order))]
    rows.add(owns, np.ones(len(owns)), float(count), np.inf)
    result = milp(
        np.zeros(len(first)),
        constraints=rows.constraint(),
        integrality=np.ones(len(first)),
        bounds=Bounds(0, 1),
        options={"time_limit": time_limit_s / MOST_STEPS},
    )
    if result.x is None:
        return None, int(result.status)
    taken = result.x > 0.5
    boxes = [member[taken & (first == i)].tolist() for i in np.flatnonzero(result.x[owns] > 0.5)]
    return boxes[:count], _OPTIMAL


class _Rows:
    """Rows of a sparse linear constraint, gathered one by one."""

    def __init__(self, columns: int) -> None:
        self.columns = columns
        self.row: list[int] = []
        self.column: list[int] = []
        self.value: list[float] = []
        self.low: list[float] = []
        self.high: list[float] = []

    @property
    def entries(self) -> int:
        return len(self.row)

    def add(
        self,
        columns: Sequence[int] | Indices,
        values: Sequence[float] | Floats,
        low: float,
        high: float,
    ) -> None:
        self.row += [len(self.low)] * len(columns)
        self.column += [int(c) for c in columns]
        self.value += [float(v) for v in values]
        self.low.append(low)
        self.high.append(high)

    def constraint(self) -> LinearConstraint:
        shape = (len(self.low), self.columns)
        matrix = coo_array((self.value, (self.row, self.column)), shape=shape)
        return LinearConstraint(matrix.tocsc(), np.array(self.low), np.array(self.high))
