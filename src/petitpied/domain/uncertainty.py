"""Combining uncertainty (JCGM 100:2008): causes, effective degrees of freedom, differences, means.

A shell's size is a function of many inputs. Its budget is kept as contributions: for each cause
the input's standard uncertainty times the size's sensitivity to it (equation 11a). A shared
cause moves all shells of a photo together, each by its own signed contribution, so that in a
difference of two shells it counts with the difference of the two (equation 16 with r = 1).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, inf, sqrt
from operator import mul, truediv

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.quantity import Quantity, coverage_factor_95
from petitpied.domain.view import PARAMETERS

Floats = NDArray[np.float64]

#: reliability of a type B estimate taken on judgement: known to 25 %, so 8 degrees of freedom
#: (JCGM 100, G.4.2: half of (1 / 0.25)^2)
TYPE_B_DOF = 8.0
#: some 48 independent edge points on a shell less 16 parameters of a ring
EDGE_DOF = 30.0
#: traced scenes from which the evidence's bias is known, less one
SCENE_DOF = 27.0

#: what belongs to one shell: cause to its degrees of freedom
OWN_CAUSES: dict[str, float] = {
    "edge points": EDGE_DOF,
    "outline definition": SCENE_DOF,
    "neighbours and shadows": TYPE_B_DOF,
    "this shell's ring heights": TYPE_B_DOF,
}
#: parameters of a view, those of one cause together, the cause that comes first takes what it
#: has in common with later ones
VIEW_CAUSES: dict[str, tuple[str, ...]] = {
    "focal length and principal point": ("f_rel", "cx_px", "cy_px"),
    "lens distortion": ("k1", "k2", "p1", "p2", "k3"),
    "corner noise and pose": ("rx_rad", "ry_rad", "rz_rad", "tx_mm", "ty_mm", "tz_mm"),
}
_SINGLE: dict[str, float] = {
    "card print": TYPE_B_DOF,
    "card thickness and flatness": TYPE_B_DOF,
    "height of the cap rims": TYPE_B_DOF,
    "height of the feet": TYPE_B_DOF,
    "walls and ruffles of the feet": TYPE_B_DOF,
    "edge evidence of this scene": SCENE_DOF,
}
#: corners of one card, twice, less what is fitted
VIEW_DOF = 50.0
#: what all shells of a photo share; a view's causes have one entry a parameter
SHARED_CAUSES: tuple[str, ...] = (
    *_SINGLE,
    *(cause for cause, names in VIEW_CAUSES.items() for _ in names),
)
#: order in which a view's parameters stand in `SHARED_CAUSES`, as indices of `PARAMETERS`
VIEW_ORDER: tuple[int, ...] = tuple(
    PARAMETERS.index(name) for names in VIEW_CAUSES.values() for name in names
)
_SHARED_DOF = tuple(_SINGLE.get(cause, VIEW_DOF) for cause in SHARED_CAUSES)
_OWN_DOF = tuple(OWN_CAUSES.values())


def effective_dof(squares: Sequence[float], dof: Sequence[float]) -> float:
    """Welch-Satterthwaite effective degrees of freedom of independent contributions, given by
    their squares and degrees of freedom (JCGM 100, G.2b); infinite where all are 0."""
    below = sum(map(truediv, map(mul, squares, squares), dof))
    return sum(squares) ** 2 / below if below > 0 else inf


def quantity_of(value: float, own: Sequence[float], shared: Sequence[float]) -> Quantity:
    """A quantity from its contributions, in the orders of `OWN_CAUSES` and `SHARED_CAUSES`."""
    # plain numbers: hundreds of quantities a photo, and arrays of this size cost ten times more
    mine, common = list(map(mul, own, own)), list(map(mul, shared, shared))
    parts = (sum(common[first:stop]) for first, stop in _VIEW_SPANS)
    squares = [*mine, *common[: len(_SINGLE)], *parts]
    return Quantity(
        value,
        sqrt(sum(mine)),
        sqrt(sum(common)),
        effective_dof(squares, _EVERY_DOF),
        tuple(map(float, own)),
        tuple(map(float, shared)),
    )


def quantities_of(values: Sequence[float], own: Floats, shared: Floats) -> list[Quantity]:
    """`quantity_of` of N at once: contributions (N, own causes) and (N, shared causes)."""
    mine, common = own**2, shared**2
    squares = np.concatenate([mine, common @ _MEMBERS.T], axis=1)
    below, total = (squares**2 / _EVERY_DOF).sum(axis=1), squares.sum(axis=1)
    dof = np.divide(total**2, below, out=np.full(len(total), inf), where=below > 0)
    return [
        Quantity(*parts)
        for parts in zip(
            values,
            np.sqrt(mine.sum(axis=1)).tolist(),
            np.sqrt(common.sum(axis=1)).tolist(),
            dof.tolist(),
            map(tuple, own.tolist()),
            map(tuple, shared.tolist()),
            strict=True,
        )
    ]


_CAUSES = tuple(dict.fromkeys(SHARED_CAUSES))
_CAUSE_DOF = tuple(_SHARED_DOF[SHARED_CAUSES.index(cause)] for cause in _CAUSES)
_MEMBERS = np.array([[cause == c for c in SHARED_CAUSES] for cause in _CAUSES], float)
#: where the entries of each of a view's causes stand in `SHARED_CAUSES`, after those of one
#: entry: first and one past the last
_VIEW_SPANS = tuple(
    (SHARED_CAUSES.index(cause), SHARED_CAUSES.index(cause) + SHARED_CAUSES.count(cause))
    for cause in VIEW_CAUSES
)
_EVERY_DOF = (*_OWN_DOF, *_CAUSE_DOF)


def _by_cause(shared: Sequence[float]) -> Floats:
    """Contributions (C,) of the shared causes, the parameters of one cause added in squares."""
    return np.asarray(np.sqrt(_MEMBERS @ np.square(np.asarray(shared, float))), float)


def _told(quantities: Sequence[Quantity]) -> bool:
    return all(len(q.shared) == len(SHARED_CAUSES) for q in quantities)


def difference(a: Quantity, b: Quantity) -> Quantity:
    """``a - b`` of two shells of one photo: what they share counts only as far as it differs."""
    value = a.value - b.value
    if _told((a, b)):
        return quantity_of(
            value, np.hypot(a.own, b.own).tolist(), np.subtract(a.shared, b.shared).tolist()
        )
    return Quantity(value, hypot(a.u_own, b.u_own), abs(a.u_shared - b.u_shared))


def mean_of(quantities: Sequence[Quantity]) -> Quantity:
    """Mean of at least one shells' quantity: own parts fall with their number, shared do not."""
    n = len(quantities)
    mean = sum(q.value for q in quantities) / n
    if _told(quantities):
        own = np.sqrt(np.square([q.own for q in quantities]).sum(axis=0)) / n
        return quantity_of(
            mean, own.tolist(), np.mean([q.shared for q in quantities], axis=0).tolist()
        )
    own_u = sqrt(sum(q.u_own**2 for q in quantities)) / n
    return Quantity(mean, own_u, sum(q.u_shared for q in quantities) / n)


@dataclass(frozen=True)
class Contribution:
    """A row of a budget: ``u`` in the quantity's unit; ``shared`` by all shells of the photo."""

    cause: str
    u: float
    dof: float
    shared: bool


@dataclass(frozen=True)
class Budget:
    """Where a quantity's uncertainty comes from, largest first."""

    quantity: Quantity
    rows: tuple[Contribution, ...]

    @property
    def coverage_factor(self) -> float:
        return coverage_factor_95(self.quantity.dof)


def budget_of(quantity: Quantity) -> Budget:
    """The budget behind a quantity that knows its contributions.

    Raises
    ------
    ValueError
        If it knows only sums.
    """
    if not _told((quantity,)):
        raise ValueError("this quantity was written without its budget")
    own = zip(OWN_CAUSES.items(), quantity.own, strict=True)
    rows = [Contribution(cause, abs(u), dof, False) for (cause, dof), u in own]
    shared = zip(_CAUSES, _by_cause(quantity.shared), _CAUSE_DOF, strict=True)
    rows += [Contribution(cause, float(u), dof, True) for cause, u, dof in shared]
    return Budget(quantity, tuple(sorted(rows, key=lambda row: -row.u)))
