"""A card's squares where none of its markers can be read: it lies in the photo all the same."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain import card
from petitpied.photo.reduce import reduced

Floats = NDArray[np.float64]

#: squares are looked for in a copy with this long side, px
SEARCH_SIZE_PX = 2400
#: shortest side over longest of what may be a square seen at a slant
SQUARE_REL = 0.7
#: a card's squares lie within this many of their sides of a middle one, are alike in size within
#: this factor (its markers are smaller than its squares), and farther apart than this share
REACH_SIDES, ALIKE, APART_REL = 7.0, 1.7, 0.5
#: a card has 14 dark squares and as many markers: with this many it is one, if twice as far there
#: are fewer than so many times as many (a chequer that goes on has four times; TUNING.md)
FEWEST, MOST_REL = 18, 2.5
#: squares of a chequer touch at their corners, or have a marker between: the next one is at most
#: 1.41 sides away. On these cards 1.1 to 1.4, on the cloth of three of those scenes 1.9 to 2.2
NEXT_SIDES = 1.6
#: white at its limit, and black as bright as that: overexposed. Of 8 bits, common practice
WHITE_LIMIT, PALE_BLACK = 250.0, 80.0


@dataclass(frozen=True)
class CardSquares:
    """How many squares were seen, how many px of the photo a mm of the card has, and whether the
    print is overexposed."""

    count: int
    px_per_mm: float
    overexposed: bool


def card_squares(grey: NDArray[np.uint8], dictionary: cv2.aruco.Dictionary) -> CardSquares | None:
    """The squares of a card in a photo (height, width); None where there is none.

    Candidates are the quadrilaterals that OpenCV's marker detector looked at and could not read
    (Garrido-Jurado et al., Pattern Recognition 47, 2014).
    """
    factor = min(1.0, SEARCH_SIZE_PX / max(grey.shape))
    small = reduced(grey, (round(grey.shape[1] * factor), round(grey.shape[0] * factor)))
    parameters = cv2.aruco.DetectorParameters()
    parameters.adaptiveThreshWinSizeMin, parameters.adaptiveThreshWinSizeMax = 13, 63
    parameters.minMarkerPerimeterRate = 0.01
    read, _, unread = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(small)
    if not len(read) + len(unread):
        return None
    quads = np.array([*read, *unread], float).reshape(-1, 4, 2)
    sides = np.hypot(*np.moveaxis(quads - np.roll(quads, 1, axis=1), 2, 0))
    even = sides.min(axis=1) > SQUARE_REL * sides.max(axis=1)
    middles, side = quads[even].mean(axis=1), sides[even].mean(axis=1)
    around = [_beside(middles, side, k, REACH_SIDES) for k in range(len(side))]
    best = max(range(len(side)), key=lambda k: len(around[k]), default=None)
    if best is None or len(around[best]) < FEWEST:
        return None
    members = around[best]
    if len(_beside(middles, side, best, 2 * REACH_SIDES)) > MOST_REL * len(members):
        return None
    apart = np.hypot(*np.moveaxis(middles[members][:, None] - middles[members], 2, 0))
    np.fill_diagonal(apart, np.inf)
    if np.median(apart.min(axis=1)) > NEXT_SIDES * np.median(side[members]):
        return None
    # the larger ones are the squares, the smaller ones the markers
    px_per_mm = float(np.percentile(side[members], 75)) / factor / card.SQUARE_MM
    x, y = np.rint(middles[members]).astype(int).T
    window = small[y.min() : y.max() + 1, x.min() : x.max() + 1]
    white, black = float(np.percentile(window, 95)), float(np.percentile(window, 5))
    overexposed = white >= WHITE_LIMIT and black >= PALE_BLACK
    return CardSquares(len(members), px_per_mm, overexposed)


def _beside(middles: Floats, side: Floats, number: int, sides: float) -> NDArray[np.int64]:
    """Numbers of the squares like this one within so many ``sides`` of it, each place once."""
    own = side[number]
    near = (np.hypot(*(middles - middles[number]).T) < sides * own) & (
        np.abs(np.log(side / own)) < np.log(ALIKE)
    )
    kept: list[int] = []
    for k in np.flatnonzero(near).tolist():
        if all(np.hypot(*(middles[k] - middles[other])) > APART_REL * own for other in kept):
            kept.append(k)
    return np.array(kept, np.int64)
