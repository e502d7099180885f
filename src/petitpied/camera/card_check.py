"""Is the card in the photo flat and printed true? What its corners say beyond the pose.

The residuals of the fitted view are regressed on what a bent or a stretched card would add to
them, together with the pose that such a fault would disturb (a score test, Rao 1948).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from petitpied.camera.find_card import CardSighting
from petitpied.camera.view import CAUCHY_SCALE, SolvedView
from petitpied.camera.view_slopes import card_slopes, place_in_world
from petitpied.domain import card
from petitpied.domain.errors import CardError
from petitpied.domain.view import View
from petitpied.numerics.medians import medians

Floats = NDArray[np.float64]

#: a fault must be this many standard uncertainties, to be one
SIGNIFICANT = 4.0
#: a card lifted in its middle by this, mm, disturbs the scale by about 0.1 %: warn; from
#: the larger on it is no plane at all: refuse
BENT_WARN_MM, BENT_REFUSE_MM = 0.8, 4.0
#: width and height scaled differently by this: warn; by the larger: refuse. A printer that
#: keeps the page's shape shows none of it
STRETCH_WARN_REL, STRETCH_REFUSE_REL = 0.004, 0.015
#: corner residuals, mm on the card, beyond which the card is not the reference card
MISFIT_REFUSE_MM = 0.5
#: edges of the card spread by more than this, mm (standard deviation): then the picture is
#: unsharp, whatever its corners say. Sharp photos of tuning trays had 0.10 to 0.23
UNSHARP_MM = 0.4
#: rounds of reweighting: from the third on nothing moves by a tenth of its uncertainty
ROBUST_ROUNDS = 8


def _residual_slopes(
    view: View, sighting: CardSighting, place: Floats, thickness_mm: float
) -> tuple[Floats, Floats]:
    """Residuals (2N,) in sigmas and their slopes (2N, 9): pose (6), stretch, bends along x, y."""
    mm, sigma = sighting.points_card_mm, sighting.sigma_px[:, None]

    def seen(points: Floats, lift: Floats | float) -> Floats:
        at = view.project(place_in_world(points, place), thickness_mm + lift)
        return np.asarray((at / sigma).ravel(), float)

    base = seen(mm, 0.0)
    residual = (sighting.points_px / sigma).ravel() - base
    by_view, _ = card_slopes(view, mm, place, thickness_mm)
    pose = (by_view[:, :, 2:8] / sigma[:, :, None]).reshape(-1, 6)
    stretched = mm * np.array([1 + 1e-4, 1 - 1e-4])
    columns = [(seen(stretched, 0.0) - base) / 1e-4]
    half = np.array([card.WIDTH_MM, card.HEIGHT_MM]) / 2
    for axis in range(2):
        lift = 1e-2 * (1 - ((mm[:, axis] - half[axis]) / half[axis]) ** 2)
        columns.append((seen(mm, lift) - base) / 1e-2)
    return residual, np.column_stack([pose, *columns])


def check_cards(
    sightings: Sequence[CardSighting], solved: SolvedView, thickness_mm: float
) -> list[str]:
    """Warnings about bent or badly printed cards.

    Raises
    ------
    CardError
        A card so bent, or printed so far out of shape, that no scale can be taken from it.
    """
    warnings = []
    for sighting, place in zip(sightings, solved.card_places, strict=True):
        residual, slopes = _residual_slopes(solved.view, sighting, place, thickness_mm)
        fault, u, noise = _robust_fit(residual, slopes)
        warnings += _print_fault(sighting, 2 * float(fault[6]), 2 * float(u[6]))
        for value, doubt in zip(fault[7:9], u[7:9], strict=True):
            warnings += _bend(sighting, float(value), float(doubt))
        misfit_mm = noise * float(np.median(sighting.sigma_px)) / sighting.px_per_mm
        if misfit_mm > MISFIT_REFUSE_MM:
            raise card_fault(
                [sighting],
                what=f"card {sighting.letter} does not fit the reference card",
                why=f"its corners are {misfit_mm:.1f} mm off and at most "
                f"{MISFIT_REFUSE_MM} mm is allowed",
                next_step="print the card anew at 100 % (petitpied card), lay it flat and retake",
            )
    return warnings


def card_fault(seen: Sequence[CardSighting], *, what: str, why: str, next_step: str) -> CardError:
    """A card's fault as an error; where the card is unsharp in the picture, that is the fault."""
    spreads_mm = np.nan_to_num([s.edge_blur_px / s.px_per_mm for s in seen])
    blurriest, spread_mm = seen[int(np.argmax(spreads_mm))], float(spreads_mm.max())
    if spread_mm <= UNSHARP_MM:
        return CardError(what=what, why=why, next_step=next_step)
    return CardError(
        what=f"card {blurriest.letter} is too blurred to measure by",
        why=f"{why}, and its edges are spread over {2 * spread_mm:.1f} mm",
        next_step="hold still, wipe the lens, let the camera focus on the tray, fill the picture "
        "with it, and send the original file",
    )


def _robust_fit(residual: Floats, slopes: Floats) -> tuple[Floats, Floats, float]:
    """Coefficients (9,), their standard uncertainties (9,), and the residuals' robust standard
    deviation in sigmas; corners that are covered, bent or in glare hardly count (Cauchy loss)."""
    scale = np.sqrt(np.mean(slopes**2, axis=0)) + 1e-12
    even = slopes / scale
    weight, noise = np.ones(len(residual) // 2), 1.0
    fault, covariance = np.zeros(slopes.shape[1]), np.eye(slopes.shape[1])
    for _ in range(ROBUST_ROUNDS):
        by_axis = np.repeat(weight, 2)
        covariance = np.linalg.pinv((even * by_axis[:, None]).T @ even)
        fault = covariance @ (even * by_axis[:, None]).T @ residual
        size = np.hypot(*(residual - even @ fault).reshape(-1, 2).T)
        noise = float(np.clip(medians(size) / 1.1774, 0.3, 1e3))  # Rayleigh's median
        weight = 1 / (1 + (size / (CAUCHY_SCALE * noise)) ** 2)
    u = max(noise, 0.7) * np.sqrt(np.diag(covariance)) / scale
    return fault / scale, u, noise


def _print_fault(sighting: CardSighting, stretch_rel: float, u_rel: float) -> list[str]:
    if abs(stretch_rel) < max(SIGNIFICANT * u_rel, STRETCH_WARN_REL):
        return []
    size = f"its width is stretched by {100 * stretch_rel:+.1f} % against its height"
    if abs(stretch_rel) > STRETCH_REFUSE_REL:
        raise card_fault(
            [sighting],
            what=f"card {sighting.letter} is printed out of shape",
            why=size,
            next_step="print it anew at 100 %, without 'fit to page', and check the 100 mm bar",
        )
    return [f"card {sighting.letter} may be printed out of shape: {size}"]


def _bend(sighting: CardSighting, lift_mm: float, u_mm: float) -> list[str]:
    if abs(lift_mm) < max(SIGNIFICANT * u_mm, BENT_WARN_MM):
        return []
    way = "up" if lift_mm > 0 else "down"
    if abs(lift_mm) > BENT_REFUSE_MM:
        raise card_fault(
            [sighting],
            what=f"card {sighting.letter} is bent",
            why=f"its middle stands {way} by {abs(lift_mm):.1f} mm and at most "
            f"{BENT_REFUSE_MM:.0f} mm is allowed",
            next_step="flatten the card or stick it to thin board, and retake",
        )
    return [
        f"card {sighting.letter} seems bent: its middle stands {way} by "
        f"{abs(lift_mm):.1f} mm; flatten it for a better scale"
    ]
