"""Find the reference cards in a photo and locate their corners to sub-pixel.

Markers are searched in a reduced copy of the picture (a marker needs few pixels), corners are
refined in the full picture. Nothing here knows the camera: pose is `petitpied.camera.view`'s.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.camera.card_squares import card_squares
from petitpied.domain import card
from petitpied.domain.errors import CardError
from petitpied.photo.sharpness import edge_spread_px, is_unsharp

Floats = NDArray[np.float64]

#: long side, px, of the reduced copies tried in turn. A marker is 8 mm, seven modules wide, and
#: the detector wants about 2 px a module; on a 450 mm tray that is reached at the first size.
SEARCH_SIZES_PX = (1344, 2400, 4200)
#: smallest window, px of the reduced copy, about whose mean dark and light are told apart: of 3
#: px, OpenCV's least, is narrower than the markers' own modules: on 17 photos it found 3 of 264
#: markers that those of 13 and 23 px had not, for a third of the time
SMALLEST_WINDOW_PX = 13
#: fewest corners for a pose: four fix it, and two spare let a bad one show
MIN_CORNERS = 6
#: below this a card's squares are under 33 px wide and its corners' windows under 4 px: they
#: cannot be told from the markers' (seen on drawn scenes)
SMALLEST_PX_PER_MM = 3.0
#: standard uncertainty of a refined chessboard corner and of a marker's corner, px.
#: Measured on rendered phone-like photos: 0.10 to 0.30 px (chessboard), about twice (marker).
SIGMA_CORNER_PX, SIGMA_MARKER_PX = 0.2, 0.6


@dataclass(frozen=True)
class CardSighting:
    """One card in the photo: matched points of the card (mm, frame card) and the photo (px)."""

    letter: str
    points_card_mm: Floats  # (N, 2)
    points_px: Floats  # (N, 2)
    sigma_px: Floats  # (N,)
    chess_corners: int  # how many of the points are chessboard corners (they come first)
    px_per_mm: float
    edge_blur_px: float  # standard deviation of the edge spread at the card's squares
    print_scale: float = 1.0  # printed size over nominal; allowed for in points_card_mm

    def printed_at(self, scale: float) -> "CardSighting":
        """The same sighting of a card known to be printed at ``scale`` times its true size."""
        return replace(
            self,
            points_card_mm=self.points_card_mm * scale,
            px_per_mm=self.px_per_mm / scale,
            print_scale=scale,
        )

    def homography(self) -> Floats:
        """Card mm to photo px (3, 3), least squares over the sighted points."""
        found, _ = cv2.findHomography(self.points_card_mm, self.points_px, 0)
        return np.asarray(found, float)


def _dictionary() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, card.DICTIONARY_NAME))


def _marker_corners_mm(letter: str) -> dict[int, Floats]:
    """Corners (4, 2) of each marker of a card, frame card, in the detector's order."""
    layout = card.card_board(letter)
    ids = np.arange(layout.first_marker, layout.first_marker + layout.marker_count)
    board = cv2.aruco.CharucoBoard(
        layout.squares, layout.square_mm, layout.marker_mm, _dictionary(), ids
    )
    shift = np.asarray(card.BOARD_TOP_LEFT_MM)
    corners = np.asarray(board.getObjPoints(), float)
    return {int(i): c[:, :2] + shift for i, c in zip(ids, corners, strict=True)}


def _detect(grey: NDArray[np.uint8], thorough: bool) -> dict[int, list[Floats]]:
    """Marker number to the corner quadrilaterals (4, 2) px where it was seen."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.adaptiveThreshWinSizeMin = SMALLEST_WINDOW_PX
    if thorough:  # shadows, glare and small markers: more window sizes, finer polygons
        parameters.adaptiveThreshWinSizeMin = 3
        parameters.adaptiveThreshWinSizeMax = 63
        parameters.adaptiveThreshWinSizeStep = 8
        parameters.minMarkerPerimeterRate = 0.01
    quads, ids, _ = cv2.aruco.ArucoDetector(_dictionary(), parameters).detectMarkers(grey)
    seen: dict[int, list[Floats]] = {}
    if ids is not None:
        for quad, marker in zip(quads, np.ravel(ids), strict=True):
            seen.setdefault(int(marker), []).append(np.asarray(quad, float).reshape(4, 2))
    return seen


def _reduced(grey: NDArray[np.uint8], long_side_px: int) -> tuple[NDArray[np.uint8], float]:
    factor = min(1.0, long_side_px / max(grey.shape))
    if factor == 1.0:
        return grey, 1.0
    small = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8), factor


def _card_of(marker: int) -> str | None:
    index = marker // card.MARKERS_PER_CARD
    return card.LETTERS[index] if index < len(card.LETTERS) else None


def _markers(grey: NDArray[np.uint8]) -> dict[int, list[Floats]]:
    """Markers of cards A to D, corner quadrilaterals in full-size px."""
    best: dict[int, list[Floats]] = {}
    for step, size in enumerate(SEARCH_SIZES_PX):
        if step and size >= 1.5 * max(grey.shape):
            break
        small, factor = _reduced(grey, size)
        for thorough in (False, True) if step == 0 else (True,):
            seen = {
                marker: [(quad + 0.5) / factor - 0.5 for quad in quads]
                for marker, quads in _detect(small, thorough).items()
                if _card_of(marker) is not None
            }
            if len(seen) > len(best):
                best = seen
            if len(best) >= MIN_CORNERS:
                return best
    return best


def _refine(grey: NDArray[np.uint8], points_px: Floats, half_window_px: float) -> Floats:
    """Sub-pixel saddle points / corners (Foerstner's gradient orthogonality, OpenCV)."""
    half = max(2, round(half_window_px))
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 0.001)
    start = points_px.astype(np.float32).reshape(-1, 1, 2)
    return np.asarray(
        cv2.cornerSubPix(grey, start, (half, half), (-1, -1), criteria), float
    ).reshape(-1, 2)


def _contrast(grey: NDArray[np.uint8], h: Floats, corners_mm: Floats) -> NDArray[np.bool_]:
    """Whether each predicted inner corner looks like one: opposite squares alike, neighbours not.

    Samples the four squares 0.7 mm from the corner (inside the marker's white margin); the
    dark pair must be darker than both of the light pair by a quarter of the local contrast.
    """
    step = 0.7 * np.array([[-1, -1], [1, 1], [-1, 1], [1, -1]])
    where = cv2.perspectiveTransform((corners_mm[:, None] + step).reshape(1, -1, 2), h)
    x, y = where.reshape(-1, 2).astype(np.float32).T
    values = cv2.remap(
        grey, x.reshape(-1, 4), y.reshape(-1, 4), cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT
    ).astype(float)
    first, second = values[:, :2], values[:, 2:]
    gap = np.maximum(
        second.min(axis=1) - first.max(axis=1), first.min(axis=1) - second.max(axis=1)
    )
    return np.asarray(gap > 0.25 * np.maximum(np.ptp(values, axis=1), 24), bool)


def _edge_blur_px(grey: NDArray[np.uint8], corners_px: Floats, mm: Floats) -> float:
    """Median standard deviation, px, of the edge spread half-way between neighbouring corners."""
    lookup = {tuple(np.round(p, 3).tolist()): q for p, q in zip(mm, corners_px, strict=True)}
    pairs = [
        (start, lookup[after])
        for (x, y), start in lookup.items()
        if (after := (round(x + card.SQUARE_MM, 3), y)) in lookup
    ]
    if not pairs:
        return float("nan")
    lines, reaches = [], []
    for start, end in pairs:
        along = end - start
        length = float(np.hypot(*along))
        normal = np.array([-along[1], along[0]]) / length
        reaches.append(np.arange(-0.1 * length, 0.1 * length, 0.25))
        lines.append((start + 0.5 * along)[None] + reaches[-1][:, None] * normal)
    # all profiles in one row, one after the other
    places = np.concatenate(lines).astype(np.float32)
    seen = cv2.remap(grey, places[None, :, 0], places[None, :, 1], cv2.INTER_LINEAR)
    stops = np.cumsum([len(reach) for reach in reaches])[:-1]
    spreads = []
    for reach, profile in zip(reaches, np.split(seen[0].astype(float), stops), strict=True):
        slope = np.abs(np.gradient(profile))
        slope = np.where(slope > 0.1 * slope.max(), slope, 0)
        if slope.sum() > 0:
            mean = (slope * reach).sum() / slope.sum()
            spreads.append(float(np.sqrt((slope * (reach - mean) ** 2).sum() / slope.sum())))
    return float(np.median(spreads)) if spreads else float("nan")


def _sight(grey: NDArray[np.uint8], letter: str, quads: dict[int, Floats]) -> CardSighting | None:
    """Locate one card's corners from its markers; None where too few can be seen."""
    layout = _marker_corners_mm(letter)
    marker_mm = np.concatenate([layout[i] for i in quads])
    marker_px = np.concatenate(list(quads.values()))
    if len(quads) < 2:
        return None
    fitted, _ = cv2.findHomography(marker_mm, marker_px, cv2.RANSAC, 4.0)
    if fitted is None:
        return None
    h = np.asarray(fitted, float)
    inner_mm = card.inner_corners_mm()
    predicted = cv2.perspectiveTransform(inner_mm[None], h)[0]
    scale = float(np.sqrt(abs(np.linalg.det(h[:2, :2] / h[2, 2]))))
    height, width = grey.shape
    inside = ((predicted > 4) & (predicted < [width - 5, height - 5])).all(axis=1)
    keep = inside & _contrast(grey, h, inner_mm)
    window_px = 0.085 * card.SQUARE_MM * scale
    refined = _refine(grey, predicted[keep], window_px) if keep.any() else predicted[keep]
    near = np.hypot(*(refined - predicted[keep]).T) < 1.2 * scale
    corner_mm, corner_px = inner_mm[keep][near], refined[near]
    refined_marker = _refine(grey, marker_px, 0.5 * window_px)
    close = np.hypot(*(refined_marker - marker_px).T) < 0.6 * scale + 1
    return CardSighting(
        letter,
        np.concatenate([corner_mm, marker_mm[close]]),
        np.concatenate([corner_px, refined_marker[close]]),
        np.concatenate(
            [np.full(len(corner_mm), SIGMA_CORNER_PX), np.full(int(close.sum()), SIGMA_MARKER_PX)]
        ),
        len(corner_mm),
        scale,
        _edge_blur_px(grey, corner_px, corner_mm),
    )


def _check_copies(seen: dict[int, list[Floats]]) -> None:
    doubled = sorted({_card_of(i) or "" for i, quads in seen.items() if len(quads) > 1})
    for letter in doubled:
        markers = [i for i in seen if _card_of(i) == letter]
        if sum(len(seen[i]) > 1 for i in markers) >= min(3, len(markers)):
            raise CardError(
                what=f"two cards {letter} in the photo",
                why="the same markers were seen in two places and each card may lie there once",
                next_step=f"take one card {letter} away, or lay another of the cards "
                f"{' '.join(card.LETTERS)} beside it, and retake the photo",
            )


def _check_sharp(grey: NDArray[np.uint8]) -> None:
    """Where no card can be read: is it the picture's sharpness?"""
    spread_px = edge_spread_px(grey)
    if is_unsharp(grey, spread_px):
        raise CardError(
            what="the photo is too blurred to read a card in it",
            why=f"even its sharpest edges are spread over {2 * spread_px:.0f} pixels",
            next_step="hold still, wipe the lens, let the camera focus on the tray, and retake; "
            "or use --relative for counts and shapes without millimetres",
        )


def _check_unread(grey: NDArray[np.uint8]) -> None:
    """Where no card can be read: is one there all the same?"""
    seen = card_squares(grey, _dictionary())
    if seen is None:
        return
    if seen.overexposed:
        raise CardError(
            what="the card is overexposed",
            why=f"{seen.count} of its squares can be seen, but its white runs over its marks",
            next_step="lower the camera's exposure, or tap on the card so that it suits the card, "
            "and retake; or use --relative for counts and shapes without millimetres",
        )
    raise CardError(
        what="the card can be seen but not read",
        why=f"{seen.count} of its squares show, with {seen.px_per_mm:.1f} pixels a millimetre, but "
        "the marks between them are not clear enough",
        next_step="fill the picture with the tray, hold still, lay the card flat without glare, "
        "and send the original file; or use --relative for counts and shapes without millimetres",
    )


def find_cards(grey: NDArray[np.uint8]) -> tuple[CardSighting, ...]:
    """Every reference card in the photo that gives a pose, card A first.

    Parameters
    ----------
    grey : ndarray of shape (height, width), uint8
        The photo, frame px.

    Raises
    ------
    CardError
        No card or none that can be read, a mirrored or blurred picture, two copies of a card, or
        too little of the card in view.
    """
    seen = _markers(grey)
    if not seen:
        if len(_markers(np.ascontiguousarray(grey[:, ::-1]))) >= 2:
            raise CardError(
                what="the card is mirrored in the photo",
                why="its markers can be read only in the mirror image",
                next_step="take the photo straight, not through a mirror or a flipped selfie "
                "camera, and do not photograph the card's print from behind",
            )
        _check_sharp(grey)
        _check_unread(grey)
        raise CardError(
            what="no reference card in the photo",
            why="none of the markers of cards A to D could be read",
            next_step="print the card (petitpied card), lay it flat on the liner where no shell "
            "touches it, whole and without glare, and retake; or use --relative for counts and "
            "shapes without millimetres",
        )
    _check_copies(seen)
    sightings, fewest = [], 0
    for letter in card.LETTERS:
        quads = {i: q[0] for i, q in seen.items() if _card_of(i) == letter}
        sighting = _sight(grey, letter, quads) if quads else None
        if sighting is not None and sighting.chess_corners >= MIN_CORNERS:
            sightings.append(sighting)
        elif sighting is not None:
            fewest = max(fewest, sighting.chess_corners)
    sides = np.concatenate([q - np.roll(q, 1, axis=0) for quads in seen.values() for q in quads])
    scale = float(np.median(np.hypot(*sides.T))) / card.MARKER_MM
    if not sightings and scale < SMALLEST_PX_PER_MM:
        raise CardError(
            what="the card is too small in the picture",
            why=f"it shows {scale:.1f} pixels a millimetre and at least "
            f"{SMALLEST_PX_PER_MM:.0f} are needed",
            next_step="fill the picture with the tray, use the camera's full resolution, and "
            "send the original file, not a reduced copy",
        )
    if not sightings:
        _check_sharp(grey)
        _check_unread(grey)
        raise CardError(
            what="only a part of the card can be seen",
            why=f"{fewest} of its 18 inner corners were readable and at least "
            f"{MIN_CORNERS} are needed",
            next_step="lay the card where nothing covers it, wholly inside the picture and "
            "without glare, and retake",
        )
    return tuple(sightings)
