"""Which rays of a shell are its own: not where a neighbour, the card or the frame is in the way."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.contours.edges import ShellEdges
from petitpied.domain.shell import Seed

Floats = NDArray[np.float64]

#: an edge nearer than this to a neighbour's outline, relative to the shell's radius, is not
#: taken as its own (0.9 mm on 22 mm: the width of the finder's cell)
CLEARANCE_REL = 0.04
#: neighbours closer than this, relative to the radius, touch (0.3 mm on 22 mm, what a baker
#: sees as touching)
TOUCH_REL = 0.015
#: a shell covered by a card over more than this share of its outline is not measured
COVERED_REL = 0.03


@dataclass(frozen=True)
class Neighbours:
    """``free`` (S, RAYS): 1 where the ray is the shell's own; ``touching``: by shell."""

    free: Floats
    touching: tuple[tuple[int, ...], ...]


def _inside_distance(outline_px: Floats, points_px: Floats) -> Floats:
    """Signed distance (N,), px, positive inside, of points to a closed outline."""
    contour = outline_px.astype(np.float32).reshape(-1, 1, 2)
    return np.array(
        [cv2.pointPolygonTest(contour, (float(x), float(y)), True) for x, y in points_px]
    )


def find_neighbours(edges: ShellEdges, seeds: Sequence[Seed]) -> Neighbours:
    """Compare every pair of shells near each other by their outer edges.

    ``seeds`` may tell of touching shells that the finder parted; the edges decide the rays.
    """
    points, radius = edges.outer.points_px, edges.outer.radius_px.mean(axis=1)
    farthest = edges.outer.radius_px.max(axis=1)
    free = np.ones(edges.outer.radius_px.shape)
    touching: list[set[int]] = [set() for _ in seeds]
    gap = np.hypot(*np.moveaxis(edges.centre_px[:, None] - edges.centre_px[None], 2, 0))
    near = gap < 1.1 * (farthest[:, None] + farthest[None])
    np.fill_diagonal(near, False)
    for one, other in np.argwhere(near):
        outline = points[other]
        toward = np.hypot(*(points[one] - edges.centre_px[other]).T) < 1.3 * farthest[other]
        index = np.nonzero(toward)[0]
        if not len(index):
            continue
        distance = _inside_distance(outline, points[one, index])
        free[one, index[distance > -CLEARANCE_REL * radius[one]]] = 0.0
        if (distance > -TOUCH_REL * radius[one]).sum() >= 2 or other in seeds[one].touching:
            close = distance.max() > -2 * CLEARANCE_REL * radius[one]
            if close:
                touching[one].add(int(other))
                touching[other].add(int(one))
    return Neighbours(free, tuple(tuple(sorted(t)) for t in touching))


def share_covered(outline_px: Floats, card_px: Floats) -> float:
    """Share of an outline (N, 2) that lies in a card's outline (4, 2), both px."""
    (left, top), (right, bottom) = card_px.min(axis=0).tolist(), card_px.max(axis=0).tolist()
    x, y = outline_px.T
    near = (x >= left) & (x <= right) & (y >= top) & (y <= bottom)
    if not near.any():
        return 0.0
    return float((_inside_distance(card_px, outline_px[near]) > 0).sum() / len(outline_px))
