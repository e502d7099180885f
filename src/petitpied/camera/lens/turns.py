"""From pixels as the camera stores them to the upright picture (EXIF orientation), and back."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: orientations whose rows are the stored picture's columns (EXIF 2.32, tag 0x0112)
SIDEWAYS = (5, 6, 7, 8)


def turn_matrix(orientation: int) -> Floats:
    """Matrix (2, 2) that takes offsets from the picture's middle, as stored, to upright ones."""
    turn = np.eye(2)
    if orientation in SIDEWAYS:  # as `petitpied.photo.decode.upright`: transposed, then flipped
        turn = turn[::-1]
    if orientation in (3, 4, 7, 8):
        turn = np.diag([1.0, -1.0]) @ turn
    if orientation in (2, 3, 6, 7):
        turn = np.diag([-1.0, 1.0]) @ turn
    return np.asarray(turn, float)


def stored_size(width_px: int, height_px: int, orientation: int) -> tuple[int, int]:
    """Width and height as stored of an upright picture."""
    return (height_px, width_px) if orientation in SIDEWAYS else (width_px, height_px)


def to_stored(points_px: Floats, size_px: tuple[int, int], orientation: int) -> Floats:
    """Points (N, 2) of the upright picture of ``size_px`` (width, height) as stored."""
    upright_middle = (np.array(size_px) - 1) / 2
    stored_middle = (np.array(stored_size(*size_px, orientation)) - 1) / 2
    away = points_px - upright_middle
    return np.asarray(away @ turn_matrix(orientation) + stored_middle, float)
