"""How cracks are marked on pictures: a line round each, so that the crack itself stays in sight."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: room between a crack and its mark, in canvas px: more than the half of the mark's own line
GAP_PX = 11.0
#: points of the half circle round an end
END_POINTS = 7


def ring_round(path_px: Floats, gap_px: float = GAP_PX) -> Floats:
    """Closed line (M, 2) that goes round a path (N, 2) at a distance."""
    along = np.gradient(path_px, axis=0)
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
    across = np.column_stack([-along[:, 1], along[:, 0]])
    return np.vstack(
        [
            path_px + gap_px * across,
            _end(path_px[-1], across[-1], gap_px),
            (path_px - gap_px * across)[::-1],
            _end(path_px[0], -across[0], gap_px),
        ]
    )


def _end(point: Floats, across: Floats, gap_px: float) -> Floats:
    """Half circle round an end, from the side ``across`` to the other, by the way ahead."""
    turn = -np.linspace(0, np.pi, END_POINTS + 2)[1:-1]
    c, s = np.cos(turn), np.sin(turn)
    x, y = across
    return np.asarray(point + gap_px * np.column_stack([c * x - s * y, s * x + c * y]))


def clear_shift(
    paths_px: Sequence[Floats], middle_px: Floats, box_px: tuple[float, float], reach_px: float
) -> Floats:
    """How far (2,) a label of this box is moved from the middle of its shell to leave cracks in
    sight; up and down first, by ``reach_px`` at most."""
    ways = [(0.0, 0.0), (0.0, -1.0), (0.0, 1.0), (-0.6, -0.6), (0.6, -0.6), (-0.6, 0.6), (0.6, 0.6)]
    if not paths_px:
        return np.zeros(2)
    points = np.concatenate(list(paths_px))
    half = np.asarray(box_px) / 2 + GAP_PX
    covered = []
    for way in ways:
        centre = middle_px + reach_px * np.asarray(way)
        covered.append(int((np.abs(points - centre) < half).all(axis=1).sum()))
    return reach_px * np.asarray(ways[int(np.argmin(covered))])
