"""Several cards in one photo: do they agree in scale, and do they lie in one plane?"""

from collections.abc import Sequence

import numpy as np

from petitpied.domain import card
from petitpied.domain.errors import CardError
from petitpied.domain.lens import CameraGuess
from petitpied.vision.find_card import CardSighting
from petitpied.vision.view import Evidence, SolvedView, solve_view

#: a difference must be this many standard uncertainties, to be one
SIGNIFICANT = 4.0
#: scales that differ by this are worth a word (0.18 mm on a shell of 45 mm); by the larger, one
#: card is printed at another scale: a card lifted so far would lie 7 mm up at 700 mm
SCALE_WARN_REL, SCALE_REFUSE_REL = 0.004, 0.01
#: beyond this ratio no print or lift explains it: the fit has gone astray
SCALE_BOUND = 1.5


def cards_agree(
    sightings: Sequence[CardSighting],
    guess: CameraGuess,
    solved: SolvedView,
    *,
    thickness_mm: float,
    evidence: Sequence[Evidence] = (),
) -> list[str]:
    """Warnings about cards that differ in scale, [] where they agree or only one is seen.

    The view is fitted again with a free scale for each further card: a score of what the joint
    fit had to average away (likelihood-ratio idea; the covariance is the fit's own).

    Raises
    ------
    CardError
        Two cards differ by more than `SCALE_REFUSE_REL`.
    """
    if len(sightings) < 2:
        return []
    asked = solve_view(
        sightings, guess, thickness_mm=thickness_mm, evidence=evidence, start=solved,
        free_scales=True,
    )  # fmt: skip
    logs = np.array([0.0, *asked.scales[:, 0]])
    u = np.array([0.0, *asked.scales[:, 1]])
    if not np.isfinite(logs).all() or np.abs(logs).max() > np.log(SCALE_BOUND):
        raise _disagree(sightings, (0, int(np.argmax(np.abs(logs)))), float(np.ptp(logs)))
    away = logs - np.median(logs) if len(logs) > 2 else logs
    odd = int(np.argmax(np.abs(away)))
    other = int(np.argmin(np.abs(np.delete(away, odd))))
    other += other >= odd
    difference = float(logs[odd] - logs[other])
    size = abs(float(np.expm1(difference)))
    if size < max(SIGNIFICANT * float(max(u[odd], u[other])), SCALE_WARN_REL):
        return []
    if size > SCALE_REFUSE_REL:
        raise _disagree(sightings, (odd, other), difference)
    # the card whose picture is too large has the larger logarithm: printed larger, or nearer
    height_mm = -float(solved.view.camera_centre_mm[2])
    first, second = sightings[odd].letter, sightings[other].letter
    return [
        f"cards {first} and {second} differ in scale by {100 * size:.1f} %, {45 * size:.2f} mm on "
        f"a shell of 45 mm: card {first if difference > 0 else second} lies about "
        f"{size * height_mm:.0f} mm higher, or one is printed at another scale; lay both flat, "
        "and check their print with petitpied card --check"
    ]


def _disagree(
    sightings: Sequence[CardSighting], pair: tuple[int, int], difference: float
) -> CardError:
    one, two = (sightings[i] for i in pair)
    return CardError(
        what=f"cards {one.letter} and {two.letter} disagree in scale",
        why=f"card {one.letter} measures {100 * np.exp(difference):.1f} % of card {two.letter}, "
        f"and a difference of at most {100 * SCALE_REFUSE_REL:.0f} % is allowed",
        next_step="measure the bar of each printed page and enter it (petitpied card --check), "
        "print both at 100 %, or take one card away",
    )


#: an edge of the card lifted by this, mm, disturbs the scale by 0.1 %: as `card_check` has it
LIFT_WARN_MM = 1.5


def lifted_edge(sighting: CardSighting, turn_rad: tuple[float, float], u_rad: float) -> list[str]:
    """A warning where one of several cards is tilted against the others' plane; ``turn_rad``
    about the camera's x and y axis, with its standard uncertainty."""
    tilt = float(np.hypot(*turn_rad))
    lift_mm = np.sin(tilt) * np.hypot(card.WIDTH_MM, card.HEIGHT_MM)
    if tilt < SIGNIFICANT * u_rad or lift_mm < LIFT_WARN_MM:
        return []
    return [
        f"card {sighting.letter} does not lie flat: it is tilted by {np.rad2deg(tilt):.1f} degrees "
        f"against the other, one edge about {lift_mm:.0f} mm up; lay it flat on the liner"
    ]
