"""Find the lens chart in a photo and locate its corners to sub-pixel."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

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


def _dictionary() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, card.DICTIONARY_NAME))


def _board(layout: card.Board) -> cv2.aruco.CharucoBoard:
    """The board with squares of length 1."""
    ids = np.arange(layout.first_marker, layout.first_marker + layout.marker_count)
    size = layout.marker_mm / layout.square_mm
    return cv2.aruco.CharucoBoard(layout.squares, 1.0, size, _dictionary(), ids)


def _reduced(grey: Grey) -> tuple[Grey, float]:
    factor = min(1.0, SEARCH_SIZE_PX / max(grey.shape))
    if factor == 1.0:
        return grey, 1.0
    small = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8), factor


def _detect(grey: Grey) -> tuple[Floats, NDArray[np.int64]]:
    """Inner corners (N, 2) px and their numbers."""
    detector = cv2.aruco.CharucoDetector(_board(card.LENS_CHART))
    corners, numbers, _, _ = detector.detectBoard(grey)
    if corners is None or numbers is None or len(corners) == 0:
        return np.zeros((0, 2)), np.zeros(0, np.int64)
    return np.asarray(corners, float).reshape(-1, 2), np.ravel(numbers).astype(np.int64)


def _square_px(numbers: NDArray[np.int64], corners_px: Floats) -> float:
    """Median distance of neighbouring corners of a row or column."""
    columns = card.LENS_CHART.squares[0] - 1
    place = dict(zip(numbers.tolist(), corners_px, strict=True))
    steps = [
        float(np.hypot(*(place[n + step] - p)))
        for n, p in place.items()
        for step in (1, columns)
        if n + step in place and (step != 1 or n % columns != columns - 1)
    ]
    return float(np.median(steps)) if steps else 0.0


def _edge_blur_px(grey: Grey, numbers: NDArray[np.int64], corners_px: Floats) -> float:
    """Median spread (standard deviation) of the edges half-way between neighbouring corners."""
    columns = card.LENS_CHART.squares[0] - 1
    place = dict(zip(numbers.tolist(), corners_px, strict=True))
    spreads = []
    for n, start in place.items():
        for step in (1, columns):
            end = place.get(n + step)
            if end is None or (step == 1 and n % columns == columns - 1):
                continue
            along = end - start
            length = float(np.hypot(*along))
            normal = np.array([-along[1], along[0]]) / length
            reach = np.arange(-0.1 * length, 0.1 * length, 0.25)
            line = ((start + end) / 2 + reach[:, None] * normal).astype(np.float32)
            profile = cv2.remap(grey, line[:, 0], line[:, 1], cv2.INTER_LINEAR).astype(float)
            slope = np.abs(np.gradient(profile.ravel()))
            slope = np.where(slope > 0.1 * slope.max(), slope, 0)
            if slope.sum() > 0:
                mean = (slope * reach).sum() / slope.sum()
                spreads.append(float(np.sqrt((slope * (reach - mean) ** 2).sum() / slope.sum())))
    return float(np.median(spreads)) if spreads else float("inf")


def _refined(grey: Grey, corners_px: Floats, square_px: float) -> Floats:
    half = int(np.clip(round(WINDOW_OF_SQUARE * square_px), 3, MAX_WINDOW_PX))
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 0.001)
    start = corners_px.astype(np.float32).reshape(-1, 1, 2)
    fine = cv2.cornerSubPix(grey, start, (half, half), (-1, -1), criteria)
    return np.asarray(fine, float).reshape(-1, 2)


def _square_by_card(small: Grey, squares: Floats, seen_px: Floats) -> float | None:
    """Length of a square, mm, by the distances of a reference card's markers in the chart's
    plane (their middles: a marker's own size is read too small where it is blurred)."""
    quads, ids, _ = cv2.aruco.ArucoDetector(_dictionary()).detectMarkers(small)
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
    small, factor = _reduced(grey)
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
    square_px = _square_px(numbers, start)
    fine = _refined(grey, start, square_px)
    near = np.hypot(*(fine - start).T) < 0.06 * square_px + 1 / factor
    height, width = grey.shape
    near &= ((fine > 2) & (fine < [width - 3, height - 3])).all(axis=1)
    numbers, fine = numbers[near], fine[near]
    if len(fine) < MIN_CORNERS:
        return f"only {len(fine)} corners readable"
    blur = _edge_blur_px(grey, numbers, fine)
    if blur > max(BLUR_LEAST_PX, BLUR_REFUSE_REL * float(np.hypot(width, height))):
        return f"blurred, edges spread over {2 * blur:.0f} pixels"
    columns = card.LENS_CHART.squares[0] - 1
    squares = np.column_stack([numbers % columns, numbers // columns]) + 1.0
    by_card = _square_by_card(small, squares, seen[near])
    return ChartSighting(squares, fine, blur, by_card)
