"""Straight and turned bakes against time: how well mixed they are, and what a change could fake.

If the oven changes once (a new oven, a moved rack, another heater) between straight bakes and
turned ones, its change looks like a hand's pattern. So each side is fitted beside the other side
and the other side's change at an unknown time: whatever the break, the claim must stand.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: breaks that are tried at most; with more units evenly chosen ones
MOST_BREAKS = 12
#: and with very many fewer, so that units times breaks stay below this: seconds, not minutes
MOST_WORK, FEWEST_BREAKS = 12_000, 3
#: a break is tried where both sides of it have so many units
LEAST_BESIDE = 2
#: straight and turned bakes are mixed enough if a break leaves this part of what tells them
#: apart: below, intervals would be more than 1.8 times as wide as for bakes by turns
LEAST_MIXED = 0.3


@dataclass(frozen=True)
class Mixing:
    """``share``: of what tells straight from turned, left by the worst break (0: they lie apart
    in time; by turns: near 1). ``breaks``: units from which on something may have changed."""

    share: float
    breaks: tuple[int, ...]

    @property
    def enough(self) -> bool:
        return self.share >= LEAST_MIXED


def mixing(turned: Bools, unit: NDArray[np.int64], logged: tuple[int, ...] = ()) -> Mixing:
    """Of bakes (N,) with their units, numbered in order of time; ``logged``: units from which on
    a change is known to have been."""
    units = np.unique(unit)
    inner = np.arange(LEAST_BESIDE, len(units) - LEAST_BESIDE + 1)
    most = max(FEWEST_BREAKS, min(MOST_BREAKS, MOST_WORK // max(len(units), 1)))
    if len(inner) > most:
        ends = int(most < MOST_BREAKS)  # few ones lie within, many reach from end to end
        at = np.linspace(0, len(inner) - 1, most + 2 * ends).round().astype(int)
        inner = inner[np.unique(at[ends : len(at) - ends])]
    breaks = tuple(sorted({int(units[k]) for k in inner} | {b for b in logged if b in units[1:]}))
    sign = np.where(turned, -1.0, 1.0)
    whole = float(((sign - sign.mean()) ** 2).sum())
    if whole == 0:
        return Mixing(0.0, breaks)
    left = [1.0] + [_left(sign, np.where(unit >= b, 1.0, 0.0)) / whole for b in breaks]
    return Mixing(float(min(left)), breaks)


def _left(sign: Floats, late: Floats) -> float:
    design = np.column_stack([np.ones(len(sign)), late])
    rest = sign - design @ np.linalg.lstsq(design, sign)[0]
    return float((rest**2).sum())


def beside(own: Floats, others: Floats, info: Floats) -> tuple[Floats, Floats]:
    """For each template (T), weighted by ``info`` (N, T): the own regressor (N,) less what the
    others (N, Q) explain, (N, T), and its information (T,), 0 where nothing is left."""
    design = np.broadcast_to(others[:, None], (*info.shape, others.shape[1])).transpose(1, 0, 2)
    weight = info.T[..., None]  # (T, N, 1)
    inner = (design * weight).transpose(0, 2, 1) @ design
    crossed = (design * weight * own[None, :, None]).sum(axis=1)
    ridge = 1e-12 * np.trace(inner, axis1=1, axis2=2)[:, None, None] * np.eye(others.shape[1])
    shares = np.linalg.solve(inner + ridge + 1e-300 * np.eye(others.shape[1]), crossed[..., None])
    left = own[:, None] - (design @ shares)[..., 0].T
    kept = (info * left**2).sum(axis=0)
    whole = (info * own[:, None] ** 2).sum(axis=0)
    return left, np.where(kept > 1e-6 * whole, kept, 0.0)


def residuals(score: Floats, info: Floats, others: Floats) -> Floats:
    """Scores (N, T, K) less what the other regressors (N, Q) explain."""
    design = np.broadcast_to(others[:, None], (*info.shape, others.shape[1])).transpose(1, 0, 2)
    inner = (design * info.T[..., None]).transpose(0, 2, 1) @ design
    ridge = 1e-12 * np.trace(inner, axis1=1, axis2=2)[:, None, None] * np.eye(others.shape[1])
    sums = design.transpose(0, 2, 1) @ score.transpose(1, 0, 2)
    sizes = np.linalg.solve(inner + ridge + 1e-300 * np.eye(others.shape[1]), sums)
    fitted = (design @ sizes).transpose(1, 0, 2)
    return np.asarray(score - info[..., None] * fitted)
