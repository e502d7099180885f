"""How high a peak is: by the shading that a peak of the usual form would have.

A bump is bright towards the light and dark beyond it. Near a place where a peak is thought to be,
what is left of the cap's brightness beside the common dome is compared with what a peak would show
there (Lambert's law for small slopes, looked up on the tray's own domes), by least squares on what
is seen.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from petitpied.surface.caps.domes import SIDE, Maps, Shading
from petitpied.surface.caps.light_direction import brightness_of_slope

Floats = NDArray[np.float64]

#: profile of a peak as a nozzle leaves it: a needle on a cone, shares and radii in mm
PEAK_PARTS = ((0.6, 0.9), (0.4, 2.6))
#: its foot's width, mm, and how far round its middle is looked
PEAK_WIDE_MM, WINDOW_MM = 2 * PEAK_PARTS[1][1], 3.6
#: height at which its flanks' brightness is looked up (it is not quite even in slope)
TYPICAL_MM = 1.3
#: its middle is looked for this far to each side of where it is thought to be, cells
NEAR_CELLS = 2
#: optics and resampling, cells
SOFT_CELLS = 0.9


@dataclass(frozen=True)
class PeakShade:
    """``shading`` (M, M) that a height of one millimetre makes, and the ``window`` (M, M) that it
    is seen in."""

    shading: Maps
    window: Maps


def peak_shade(shading: Shading, mm_per_cell: float) -> PeakShade:
    """Under the light of a tray's domes, on their raster."""
    reach = int(np.ceil(WINDOW_MM / mm_per_cell))
    axis = np.arange(-reach, reach + 1) * mm_per_cell
    x, y = np.meshgrid(axis, axis)
    r = np.hypot(x, y)
    unit = np.maximum(r, 1e-6)
    fall = sum(2 * part * r / w**2 * np.exp(-((r / w) ** 2)) for part, w in PEAK_PARTS)
    # a flank that falls away from the middle leans outward
    lean = [TYPICAL_MM * fall * axis / unit for axis in (x, y)]
    facing = brightness_of_slope(shading, *lean) / TYPICAL_MM
    soft = cv2.GaussianBlur(facing, (0, 0), SOFT_CELLS)
    return PeakShade(np.asarray(soft, np.float32), (r <= WINDOW_MM).astype(np.float32))


def peak_height_mm(
    rest: Maps, weight: Maps, cell: tuple[int, int], shade: PeakShade
) -> tuple[float, tuple[int, int]]:
    """Height of a peak near ``cell`` (row, column) of a cap's raster (SIDE, SIDE), and the cell
    where a peak explains most of what is seen; 0 and ``cell`` where none has the right sign."""
    border = len(shade.window) // 2 + NEAR_CELLS
    row, column = (int(np.clip(v, 0, SIDE - 1)) for v in cell)
    views = []
    for plane in (rest, weight):
        wide = np.pad(plane, border)
        part = wide[row : row + 2 * border + 1, column : column + 2 * border + 1]
        views.append(sliding_window_view(part, shade.window.shape))
    seen = views[1] * shade.window
    count = np.maximum(seen.sum(axis=(2, 3)), 1e-6)
    beside, form = (
        plane - ((plane * seen).sum(axis=(2, 3)) / count)[..., None, None]
        for plane in (views[0], np.broadcast_to(shade.shading, views[0].shape))
    )
    size = np.maximum((form**2 * seen).sum(axis=(2, 3)), 1e-9)
    match = np.maximum((beside * form * seen).sum(axis=(2, 3)), 0)
    i, j = np.unravel_index(int((match**2 / size).argmax()), match.shape)
    if float(match[i, j]) <= 0:
        return 0.0, (row, column)
    place = (row + int(i) - NEAR_CELLS, column + int(j) - NEAR_CELLS)
    return float(match[i, j] / size[i, j]), place
