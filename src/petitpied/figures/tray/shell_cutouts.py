"""A shell cut out of its photo, as seen from straight above, on white, to scale."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Shell
from petitpied.domain.view import View
from petitpied.figures.raster import Pixels

Floats = NDArray[np.float64]

COARSE = 25  # places on a side that are projected one by one
FINE = 4  # the outline's mask is drawn so many times finer, for a smooth edge


def cutout(photo_bgr: Pixels, view: View, shell: Shell, px_per_mm: float, half_mm: float) -> Pixels:
    """A square of ``2 half_mm`` about the shell's middle, (S, S, 3); outside its outline white.

    Plan view on the liner (z = 0), tray frame: the door's side is at the bottom. The outline is
    mapped as the photo's pixels are, so that it fits them.
    """
    outline_mm = view.to_plane(shell.place.outline_px)
    middle = (outline_mm.min(axis=0) + outline_mm.max(axis=0)) / 2
    side = max(8, round(2 * half_mm * px_per_mm))
    at = _places_px(view, middle, half_mm, side)
    white = (255, 255, 255)
    seen: Any = cv2.remap(photo_bgr, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderValue=white)
    share = _inside((outline_mm - middle + half_mm) * px_per_mm, side)[..., None]
    return np.asarray(np.round(share * seen + (1 - share) * 255), np.uint8)


def _places_px(view: View, middle_mm: Floats, half_mm: float, side: int) -> Any:
    """Where each pixel of the square lies in the photo, (S, S, 2) float32.

    Over a shell the camera bends straight lines by far less than a pixel: places between those
    of a coarse grid are interpolated.
    """
    step = 2 * half_mm / COARSE
    places = (np.arange(COARSE) + 0.5) * step - half_mm
    grid = np.stack(np.meshgrid(places, places), axis=-1).reshape(-1, 2) + middle_mm
    known = view.project(grid).astype(np.float32).reshape(COARSE, COARSE, 2)
    # linear, beyond the outermost known places too: first and last steps go on
    reach = (np.arange(side) + 0.5) * COARSE / side - 0.5
    low = np.clip(np.floor(reach).astype(int), 0, COARSE - 2)
    part = (reach - low).astype(np.float32)
    rows = known[low] + part[:, None, None] * (known[low + 1] - known[low])
    return np.ascontiguousarray(
        rows[:, low] + part[None, :, None] * (rows[:, low + 1] - rows[:, low])
    )


def _inside(outline: Floats, side: int) -> Floats:
    """How much of each pixel (S, S) lies within an outline, 0 to 1; pixel edges are whole."""
    fine: Any = np.zeros((side * FINE, side * FINE), np.uint8)
    cv2.fillPoly(fine, [np.round(outline * FINE).astype(np.int32)], (255,))
    small: Any = cv2.resize(fine, (side, side), interpolation=cv2.INTER_AREA)
    return np.asarray(small / 255.0, float)
