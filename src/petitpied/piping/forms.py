"""What is piped: rounds, ovals and hearts, as closed outlines. Frame: mm, x right, y down."""

from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from petitpied.numerics.polygons import area_of

Floats = NDArray[np.float64]


class Form(StrEnum):
    """Forms of a piping sheet."""

    round = "round"
    oval = "oval"
    heart = "heart"


#: width over height of an oval: common practice, no source
OVAL_ASPECT = 4 / 3
#: a heart: two lobes (circles through each other's rim) over a square on its corner; lengths
#: in half sides of the square
POINTS_A_LOBE = 90


def outline_mm(form: Form, diameter_mm: float, points: int = 360) -> Floats:
    """Outline (N, 2) about (0, 0) whose area is that of a circle of ``diameter_mm``.

    An oval is an ellipse, `OVAL_ASPECT` times as wide as high. A heart is a square on its
    corner with a half circle on each upper side; (0, 0) is the middle of its box.
    """
    if form is Form.heart:
        unit = _heart()
    else:
        t = np.linspace(0, 2 * np.pi, points, endpoint=False)
        aspect = OVAL_ASPECT if form is Form.oval else 1.0
        unit = np.column_stack([np.sqrt(aspect) * np.cos(t), np.sin(t) / np.sqrt(aspect)])
    scale = np.sqrt(np.pi * (diameter_mm / 2) ** 2 / area_of(unit))
    centred = unit - (unit.min(axis=0) + unit.max(axis=0)) / 2
    return np.asarray(centred * scale, float)




def size_mm(form: Form, diameter_mm: float) -> tuple[float, float]:
    """Width and height of the form's box."""
    width, height = np.ptp(outline_mm(form, diameter_mm), axis=0)
    return float(width), float(height)


def _heart() -> Floats:
    """Square of side 2 on its lower corner, half circles of radius 1 on both upper sides.

    Upright: corner at (0, sqrt 2) below, shoulders at (+-sqrt 2, 0), notch at (0, -sqrt 2).
    """
    right = np.array([np.sqrt(0.5), -np.sqrt(0.5)])  # middle of the upper right side
    t = np.deg2rad(np.linspace(45, -135, POINTS_A_LOBE))  # from the shoulder over to the notch
    lobe = right + np.column_stack([np.cos(t), np.sin(t)])
    mirrored = lobe[::-1] * [-1, 1]
    return np.vstack([[(0.0, np.sqrt(2.0))], lobe, mirrored[1:]])
