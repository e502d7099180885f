"""Find the lens chart in a photo and locate its corners to sub-pixel."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.camera.lens.board_corners import dictionary, edge_blur_px, reduced, refined
from petitpied.domain import card
from petitpied.domain.errors import LensError

Floats = NDArray[np.float64]
Grey = NDArray[np.uint8]

#: long side, px, of the reduced copy that is searched; a chart that fills a third of the picture
#: then has markers of about 35 px, five a module
SEARCH_SIZE_PX = 1600
#: fewest corners of a photo that counts: a quarter of the chart's 70
MIN_CORNERS = 18
#: markers of a card beside the chart that tell its scale
MIN_CARD_MARKERS = 5
#: edges spread by more than this, relative to the picture's diagonal (5 px of a 12-megapixel
#: photo), move corners by tenths of a pixel where the blur is uneven (common practice, no source)
#: and in small pictures at least by the other, px, which edges have by their pixels alone
BLUR_REFUSE_REL, BLUR_LEAST_PX = 0.001, 1.5
#: half of a corner's window: within the white margin round the markers, and not so large that
#: distortion bends the edges inside
WINDOW_OF_SQUARE, MAX_WINDOW_PX = 0.09, 11


@dataclass(frozen=True)
class ChartSighting:
    """Corners of the chart seen in one photo: (N, 2) squares from the board's corner, and (N, 2)
    px of the photo; blur as the standard deviation of an edge's spread; and how long a square
    is against a reference card in the same photo, mm, where one lies there."""

    points_squares: Floats
    points_px: Floats
    edge_blur_px: float
    square_by_card_mm: float | None


def _board(layout: card.Board) -> cv2.aruco.CharucoBoard:
    """The board with squares of length 1."""
    ids = np.arange(layout.first_marker, layout.first_marker + layout.marker_count)
    size = layout.marker_mm / layout.square_mm
    return cv2.aruco.CharucoBoard(layout.squares, 1.0, size, dictionary(), ids)


def _detect(grey: Grey) -> tuple[Floats, NDArray[np.int64]]:
    """Inner corners (N, 2) px and their numbers."""
    detector = cv2.aruco.CharucoDetector(_board(card.LENS_CHART))
    corners, numbers, _, _ = detector.detectBoard(grey)
    if corners is None or numbers is None or len(corners) == 0:
        return np.zeros((0, 2)), np.zeros(0, np.int64)
    return np.asarray(corners, float).reshape(-1, 2), np.ravel(numbers).astype(np.int64)


def _edges(numbers: NDArray[np.int64], corners_px: Floats) -> list[tuple[Floats, Floats]]:
    """Neighbouring corners of a row or column."""
    columns = card.LENS_CHART.squares[0] - 1
    place = dict(zip(numbers.tolist(), corners_px, strict=True))
    return [
        (start, place[n + step])
        for n, start in place.items()
        for step in (1, columns)
        if n + step in place and (step != 1 or n % columns != columns - 1)
    ]


def _square_by_card(small: Grey, squares: Floats, seen_px: Floats) -> float | None:
    """Length of a square, mm, by the distances of a reference card's markers in the chart's
    plane (their middles: a marker's own size is read too small where it is blurred)."""
    quads, ids, _ = cv2.aruco.ArucoDetector(dictionary()).detectMarkers(small)
    to_chart, _ = cv2.findHomography(seen_px, squares, cv2.RANSAC, 0.05)
    if ids is None or to_chart is None:
        return None
    middles = {int(i): np.asarray(q, float).mean(axis=1) for q, i in zip(quads, ids, strict=True)}
    best: tuple[int, float] | None = None
    for letter in card.LETTERS:
        board = card.card_board(letter)
        known = [i for i in middles if 0 <= i - board.first_marker < board.marker_count]
        if len(known) < MIN_CARD_MARKERS or (best is not None and len(known) <= best[0]):
            continue
        layout = np.asarray(_board(board).getObjPoints(), float).mean(axis=1)[:, :2]
        true = layout[[i - board.first_marker for i in known]] * board.square_mm
        flat = cv2.perspectiveTransform(np.array([middles[i] for i in known]), to_chart)[:, 0]
        spread = [np.sqrt(((p - p.mean(axis=0)) ** 2).sum()) for p in (true, flat)]
        best = len(known), float(spread[0] / spread[1])
    return None if best is None else best[1]


def find_chart(grey: Grey) -> ChartSighting | str:
    """The chart in a photo; or, in a few words, why the photo cannot be used.

    Parameters
    ----------
    grey : ndarray of shape (height, width), uint8

    Raises
    ------
    LensError
        The chart is seen in mirror image: no photo of such a set can be trusted.
    """
    small, factor = reduced(grey, SEARCH_SIZE_PX)
    seen, numbers = _detect(small)
    if len(seen) < MIN_CORNERS:
        if len(_detect(np.ascontiguousarray(small[:, ::-1]))[0]) >= MIN_CORNERS:
            raise LensError(
                what="the lens chart is mirrored in a photo",
                why="its markers can be read only in the mirror image",
                next_step="take the photos straight, with the camera that takes the trays, not "
                "through a mirror or a flipped selfie camera",
            )
        return "no lens chart found" if len(seen) == 0 else f"only {len(seen)} corners readable"
    start = (seen + 0.5) / factor - 0.5
    steps = [float(np.hypot(*(b - a))) for a, b in _edges(numbers, start)]
    square_px = float(np.median(steps)) if steps else 0.0
    window_px = int(np.clip(round(WINDOW_OF_SQUARE * square_px), 3, MAX_WINDOW_PX))
    fine = refined(grey, start, window_px)
    near = np.hypot(*(fine - start).T) < 0.06 * square_px + 1 / factor
    height, width = grey.shape
    near &= ((fine > 2) & (fine < [width - 3, height - 3])).all(axis=1)
    numbers, fine = numbers[near], fine[near]
    if len(fine) < MIN_CORNERS:
        return f"only {len(fine)} corners readable"
    blur = edge_blur_px(grey, _edges(numbers, fine))
    if not blur <= max(BLUR_LEAST_PX, BLUR_REFUSE_REL * float(np.hypot(width, height))):
        return f"blurred, edges spread over {2 * blur:.0f} pixels"
    columns = card.LENS_CHART.squares[0] - 1
    squares = np.column_stack([numbers % columns, numbers // columns]) + 1.0
    by_card = _square_by_card(small, squares, seen[near])
    return ChartSighting(squares, fine, blur, by_card)
