"""The photo along rays from each shell's middle: what every look at a shell's edge starts from."""

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]

#: rays a shell: one every 1.9 degrees, 0.7 mm on a 45 mm shell, finer than a foot's ruffles
RAYS = 192


@cache
def ray_directions() -> Floats:
    """Unit vectors (RAYS, 2) from +u towards +v; not to be written to."""
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    directions = np.column_stack([np.cos(angle), np.sin(angle)])
    directions.flags.writeable = False
    return directions


def sample_along_rays(pixels_bgr: Bytes, centre_px: Floats, reach_px: Floats) -> Bytes:
    """Picture (S, RAYS, N, 3) at distances ``reach_px`` (S, RAYS, N) from middles (S, 2)."""
    # in single precision, as OpenCV takes them: a photo's pixels are told to 0.0003 px
    reach, centre = reach_px.astype(np.float32), centre_px.astype(np.float32)
    x, y = (
        centre[:, None, None, axis] + reach * own.astype(np.float32)[:, None]
        for axis, own in enumerate(ray_directions().T)
    )
    samples = reach_px.shape[2]
    flat = cv2.remap(
        pixels_bgr,
        x.reshape(-1, samples),
        y.reshape(-1, samples),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(flat, np.uint8).reshape(*reach_px.shape, 3)


def outline_radius(outline_px: Floats, centre_px: Floats, angle_rad: Floats) -> Floats:
    """Radius (N,) of a star-shaped closed outline (M, 2) about ``centre_px`` at angles (N,)
    from 0 to a full turn."""
    offset = outline_px - centre_px
    angle = np.arctan2(offset[:, 1], offset[:, 0]) % (2 * np.pi)
    order = np.argsort(angle)
    # the last once more before the first, the first after the last: the outline is closed
    ends = np.concatenate([order[-1:], order, order[:1]])
    turn = angle[ends]
    turn[0] -= 2 * np.pi
    turn[-1] += 2 * np.pi
    reach = np.hypot(offset[:, 0], offset[:, 1])[ends]
    return np.asarray(np.interp(angle_rad, turn, reach), float)
