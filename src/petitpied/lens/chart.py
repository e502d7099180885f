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
#: edges spread by more than this, relative to the picture's diagonal (5 px of a 12-megapixel
#: photo), move corners by tenths of a pixel where the blur is uneven (common practice, no source)
BLUR_REFUSE_REL = 0.001
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


def _board() -> cv2.aruco.CharucoBoard:
    chart = card.LENS_CHART
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, card.DICTIONARY_NAME))
    ids = np.arange(chart.first_marker, chart.first_marker + chart.marker_count)
    size = chart.marker_mm / chart.square_mm
    return cv2.aruco.CharucoBoard(chart.squares, 1.0, size, dictionary, ids)


def _reduced(grey: Grey) -> tuple[Grey, float]:
    factor = min(1.0, SEARCH_SIZE_PX / max(grey.shape))
    if factor == 1.0:
        return grey, 1.0
    small = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8), factor


def _detect(grey: Grey) -> tuple[Floats, NDArray[np.int64]]:
    """Inner corners (N, 2) px and their numbers."""
    detector = cv2.aruco.CharucoDetector(_board())
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
    """Length of a square, mm, by the markers of a reference card in the chart's plane."""
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, card.DICTIONARY_NAME))
    quads, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(small)
    cards = card.MARKERS_PER_CARD * len(card.LETTERS)
    own = [] if ids is None else [q for q, i in zip(quads, np.ravel(ids), strict=True) if i < cards]
    if len(own) < 4:
        return None
    to_chart, _ = cv2.findHomography(seen_px, squares, cv2.RANSAC, 0.05)
    if to_chart is None:
        return None
    sides = []
    for quad in own:
        flat = cv2.perspectiveTransform(np.asarray(quad, float).reshape(1, 4, 2), to_chart)[0]
        sides.append(np.hypot(*(flat - np.roll(flat, 1, axis=0)).T).mean())
    return card.MARKER_MM / float(np.median(sides))


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
    if blur > BLUR_REFUSE_REL * float(np.hypot(width, height)):
        return f"blurred, edges spread over {2 * blur:.0f} pixels"
    columns = card.LENS_CHART.squares[0] - 1
    squares = np.column_stack([numbers % columns, numbers // columns]) + 1.0
    by_card = _square_by_card(small, squares, seen[near])
    return ChartSighting(squares, fine, blur, by_card)
