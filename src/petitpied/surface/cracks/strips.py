"""What a dark line looks like: a small network reads the strip of cap along it.

Whoever judges a line by numbers (`cracks.profile`) loses the picture: a thread of chocolate, a
sprinkle, a seam have their own way of being dark. The network (`tests/training/crack_train.py`,
weights in ``cracks.onnx``) is run by OpenCV on the profiles across the line, laid side by side, in
logarithms relative to the cap beside the line; it gives a few features a place along the line,
whose mean and maximum go to the judge (`cracks.verdict`).
"""

from functools import cache
from importlib.resources import files

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.surface.cracks.profile import SHOULDER_MM, Profiles

Floats = NDArray[np.float64]
Planes = NDArray[np.float32]

#: a strip's places along the line (of a longer line its middle: 17 mm) and across
ALONG, ACROSS = 56, 48
#: a code that is added before the logarithm; bound and scale of what the network takes
DARK, LOWEST, HIGHEST, SCALE = 4.0, -2.0, 1.0, 2.0


@cache
def _network() -> cv2.dnn.Net:
    weights = files("petitpied.surface.cracks").joinpath("cracks.onnx").read_bytes()
    return cv2.dnn.readNetFromONNX(np.frombuffer(weights, np.uint8))


def strips(across: Profiles) -> tuple[Planes, NDArray[np.bool_]]:
    """What the network takes of each line, (L, 3, ALONG, ACROSS), and which places (L, ALONG) are
    on the line; the others are zero."""
    starts, counts = across.starts[:-1], np.diff(across.starts)
    beside = (np.abs(across.offset_mm) >= SHOULDER_MM[0] - 1e-9) & (
        np.abs(across.offset_mm) <= SHOULDER_MM[1] + 1e-9
    )
    shoulder = np.log(across.bgr[:, beside].mean(axis=1) + DARK)
    usual = np.column_stack([across.quantiles(channel, 0.5) for channel in shoulder.T])
    place = np.arange(ALONG)
    on = place < counts[:, None]
    first = starts + np.maximum((counts - ALONG) // 2, 0)
    at = np.minimum(first[:, None] + place, (starts + counts - 1)[:, None])
    log = np.log(across.bgr[:, :ACROSS] + DARK)[at] - usual[:, None, None].astype(np.float32)
    log = np.clip(log, LOWEST, HIGHEST) * np.float32(SCALE) * on[..., None, None]
    return np.ascontiguousarray(log.transpose(0, 3, 1, 2), np.float32), on


def strip_features(across: Profiles) -> Floats:
    """Features (L, 2 K) of each line: mean and maximum along it of what the network says."""
    planes, on = strips(across)
    net = _network()
    net.setInput(planes)
    told = np.asarray(net.forward(), np.float32)[..., 0] * on[:, None]
    mean = told.sum(axis=2) / on.sum(axis=1)[:, None]
    return np.concatenate([mean, told.max(axis=2)], axis=1).astype(float)
