"""Kitchens as they are: days of trays that share their fate, drift, changes, faulty cameras.

A simulator of its own: it uses nothing of the package but the values that a history holds. Trays
are half sheets with 30 shells; a shell's spread is 1. Of the variance within a tray the part
`shared` is a smooth field that all trays of a day have in common, of which `like` is the
correlation from one day to the next; day means are such a series too, with drift.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from petitpied.domain.bake import Bake, BakeFacts, BakeShells
from petitpied.domain.camera_doubt import CameraDoubt

ROWS, COLUMNS = 5, 6
PITCH_X_MM, PITCH_Y_MM = 71.0, 61.0
START = datetime(2025, 3, 3, 8, tzinfo=UTC)
SMOOTH_MM = 70.0


@dataclass(frozen=True)
class Days:
    """``turns``: "none", "alternate" (day by day), "late" (the second half), or one turned.
    ``mean_spread``: of the days' means; ``drift``: of the means over the whole history;
    ``oven``, ``late_oven``: slope from left to right, and what is added to it in the second half;
    ``photo``: a slope fixed to the photo, from its left to its right; ``sides``: photos from
    "one" side of the tray, from the other "by days" (every second day), from "both" for each tray
    (two photos, joined), or "" where that is not known; ``doubt``: what the views say they could
    fake, relative to size; ``hand``: to the tray. ``lost``: part of the shells at
    the edge that are not measured when they are small."""

    days: int
    trays: int = 1
    shared: float = 0.0
    like: float = 0.0
    mean_spread: float = 0.5
    drift: float = 0.0
    turns: str = "none"
    oven: float = 0.0
    late_oven: float = 0.0
    hand: float = 0.0
    spot: tuple[float, float, float] | None = None
    lost: float = 0.0
    edge: float = 0.0  # added to the outer shells
    racks: tuple[float, ...] = ()
    photo: float = 0.0
    sides: str = ""
    doubt: float = 0.005
    profiled: bool = False


def _series(rng, count, like, size):
    """First-order autoregression (count, size) of variance 1."""
    values = rng.normal(size=(count, size))
    for n in range(1, count):
        values[n] = like * values[n - 1] + np.sqrt(1 - like**2) * values[n]
    return values


def day_means(plan, rng):
    """Means of the days, as a series."""
    noise = _series(rng, plan.days, plan.like, 1)[:, 0]
    return plan.mean_spread * noise + plan.drift * np.linspace(-0.5, 0.5, plan.days)


def make_days(plan, rng):
    """All bakes of a history, in order of time."""
    row, column = (a.ravel() for a in np.mgrid[:ROWS, :COLUMNS])
    x0 = (column - (COLUMNS - 1) / 2) * PITCH_X_MM
    y0 = (row - (ROWS - 1) / 2) * PITCH_Y_MM
    gap2 = (x0[:, None] - x0) ** 2 + (y0[:, None] - y0) ** 2
    root = np.linalg.cholesky(np.exp(-gap2 / (2 * SMOOTH_MM**2)) + 1e-9 * np.eye(len(x0)))
    fields = _series(rng, plan.days, plan.like, len(x0)) @ root.T
    means = day_means(plan, rng)
    bakes = []
    for day in range(plan.days):
        for tray in range(plan.trays):
            turned = _turned(plan, day, tray)
            x = x0 + rng.normal(0, 2.5, len(x0))
            y = y0 + rng.normal(0, 2.5, len(x0))
            values = 45 + means[day] + np.sqrt(plan.shared) * fields[day]
            values = values + np.sqrt(1 - plan.shared) * rng.normal(size=len(x0))
            late = plan.late_oven if day >= plan.days / 2 else 0.0
            rack = tray % len(plan.racks) if plan.racks else None
            slope = plan.oven + late + (0.0 if rack is None else plan.racks[rack])
            values += (slope + (-1 if turned else 1) * plan.hand) * x / 355.0
            seen = {"by days": -1.0 if day % 2 else 1.0, "both": 0.0}.get(plan.sides, 1.0)
            values += seen * plan.photo * x / 355.0
            if plan.spot is not None:
                sx, sy, size = plan.spot
                values += size * np.exp(-((x - sx) ** 2 + (y - sy) ** 2) / (2 * 80.0**2))
            edge = (row % (ROWS - 1) == 0) | (column % (COLUMNS - 1) == 0)
            values = values + plan.edge * edge
            small = values < values.mean() - 0.5
            kept = ~(edge & small & (rng.random(len(x0)) < plan.lost))
            facts = BakeFacts(
                rng.bytes(32).hex(), START + timedelta(days=day, minutes=25 * tray), "Deck",
                rack=None if rack is None else f"rack {rack + 1}", flavour="rose",
                turn_deg=180 if turned else 0,
            )  # fmt: skip
            ids = tuple(
                f"{'ABCDE'[r]}{c + 1}" for r, c in zip(row[kept], column[kept], strict=True)
            )
            shells = BakeShells(
                ids, row[kept], column[kept], x[kept], y[kept], {"diameter": values[kept]}
            )
            camera = None
            if plan.sides:
                azimuth = 90.0 if seen < 0 else -90.0
                steady = 0.0 if plan.sides == "both" else 1.0
                camera = CameraDoubt(
                    azimuth, plan.doubt, plan.doubt, plan.doubt / 2, steady, plan.profiled
                )
            bakes.append(Bake(facts, shells, camera))
    return tuple(bakes)


def _turned(plan, day, tray):
    if plan.turns == "alternate":
        return bool((day + tray) % 2)
    if plan.turns == "late":
        return day >= plan.days / 2
    return plan.turns == "one" and day == plan.days // 2 and tray == 0
