"""The patterns that are looked for: two slopes, middle against edge, and one local spot.

All in the tray frame, which is the oven's. Slopes and the edge are in parts of the tray's extent,
so that an effect is a difference between places of the tray, in the measure's own unit.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.patterns.oven.tray_stack import Bools, Stack

Floats = NDArray[np.float64]

#: named patterns in this order; effect: right minus left edge, door side minus back, edge
#: (middle of a side) minus middle of the tray
NAMED = ("across", "front-back", "centre-edge")
#: width (standard deviation) of a spot on a half-sheet tray, and its least; on smaller trays
#: a third of the shorter side: a spot is local, not the half of a tray
SPOT_SIGMA_MM, LEAST_SIGMA_MM = 80.0, 40.0
#: distance between places where a spot is looked for: a third of its width, so that the
#: nearest place loses less than 3 % of the spot's match
STEP_REL = 0.32
#: so many places each way at most, for trays of any size
MOST_STEPS = 24


@dataclass(frozen=True)
class Region:
    """Where shells lie, tray frame: the middle and half the extent of the outer rows' centres,
    and the distance of a shell from the nearest one, mm."""

    middle_mm: tuple[float, float]
    half_mm: tuple[float, float]
    pitch_mm: float

    @property
    def sigma_mm(self) -> float:
        """Width of a spot that is looked for."""
        shorter = 2 * min(self.half_mm)
        return float(np.clip(shorter / 3, LEAST_SIGMA_MM, SPOT_SIGMA_MM))


#: the outer rows' centres lie about these parts of all shells: with 4 to 10 rows of equal
#: length, the middle of an outer row is at 1 in 8 to 1 in 20 of the shells
OUTER_REL = 0.05
#: bakes that the distance of neighbours is taken from
PITCH_BAKES = 20


def region_of(stack: Stack) -> Region:
    """The box from outer row to outer row; jitter and stray places stretch it little."""
    places = np.column_stack([a[stack.present] for a in (stack.x_mm, stack.y_mm)])
    low, high = np.quantile(places, (OUTER_REL, 1 - OUTER_REL), axis=0)
    middle, half = (low + high) / 2, np.maximum((high - low) / 2, 1.0)
    return Region(
        (float(middle[0]), float(middle[1])), (float(half[0]), float(half[1])), _pitch(stack)
    )


def _pitch(stack: Stack) -> float:
    """Median distance of a shell from its nearest, mm."""
    part = stack.part(slice(0, PITCH_BAKES))
    distance = np.hypot(
        part.x_mm[:, :, None] - part.x_mm[:, None, :], part.y_mm[:, :, None] - part.y_mm[:, None, :]
    )
    both = part.present[:, :, None] & part.present[:, None, :]
    distance[~both | np.eye(distance.shape[1], dtype=bool)] = np.inf
    return float(np.median(distance.min(axis=2)[part.present]))


def about_origin(region: Region) -> Region:
    """The smallest region about the tray's middle that holds this one: a half turn keeps it."""
    half = [abs(m) + h for m, h in zip(region.middle_mm, region.half_mm, strict=True)]
    return Region((0.0, 0.0), (half[0], half[1]), region.pitch_mm)


def named_columns(x_mm: Floats, y_mm: Floats, region: Region) -> Floats:
    """`NAMED` at places (..., S): (..., S, 3). Slopes run by 1 over the full extent; the edge
    is 1 on the ellipse through the middles of the region's sides, 0 in the middle."""
    u = (x_mm - region.middle_mm[0]) / region.half_mm[0]
    v = (y_mm - region.middle_mm[1]) / region.half_mm[1]
    return np.stack([u / 2, v / 2, u**2 + v**2], axis=-1)


@dataclass(frozen=True)
class Spots:
    """Places where a spot is looked for, a grid of X by Y, tray frame; flat index x-major."""

    x_mm: Floats  # (X,)
    y_mm: Floats  # (Y,)
    sigma_mm: float

    @property
    def places_mm(self) -> Floats:
        """(X * Y, 2)."""
        x, y = np.meshgrid(self.x_mm, self.y_mm, indexing="ij")
        return np.column_stack([x.ravel(), y.ravel()])

    def along(self, x_mm: Floats, y_mm: Floats, present: Bools) -> tuple[Floats, Floats]:
        """A spot's two factors at shells (..., S): (..., S, X) and (..., S, Y)."""
        scale = -1 / (2 * self.sigma_mm**2)
        first = np.exp(scale * (x_mm[..., None] - self.x_mm) ** 2) * present[..., None]
        return first, np.exp(scale * (y_mm[..., None] - self.y_mm) ** 2)

    def columns(self, x_mm: Floats, y_mm: Floats, present: Bools) -> Floats:
        """Every spot at shells (..., S): (..., S, X * Y), 1 at its middle."""
        first, second = self.along(x_mm, y_mm, present)
        full = first[..., :, None] * second[..., None, :]
        return np.asarray(full.reshape(*full.shape[:-2], -1))


def spots_in(region: Region) -> Spots:
    """A grid of places over the region and half a pitch round it, as far as a tray goes."""
    sigma = region.sigma_mm
    axes = []
    for middle, inner in zip(region.middle_mm, region.half_mm, strict=True):
        half = inner + region.pitch_mm / 2
        steps = int(np.clip(np.ceil(2 * half / (STEP_REL * sigma)), 1, MOST_STEPS))
        axes.append(middle + np.linspace(-half, half, steps + 1))
    return Spots(axes[0], axes[1], sigma)
