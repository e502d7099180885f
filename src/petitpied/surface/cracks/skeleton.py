"""Masks thinned to lines one place wide, and the longest way through such a line.

By OpenCV and the standard library alone: importing packages of graphs and morphology takes longer
than measuring a third of a tray.
"""

from functools import cache
from heapq import heappop, heappush
from math import inf, sqrt

import cv2
import numpy as np
from numpy.typing import NDArray

Mask = NDArray[np.bool_]
Place = tuple[int, int]

#: bit of each of the eight neighbours, clockwise from the one above: P2 to P9 of Guo and Hall
_BITS = np.array([[128, 1, 2], [64, 0, 4], [32, 16, 8]], np.float32)
#: steps to the eight neighbours, (x, y), and their lengths
_STEPS = tuple(
    (x, y, sqrt(x * x + y * y)) for y in (-1, 0, 1) for x in (-1, 0, 1) if (x, y) != (0, 0)
)


@cache
def _kept() -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Which of the 256 neighbourhoods keep their middle in the first and in the second half of a
    round: the contrary of conditions (a) to (c) of Guo and Hall's algorithm A1."""
    p2, p3, p4, p5, p6, p7, p8, p9 = (np.arange(256) >> np.arange(8)[:, None]) & 1 == 1
    parts = sum(
        (~side & (corner | then)).astype(int)
        for side, corner, then in ((p2, p3, p4), (p4, p5, p6), (p6, p7, p8), (p8, p9, p2))
    )
    one = np.sum([p9 | p2, p3 | p4, p5 | p6, p7 | p8], axis=0)
    other = np.sum([p2 | p3, p4 | p5, p6 | p7, p8 | p9], axis=0)
    fewest = np.minimum(one, other)
    edge = (parts == 1) & (fewest >= 2) & (fewest <= 3)
    first = edge & ~((p2 | p3 | ~p5) & p4)
    second = edge & ~((p6 | p7 | ~p9) & p8)
    return (~first).astype(np.uint8), (~second).astype(np.uint8)


def thinned(mask: Mask) -> Mask:
    """Skeleton of a mask (H, W): lines one place wide, as joined as the mask is (Guo and Hall,
    "Parallel thinning with two-subiteration algorithms", Communications of the ACM 32 (1989)
    359-373, algorithm A1)."""
    line = mask.astype(np.uint8)
    while True:
        before = cv2.countNonZero(line)
        for kept in _kept():
            code = cv2.filter2D(line, cv2.CV_8U, _BITS, borderType=cv2.BORDER_CONSTANT)
            line = np.asarray(cv2.bitwise_and(line, cv2.LUT(code, kept)), np.uint8)
        if cv2.countNonZero(line) == before:
            return line.astype(bool)


def longest_way(skeleton: Mask) -> NDArray[np.float64] | None:
    """The longest shortest way (N, 2), (x, y), within a skeleton's largest part; None under three
    places.

    In a tree the longest way begins at the place farthest from any other.
    """
    rows, columns = np.nonzero(skeleton)
    left = dict.fromkeys(zip(columns.tolist(), rows.tolist(), strict=True), True)
    reach: dict[Place, float] = {}
    while left:
        part, _ = _reach(left, next(iter(left)))
        for place in part:
            del left[place]
        reach = max(reach, part, key=len)
    if len(reach) < 3:
        return None
    reach, before = _reach(dict.fromkeys(reach, True), _farthest(reach))
    way = [_farthest(reach)]
    while way[-1] in before:
        way.append(before[way[-1]])
    return np.array(way, float) if len(way) >= 3 else None


def _reach(
    places: dict[Place, bool], first: Place
) -> tuple[dict[Place, float], dict[Place, Place]]:
    """Length of the shortest way from ``first`` to each place joined to it, and the place before
    each on that way (Dijkstra, "A note on two problems in connexion with graphs", 1959)."""
    reach, before = {first: 0.0}, dict[Place, Place]()
    waiting = [(0.0, first)]
    while waiting:
        so_far, here = heappop(waiting)
        if so_far > reach[here]:
            continue
        for x, y, length in _STEPS:
            there = (here[0] + x, here[1] + y)
            if there in places and so_far + length < reach.get(there, inf):
                reach[there], before[there] = so_far + length, here
                heappush(waiting, (so_far + length, there))
    return reach, before


def _farthest(reach: dict[Place, float]) -> Place:
    """The place of the longest way; of several the first in reading order."""
    return min(reach, key=lambda place: (-reach[place], place[1], place[0]))
