"""The tray frame: where its origin is, which way the door lies.

The card's grey-strip edge points at the oven door, so the card's +y axis does, roughly: the
tray's axes come from its straight edges, or from the rows of shells, or from the card itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from petitpied.camera.straight_edges import StraightEdge
from petitpied.domain.view import View

Floats = NDArray[np.float64]

#: an interior edge lies outside the shells and the card, by at most this, mm: more is another
#: tray or the table (common practice, no source: liners end within 60 mm of the shells)
MARGIN_MM = 70.0
#: a card turned farther than this from both of the tray's axes does not show the door's side
CARD_TURN_DEG = 30.0


@dataclass(frozen=True)
class TrayFrame:
    """Origin (2,) and turn of the tray frame in the world frame, and what they rest on."""

    origin_mm: tuple[float, float]
    turn_deg: float
    frame: Literal["rim", "lattice", "cards"]
    door: Literal["card", "assumed"]
    width_mm: float | None = None
    depth_mm: float | None = None


def _direction_deg(edges: Sequence[StraightEdge], view: View) -> float:
    """Common direction, mod 90 degrees, of the straight edges, weighted by length."""
    ends = view.to_plane(np.concatenate([e.points_px[[0, 2]] for e in edges])).reshape(-1, 2, 2)
    along = ends[:, 1] - ends[:, 0]
    turned = 4 * np.arctan2(along[:, 1], along[:, 0])
    length = np.hypot(*along.T)
    # half the length within a degree counts: a median of angles, robust to a stray edge
    middle = float(np.angle((length * np.exp(1j * turned)).sum()))
    off = np.angle(np.exp(1j * (turned - middle)))
    order = np.argsort(off)
    cut = np.searchsorted(np.cumsum(length[order]), length.sum() / 2)
    return float(np.rad2deg((middle + off[order][cut]) / 4))


def _nearest_turn(direction_deg: float, wanted_deg: float) -> float:
    """``direction_deg`` plus the multiple of 90 degrees that brings it nearest to the wanted."""
    return direction_deg + 90 * round((wanted_deg - direction_deg) / 90)


def _turned(points: Floats, turn_deg: float) -> Floats:
    """Coordinates of points (..., 2) along axes turned by ``turn_deg``."""
    a = np.deg2rad(turn_deg)
    return np.asarray(points @ np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]), float)


def _side(values: Floats, inner: float, outward: int) -> float | None:
    """The edge nearest outside ``inner`` in direction ``outward`` (+1 or -1)."""
    beyond = (values - inner) * outward
    near = values[(beyond > 0) & (beyond < MARGIN_MM)]
    if not len(near):
        return None
    return float(near.min() if outward > 0 else near.max())


def tray_frame(
    view: View,
    edges: Sequence[StraightEdge],
    occupied_mm: Floats,
    lattice_deg: float | None,
) -> TrayFrame:
    """Choose the tray frame.

    Parameters
    ----------
    view : View
        World frame: the first card's, its +y axis towards the door.
    edges : sequence of StraightEdge
        Straight edges found in the photo.
    occupied_mm : ndarray (N, 2)
        World points inside the tray: shells' outlines and card corners; at least one.
    lattice_deg : float or None
        Direction of the shells' rows in the world frame, None where there is no lattice.
    """
    if edges:
        direction = _direction_deg(edges, view)
    elif lattice_deg is not None:
        direction = lattice_deg
    else:
        direction = 0.0
    turn = _nearest_turn(direction, 0.0)
    door: Literal["card", "assumed"] = "card" if abs(turn) <= CARD_TURN_DEG else "assumed"
    inside = _turned(occupied_mm, turn)
    low, high = inside.min(axis=0), inside.max(axis=0)
    sides: list[float | None] = [None] * 4
    if edges:
        middles = _turned(view.to_plane(np.array([e.points_px[1] for e in edges])), turn)
        ends = _turned(
            view.to_plane(np.concatenate([e.points_px[[0, 2]] for e in edges])), turn
        ).reshape(-1, 2, 2)
        upright = np.abs(ends[:, 1, 1] - ends[:, 0, 1]) > np.abs(ends[:, 1, 0] - ends[:, 0, 0])
        sides = [
            _side(middles[upright, 0], low[0], -1),
            _side(middles[upright, 0], high[0], 1),
            _side(middles[~upright, 1], low[1], -1),
            _side(middles[~upright, 1], high[1], 1),
        ]
    left, right, far, door_side = sides
    if left is not None and right is not None and far is not None and door_side is not None:
        middle = np.array([(left + right) / 2, (far + door_side) / 2])
        origin = _turned(middle, -turn)
        return TrayFrame(
            (float(origin[0]), float(origin[1])), turn, "rim", door, right - left, door_side - far
        )
    if lattice_deg is not None or edges:
        origin = _turned((low + high) / 2, -turn)
        return TrayFrame((float(origin[0]), float(origin[1])), turn, "lattice", door)
    return TrayFrame((0.0, 0.0), 0.0, "cards", "card")
