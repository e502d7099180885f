"""A ChArUco board as shapes to print: outlines of its black parts."""

from collections import defaultdict
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.card import DICTIONARY_NAME, Board

Corner = tuple[int, int]


def black_outlines_mm(board: Board) -> list[NDArray[np.float64]]:
    """Closed outlines (N, 2) of all black parts, mm from the board's top-left corner, y down.

    Fill them even-odd. Pattern of OpenCV's current CharucoBoard: the top-left square is black,
    markers stand in the white squares, numbered row by row.
    """
    columns, rows = board.squares
    square, margin = board.square_mm, (board.square_mm - board.marker_mm) / 2
    outlines = []
    marker = board.first_marker
    for row in range(rows):
        for column in range(columns):
            corner = np.array([column, row]) * square
            if (row + column) % 2 == 0:
                unit = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], float)
                outlines.append(corner + unit * square)
            else:
                black = marker_modules(marker)
                module = board.marker_mm / len(black)
                outlines += [corner + margin + o * module for o in cell_outlines(black)]
                marker += 1
    return outlines


def marker_modules(number: int) -> NDArray[np.bool_]:
    """The marker's modules (7, 7) with its black border; True is black; row 0 on top."""
    aruco: Any = cv2.aruco
    dictionary = aruco.getPredefinedDictionary(getattr(aruco, DICTIONARY_NAME))
    side = dictionary.markerSize + 2
    return np.asarray(aruco.generateImageMarker(dictionary, number, side) < 128, bool)


def cell_outlines(cells: NDArray[np.bool_]) -> list[NDArray[np.float64]]:
    """Boundaries between True and False cells as closed polygons (N, 2), (x, y) in cells.

    Every True cell gives its four edges in one sense of rotation; an edge that two True cells
    share appears in both senses and cancels, so no line is left inside a black area.
    """
    edges: set[tuple[Corner, Corner]] = set()
    for y, x in np.argwhere(cells).tolist():
        ring = ((x, y), (x + 1, y), (x + 1, y + 1), (x, y + 1))
        for start, end in zip(ring, ring[1:] + ring[:1], strict=True):
            if (end, start) in edges:
                edges.remove((end, start))
            else:
                edges.add((start, end))
    following: dict[Corner, list[Corner]] = defaultdict(list)
    for start, end in sorted(edges):
        following[start].append(end)
    outlines = []
    for start in sorted(following):
        while following[start]:
            outlines.append(_walk(start, following))
    return outlines


def _walk(start: Corner, following: dict[Corner, list[Corner]]) -> NDArray[np.float64]:
    """Follow (and use up) edges from ``start`` until it is reached again."""
    corners = [start]
    at = following[start].pop()
    while at != start:
        corners.append(at)
        at = following[at].pop()
    return np.array(corners, float)
