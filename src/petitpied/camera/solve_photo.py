"""A photo's cards and straight edges to its view, checked against the lens profile if any."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from petitpied.camera.find_card import CardSighting
from petitpied.camera.several_cards import cards_agree
from petitpied.camera.straight_edges import StraightEdge, StraightnessEvidence, find_straight_edges
from petitpied.camera.view import Evidence, SolvedView, guess_camera, solve_view
from petitpied.domain.errors import LensError
from petitpied.domain.lens import CameraGuess
from petitpied.domain.view import View

#: shell that effects are stated for, mm
USUAL_SHELL_MM = 45.0
#: a profile's focal length may differ from the cards' by this much and is then another lens's:
#: focusing moves it by less than 1 % (see `petitpied.camera.lens.matching.BREATHING_REL`)
OTHER_LENS_REL = 0.03
#: a difference must be this many standard uncertainties, to be one
SIGNIFICANT, SURE = 3.0, 5.0
#: effect on a shell that is worth a word, mm
EFFECT_WARN_MM = 0.1
#: how far the question "what lens do the cards alone see?" lets the lens go, relative
FREE_FOCAL_REL, FREE_CORNER_REL = 0.2, 0.02


@dataclass(frozen=True)
class SolvedPhoto:
    """The view, the straight edges that it rests on, and doubts as plain sentences."""

    solved: SolvedView
    straight: tuple[StraightEdge, ...]
    warnings: tuple[str, ...]


def solve_photo(
    grey: NDArray[np.uint8],
    sightings: Sequence[CardSighting],
    guess: CameraGuess,
    thickness_mm: float,
) -> SolvedPhoto:
    """View from the cards, then again with the straight edges that this first view shows.

    Raises
    ------
    CardError
        Cards that give no view, or disagree in scale.
    LensError
        The lens profile is of another lens.
    """
    first = solve_view(sightings, guess, thickness_mm=thickness_mm)
    straight = find_straight_edges(grey, first.view)
    evidence: tuple[Evidence, ...] = ()
    if len(straight) >= 3:
        evidence = (StraightnessEvidence(straight),)
        first = solve_view(
            sightings, guess, thickness_mm=thickness_mm, evidence=evidence, start=first
        )
    trusted, warnings, other = guess, list[str](), None
    if guess.profile is not None:
        freed = _freed(guess, (grey.shape[1], grey.shape[0]))
        free = solve_view(
            sightings, freed, thickness_mm=thickness_mm, evidence=evidence, start=first
        )
        other = _other_lens(guess, free)
        warnings = _breathing(guess, first, free, (grey.shape[1], grey.shape[0]))
        if other is not None or warnings:
            trusted = freed  # the cards are compared without it
    agreed = cards_agree(sightings, trusted, first, thickness_mm=thickness_mm, evidence=evidence)
    if other is not None:
        raise other
    return SolvedPhoto(first, straight, (*agreed, *warnings))


def _freed(guess: CameraGuess, size_px: tuple[int, int]) -> CameraGuess:
    """The same lens, hardly trusted: focal length and first distortion free."""
    plain = guess_camera(*size_px, None)
    corner = float(np.hypot(*size_px)) / 2 / guess.focal_px
    return replace(
        guess,
        focal_sigma_rel=FREE_FOCAL_REL,
        k1_sigma=FREE_CORNER_REL / corner**2,
        k2_sigma=0.0,
        centre_sigma_px=plain.centre_sigma_px,
        covariance=None,
    )


def _other_lens(guess: CameraGuess, free: SolvedView) -> LensError | None:
    """The error to raise where the lens that the cards alone see is not the profile's."""
    change = float(free.view.camera_matrix[0, 0] / guess.focal_px - 1)
    u_rel = float(np.sqrt(free.view.covariance[0, 0]))
    if abs(change) <= max(OTHER_LENS_REL, SURE * u_rel):
        return None
    return LensError(
        what="the lens profile is of another lens",
        why=f"by the cards the focal length differs by {100 * change:+.1f} % from that of "
        f"{guess.profile}, more than focusing can change",
        next_step="leave --lens out, or make a profile for this lens and zoom (petitpied lens)",
    )


def _breathing(
    guess: CameraGuess, solved: SolvedView, free: SolvedView, size_px: tuple[int, int]
) -> list[str]:
    """A warning where the cards alone see the lens a little otherwise, and it matters."""
    prior = guess.lens_covariance()
    change = float(free.view.camera_matrix[0, 0] / guess.focal_px - 1)
    bend = float(free.view.dist[0] - guess.dist[0])
    u_change, u_bend = np.sqrt(np.diag(free.view.covariance)[:2] + np.diag(prior)[:2])
    moved, bent = abs(change) > SIGNIFICANT * u_change, abs(bend) > SIGNIFICANT * u_bend
    effect_mm = size_effect_mm(solved.view, free.view, size_px)
    if not (moved or bent) or effect_mm < EFFECT_WARN_MM:
        return []
    what = f"focal length {100 * change:+.1f} %" if moved else "distortion"
    return [
        f"the cards do not quite agree with the lens profile ({what}), up to {effect_mm:.2f} mm on "
        f"a shell of {USUAL_SHELL_MM:.0f} mm at the picture's edge: focusing changes a lens; make "
        "the profile at the distance of the tray"
    ]


def size_effect_mm(view: View, other: View, size_px: tuple[int, int]) -> float:
    """Largest difference, mm, between what two views make of a usual shell in the picture's
    corners and middle."""
    width, height = size_px
    at = np.array([(0.12, 0.12), (0.88, 0.12), (0.12, 0.88), (0.88, 0.88), (0.5, 0.5)])
    px = at * [width, height]
    arm = 0.02 * width * np.array([[-1, 0], [1, 0], [0, -1], [0, 1]])
    points = (px[:, None] + arm).reshape(-1, 2)
    logs = []
    for each in (view, other):
        p = each.to_plane(points).reshape(-1, 4, 2)
        a, b = p[:, 1] - p[:, 0], p[:, 3] - p[:, 2]
        logs.append(0.5 * np.log(np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])))
    return float(USUAL_SHELL_MM * np.abs(logs[0] - logs[1]).max())
