"""Where caps may have a dimple or a peak: a small network looks at what each has beside the dome.

The network (`tests/training/relief_train.py`, weights in ``relief.onnx``) is run by OpenCV on the
raster of `domes`: what is left of each cap's brightness and tint beside the common dome, the common
dome itself, and the light that was read from it. Sprinkles, threads, cracks, seams and glints look
like relief to one filter or another; told what all caps and the light look like, it leaves them. It
also says how deep and how wide a dimple is: on trays that it did not learn from it was off by half
of what a template of one form was.
"""

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.surface.caps.domes import SIDE, USED, Maps, Shading, raster
from petitpied.surface.caps.light_direction import LightDirection

#: cells across a cap in the network's answer: squares of two by two of the raster
CELLS = SIDE // 2
#: place (x, y) of each cell's middle (CELLS, CELLS), -1 to 1 over the cap, and its reach
CELL_X, CELL_Y, CELL_REACH = raster(CELLS)
#: scale of the logarithms that the network takes, and their bound after and before it: of what a
#: cap has beside the dome, and of the common dome
BESIDE, BESIDE_FAR = 8.0, 5.0
COMMON, COMMON_FAR = 2.0, 2.0
#: answers farther out are not used: the dome's own shoulder
WITHIN_REL = 0.86
#: the network's diameter is this many mm times its answer, from that many mm
DIAMETER_MM = (4.0, 7.5)


@dataclass(frozen=True)
class ReliefMaps:
    """Of each cell (S, CELLS, CELLS): ``dimple`` and ``peak``, scores (logarithm of odds), minus
    infinity where none is looked for; ``depth_mm`` and ``diameter_mm`` of a dimple there."""

    dimple: Maps
    peak: Maps
    depth_mm: Maps
    diameter_mm: Maps


@cache
def _network() -> cv2.dnn.Net:
    weights = files("petitpied.surface.relief").joinpath("relief.onnx").read_bytes()
    return cv2.dnn.readNetFromONNX(np.frombuffer(weights, np.uint8))


def as_squares(plane: NDArray[np.float32]) -> NDArray[np.float32]:
    """Maps (..., SIDE, SIDE) as (..., 4, CELLS, CELLS): each cell's four places of the raster."""
    rows = plane.reshape(*plane.shape[:-2], CELLS, 2, CELLS, 2)
    return np.asarray(np.moveaxis(rows, (-3, -1), (-4, -3)), np.float32).reshape(
        *plane.shape[:-2], 4, CELLS, CELLS
    )


def planes(shading: Shading, light: LightDirection) -> Maps:
    """What the network takes of each cap: (S, 28, CELLS, CELLS).

    Seven planes by four places: brightness beside the dome, its weight, red and blue tint, the
    common dome, and the light's direction times its gain (x, y).
    """
    count = len(shading.rest)
    out = np.empty((count, 7, 4, CELLS, CELLS), np.float32)
    beside = (shading.rest, shading.tint[..., 0], shading.tint[..., 1])
    for channel, plane in zip((0, 2, 3), beside, strict=True):
        out[:, channel] = as_squares(np.clip(plane * np.float32(BESIDE), -BESIDE_FAR, BESIDE_FAR))
    seen = np.asarray(shading.weight * USED, np.float32)
    out[:, 1] = as_squares(seen)
    common = np.clip(shading.common, -COMMON_FAR, COMMON_FAR) * np.float32(COMMON)
    out[:, 4] = as_squares(np.asarray(common, np.float32))
    for axis in (0, 1):
        out[:, 5 + axis] = light.toward[axis] * light.gain
    return out.reshape(count, 28, CELLS, CELLS)


def relief_maps(shading: Shading, light: LightDirection) -> ReliefMaps:
    """The network's answer for all caps."""
    net = _network()
    net.setInput(planes(shading, light))
    out = np.asarray(net.forward(), np.float32)
    inside = CELL_REACH < WITHIN_REL
    dimple, peak = (np.where(inside, out[:, i], -np.inf).astype(np.float32) for i in (0, 1))
    times, start = DIAMETER_MM
    return ReliefMaps(dimple, peak, out[:, 2], times * out[:, 3] + start)
