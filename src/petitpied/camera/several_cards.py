"""Several cards in one photo: do they agree in scale, and do they lie in one plane?"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from petitpied.camera.card_check import card_fault
from petitpied.camera.find_card import CardSighting
from petitpied.camera.view import Evidence, SolvedView, solve_view
from petitpied.domain import card
from petitpied.domain.errors import CardError
from petitpied.domain.lens import CameraGuess

Floats = NDArray[np.float64]

#: a difference must be this many standard uncertainties, to be one
SIGNIFICANT = 4.0
#: scales that differ by this are worth a word (0.18 mm on a shell of 45 mm); by the larger, one
#: card is printed at another scale: a card lifted so far would lie 7 mm up at 700 mm
SCALE_WARN_REL, SCALE_REFUSE_REL = 0.004, 0.01
#: an edge of the card lifted by this, mm, disturbs the scale by 0.1 %, as `card_check` has it
LIFT_WARN_MM = 1.5
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
    """Warnings about cards that differ in scale or lie in different planes; [] for one card.

    The view is fitted again with a scale and slopes of its own for each further card, and where
    the planes agree with the scale alone: what the joint fit had to average away. The
    uncertainties are the fit's own.

    Raises
    ------
    CardError
        Two cards differ in scale by more than `SCALE_REFUSE_REL`.
    """
    if len(sightings) < 2:
        return []

    def asked(freedoms: int) -> SolvedView:
        return solve_view(
            sightings, guess, thickness_mm=thickness_mm, evidence=evidence, start=solved,
            own_freedoms=freedoms,
        )  # fmt: skip

    free = asked(3)
    tilted = _tilted(sightings, free)
    if not tilted and _scales_far_from_a_word(free):
        return []
    scale = free if tilted else asked(1)
    height_mm = -float(solved.view.camera_centre_mm[2])
    return tilted + _scales(sightings, scale, height_mm)


def _odd_and_other(values: Floats) -> tuple[int, int]:
    """The card (of N) farthest from the others' middle, and the one nearest to it; of two cards
    the second and the first. ``values`` (N, D)."""
    middle = np.median(values, axis=0) if len(values) > 2 else values[0]
    away = np.hypot.reduce(values - middle, axis=1)
    odd = int(np.argmax(away))
    away[odd] = np.inf
    return odd, int(np.argmin(away))


def _tilted(sightings: Sequence[CardSighting], free: SolvedView) -> list[str]:
    """A warning where a card's plane is not the others'."""
    slopes = np.vstack([np.zeros(2), free.own[:, 1:]])
    u = np.vstack([np.zeros(2), free.own_u[:, 1:]])
    odd, other = _odd_and_other(slopes)
    # in the frame of each card; close enough, since a tilt's size does not change with it
    rise = (slopes[odd] - slopes[other]) * [card.WIDTH_MM, card.HEIGHT_MM]
    u_rise = np.hypot(u[odd], u[other]) * [card.WIDTH_MM, card.HEIGHT_MM]
    lift_mm, u_mm = float(np.hypot(*rise)), float(u_rise.max())
    if not np.isfinite(lift_mm) or lift_mm < max(SIGNIFICANT * u_mm, LIFT_WARN_MM):
        return []
    one, two = sightings[odd].letter, sightings[other].letter
    which = f"card {one} does not lie in one plane with card {two}"
    return [
        f"{which}: an edge of {'it' if len(sightings) > 2 else 'one of them'} stands up by about "
        f"{lift_mm:.0f} mm; lay the cards flat on the liner"
    ]


def _scales_far_from_a_word(free: SolvedView) -> bool:
    """Whether the scales that a fit without slopes would find are surely not worth a word.

    To first order they are what is known of the scales once the slopes are known to be nothing
    (conditional normal distribution). On 22 traced trays the fit itself found them within 0.25 of
    their standard uncertainty; one is allowed for.
    """
    covariance = free.own_covariance
    scale = np.arange(len(covariance)) % free.own.shape[1] == 0
    scales, slopes = free.own.ravel()[scale], free.own.ravel()[~scale]
    with_slopes = covariance[np.ix_(scale, ~scale)]
    gain = with_slopes @ np.linalg.pinv(covariance[np.ix_(~scale, ~scale)])
    logs = np.array([0.0, *(scales - gain @ slopes)])
    variance = np.diag(covariance)[scale] - (gain * with_slopes).sum(axis=1)
    farthest = float(np.ptp(logs)) + float(np.sqrt(np.maximum(variance, 0.0)).max())
    return bool(np.expm1(farthest) < SCALE_WARN_REL)  # of nan, too, it is not


def _scales(sightings: Sequence[CardSighting], free: SolvedView, height_mm: float) -> list[str]:
    logs = np.array([0.0, *free.own[:, 0]])
    u = np.array([0.0, *free.own_u[:, 0]])
    if not np.isfinite(logs).all() or np.abs(logs).max() > np.log(SCALE_BOUND):
        logs = np.nan_to_num(logs, nan=np.log(SCALE_BOUND))
        raise _disagree(sightings, (0, int(np.argmax(np.abs(logs)))), float(np.ptp(logs)))
    odd, other = _odd_and_other(logs[:, None])
    difference = float(logs[odd] - logs[other])
    size = abs(float(np.expm1(difference)))
    if size < max(SIGNIFICANT * float(max(u[odd], u[other])), SCALE_WARN_REL):
        return []
    if size > SCALE_REFUSE_REL:
        raise _disagree(sightings, (odd, other), difference)
    # the card whose picture is too large has the larger logarithm: printed larger, or nearer
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
    return card_fault(
        [one, two],
        what=f"cards {one.letter} and {two.letter} disagree in scale",
        why=f"card {one.letter} measures {100 * np.exp(difference):.1f} % of card {two.letter}, "
        f"and a difference of at most {100 * SCALE_REFUSE_REL:.0f} % is allowed",
        next_step="measure the bar of each printed page and enter it (petitpied card --check), "
        "print both at 100 %, or take one card away",
    )
