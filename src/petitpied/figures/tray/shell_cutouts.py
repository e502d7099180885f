"""A shell cut out of its photo, as seen from straight above, on white, to scale."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Shell
from petitpied.domain.view import View
from petitpied.figures.raster import Pixels

Floats = NDArray[np.float64]

FINE = 4  # the outline's mask is drawn so many times finer, for a smooth edge


def cutout(photo_bgr: Pixels, view: View, shell: Shell, px_per_mm: float, half_mm: float) -> Pixels:
    """A square of ``2 half_mm`` about the shell's middle, (S, S, 3); outside its outline white.

    Plan view on the liner (z = 0), tray frame: the door's side is at the bottom. The outline is
    mapped as the photo's pixels are, so that it fits them.
    """
    outline_mm = view.to_plane(shell.outline_px)
    middle = (outline_mm.min(axis=0) + outline_mm.max(axis=0)) / 2
    side = max(8, round(2 * half_mm * px_per_mm))
    places = (np.arange(side) + 0.5) / px_per_mm - half_mm
    grid = np.stack(np.meshgrid(places, places), axis=-1).reshape(-1, 2) + middle
    at = view.project(grid).astype(np.float32).reshape(side, side, 2)
    white = (255, 255, 255)
    seen: Any = cv2.remap(photo_bgr, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderValue=white)
    share = _inside((outline_mm - middle + half_mm) * px_per_mm, side)[..., None]
    return np.asarray(np.round(share * seen + (1 - share) * 255), np.uint8)


def _inside(outline: Floats, side: int) -> Floats:
    """How much of each pixel (S, S) lies within an outline, 0 to 1; pixel edges are whole."""
    fine: Any = np.zeros((side * FINE, side * FINE), np.uint8)
    cv2.fillPoly(fine, [np.round(outline * FINE).astype(np.int32)], (255,))
    small: Any = cv2.resize(fine, (side, side), interpolation=cv2.INTER_AREA)
    return np.asarray(small / 255.0, float)
