"""Does a card lie flat? Its corners against the plane that fits them best, whatever the view.

A wave in the card moves neighbouring corners alike. A fit that takes them for independent finds a
wrong tilt and is sure of it: so the corners of such a card are trusted less than they scatter, and
the lens, straight edges and other cards have more of a say.
"""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from petitpied.camera.find_card import CardSighting
from petitpied.camera.view import LEAST_NOISE
from petitpied.domain.errors import CardError
from petitpied.domain.lens import CameraGuess

#: corners off their common plane, px (root mean square of a coordinate): on 21 traced trays flat
#: cards had 0.11 to 0.31, the same with waves of 1 px 0.33 to 0.72, of 2 px 0.58 to 1.40
EVEN_PX, UNEVEN_PX = 0.35, 0.42
#: and mm of the card: from here on no scale can be taken from it
REFUSE_MM = 0.35
#: corners moved by waves share their errors, and a plane takes up a part of them: they count as
#: this many times as uncertain as they scatter (the least that held 95 % of sizes under such waves)
SHARED = 6.0


def unevenness_px(sighting: CardSighting, guess: CameraGuess) -> float:
    """How far the chessboard corners are off a plane, px: root mean square of a coordinate, the
    plane's eight numbers allowed for; the known part of the lens's distortion is taken out."""
    count = sighting.chess_corners
    k = np.diag([guess.focal_px, guess.focal_px, 1.0])
    k[:2, 2] = guess.centre_px
    points = cv2.undistortPoints(sighting.points_px[:count, None], k, np.array(guess.dist), P=k)
    on_card = sighting.points_card_mm[:count]
    plane, _ = cv2.findHomography(on_card, points, 0)
    if plane is None or count < 5:
        return 0.0
    off = cv2.perspectiveTransform(on_card[None], plane)[0] - points[:, 0]
    return float(np.sqrt((off**2).sum() / max(2 * count - 8, 1)))


def trusted_as_flat(
    sightings: Sequence[CardSighting], guess: CameraGuess
) -> tuple[tuple[CardSighting, ...], dict[str, str]]:
    """The sightings, those of uneven cards with larger uncertainties, and a word on each of these
    by its letter.

    Raises
    ------
    CardError
        A card so far from flat that no scale can be taken from it.
    """
    trusted, told = list[CardSighting](), dict[str, str]()
    for sighting in sightings:
        off_px = unevenness_px(sighting, guess)
        off_mm = off_px / sighting.px_per_mm
        if off_mm > REFUSE_MM and off_px > UNEVEN_PX:
            raise CardError(
                what=f"card {sighting.letter} is not flat",
                why=f"its corners are {off_mm:.1f} mm off a plane and at most {REFUSE_MM} mm is "
                "allowed",
                next_step="stick the card to thin board, or print a new one, lay it flat and "
                "retake",
            )
        if off_px > EVEN_PX:
            least = SHARED * off_px / LEAST_NOISE
            sigma_px = np.maximum(sighting.sigma_px, least)
            sighting = replace(sighting, sigma_px=sigma_px)
        if off_px > UNEVEN_PX:
            told[sighting.letter] = (
                f"card {sighting.letter} does not lie flat: its corners are {off_mm:.2f} mm off a "
                "plane; sizes are less sure; stick it to thin board, or print a new one"
            )
        trusted.append(sighting)
    return tuple(trusted), told
