"""Cards' corners to the photo's view: focal length, distortion, pose, and their covariance.

Bundle adjustment of one photo (Triggs et al., "Bundle adjustment: a modern synthesis", 1999) by
damped Gauss-Newton with a Cauchy loss on the corners. Prior knowledge of the lens enters as
observations, so that what the photo cannot tell keeps its prior uncertainty.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.camera.find_card import CardSighting
from petitpied.camera.view_slopes import card_slopes, place_in_world, rise_mm
from petitpied.domain.errors import CardError
from petitpied.domain.lens import LENS_PARAMETERS, CameraGuess
from petitpied.domain.view import PARAMETERS, View
from petitpied.numerics.medians import medians

Floats = NDArray[np.float64]

#: diagonal of the 35-mm frame (36 x 24 mm), mm: the 35-mm-equivalent focal length is by diagonal
DIAGONAL_35MM_MM = 43.267
#: focal length taken when the photo does not tell it: phones' main cameras are 23 to 28 mm
#: equivalent (common practice, no source), so with a wide prior
DEFAULT_FOCAL_35MM_MM, DEFAULT_FOCAL_SIGMA_REL = 26.0, 0.12
#: EXIF's value is a whole number of millimetres and focusing changes the true one: 1 %
EXIF_FOCAL_SIGMA_REL = 0.01
#: phones correct their lenses; what is left at the corner of the picture, relative (1 sigma)
CORNER_DISTORTION_SIGMA_REL = 0.004
#: of that, what does not grow with the square of the distance (k2)
SECOND_DISTORTION_SIGMA_REL = 0.001
#: principal point off the picture's middle, relative to the diagonal (1 sigma): mounting, and a
#: stabiliser that moves the lens (common practice, no source)
CENTRE_SIGMA_REL = 0.002
#: scale of the Cauchy loss in sigmas: 95 % efficiency for normal errors (Holland & Welsch 1977)
CAUCHY_SCALE = 2.385


class Evidence(Protocol):
    """A witness of the view other than cards (straight rims)."""

    def __call__(self, view: View) -> Floats:
        """Residuals (R,) in sigmas."""
        ...

    def slopes(self, view: View) -> Floats:
        """Their derivatives (R, 14) by `PARAMETERS`, as `View.perturbed` changes them."""
        ...


@dataclass(frozen=True)
class SolvedView:
    """The view in the frame of the first card, and what the fit says of itself."""

    view: View
    card_places: tuple[Floats, ...]  # per sighting (3,): x mm, y mm, turn rad; first is 0
    corner_rms_px: float  # of the chessboard corners
    rejected_rel: float  # share of corners that the loss all but ignores
    #: of the further cards, where asked for: logarithm of the scale over the first card's, and
    #: slopes against its plane (N - 1, 0 to 3); and their standard uncertainties
    own: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    own_u: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    #: covariance (O, O) of the numbers in ``own``, row by row
    own_covariance: Floats = field(default_factory=lambda: np.zeros((0, 0)))


def guess_camera(width_px: int, height_px: int, focal_35mm_mm: float | None) -> CameraGuess:
    """Camera from the picture's size and its 35-mm-equivalent focal length, by the diagonal."""
    diagonal_px = float(np.hypot(width_px, height_px))
    focal_mm = focal_35mm_mm or DEFAULT_FOCAL_35MM_MM
    focal_px = focal_mm / DIAGONAL_35MM_MM * diagonal_px
    corner = diagonal_px / 2 / focal_px
    return CameraGuess(
        focal_px,
        EXIF_FOCAL_SIGMA_REL if focal_35mm_mm else DEFAULT_FOCAL_SIGMA_REL,
        ((width_px - 1) / 2, (height_px - 1) / 2),
        CORNER_DISTORTION_SIGMA_REL / corner**2,
        SECOND_DISTORTION_SIGMA_REL / corner**4,
        CENTRE_SIGMA_REL * diagonal_px,
    )


def _start(sighting: CardSighting, guess: CameraGuess, thickness_mm: float) -> View:
    k = np.array(
        [
            [guess.focal_px, 0, guess.centre_px[0]],
            [0, guess.focal_px, guess.centre_px[1]],
            [0, 0, 1],
        ]
    )
    plane = np.column_stack([sighting.points_card_mm, np.full(len(sighting.points_px), 0.0)])
    n, rotations, shifts, errors = cv2.solvePnPGeneric(
        plane, sighting.points_px, k, np.array(guess.dist), flags=cv2.SOLVEPNP_IPPE
    )
    best = int(np.argmin(np.ravel(errors)[:n]))
    rotation, _ = cv2.Rodrigues(rotations[best])
    shift = np.ravel(shifts[best]) + np.asarray(rotation) @ np.array([0, 0, thickness_mm])
    return View.exact(k, guess.dist, np.column_stack([rotation, shift]))


def _first_place(sighting: CardSighting, view: View, thickness_mm: float) -> Floats:
    seen = view.to_plane(sighting.points_px, thickness_mm)
    a = sighting.points_card_mm - sighting.points_card_mm.mean(0)
    b = seen - seen.mean(0)
    turn = np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum())
    rough = np.array([0.0, 0.0, turn])
    rough[:2] = seen.mean(0) - place_in_world(sighting.points_card_mm, rough).mean(0)
    return rough


class _Problem:
    """Residuals of all evidence as a function of one parameter vector."""

    def __init__(
        self,
        sightings: Sequence[CardSighting],
        guess: CameraGuess,
        thickness_mm: float,
        evidence: Sequence[Evidence],
    ) -> None:
        self.sightings, self.guess = sightings, guess
        self.thickness_mm, self.evidence = thickness_mm, evidence
        #: all cards' points one after the other: on the card, in the photo, and whose they are
        self.points_mm = np.concatenate([s.points_card_mm for s in sightings])
        self.points_px = np.concatenate([s.points_px for s in sightings])
        self.sigma_px = np.concatenate([s.sigma_px for s in sightings])
        self.card = np.repeat(np.arange(len(sightings)), [len(s.sigma_px) for s in sightings])
        covariance = guess.lens_covariance()
        self.free_lens = np.flatnonzero(np.diag(covariance) > 0)
        root = np.linalg.cholesky(covariance[np.ix_(self.free_lens, self.free_lens)])
        self.whiten = np.asarray(np.linalg.inv(root), float)
        #: parameters of the view that are fitted, as columns of `PARAMETERS`
        self.free = np.array([*LENS_COLUMNS[self.free_lens], *range(2, 8)])

    def corners(self, view: View, places: Floats) -> Floats:
        """Corner residuals in sigmas (N, 2)."""
        place = self.place(places)
        height = self.thickness_mm + rise_mm(self.points_mm, place)
        at = view.project(place_in_world(self.points_mm, place), height)
        return np.asarray((at - self.points_px) / self.sigma_px[:, None], float)

    def place(self, places: Floats) -> Floats:
        """The place of each point's card (N, P), of those of the further cards (cards - 1, P)."""
        return np.concatenate([np.zeros((1, places.shape[1])), places])[self.card]

    def lens_offset(self, view: View) -> Floats:
        """The lens against its prior, in the order of `LENS_PARAMETERS`."""
        k, d, prior = view.camera_matrix, view.dist, self.guess
        focal = k[0, 0] / prior.focal_px - 1
        cx, cy = k[:2, 2] - prior.centre_px
        off = d - prior.dist
        return np.array([focal, off[0], off[1], cx, cy, off[2], off[3], off[4]])

    def rest(self, view: View) -> Floats:
        """Prior and other evidence, in sigmas."""
        prior = self.whiten @ self.lens_offset(view)[self.free_lens]
        return np.concatenate([prior, self.further(view)]) if self.evidence else prior

    def further(self, view: View) -> Floats:
        """Evidence other than corners and prior, in sigmas; at least one kind."""
        return np.concatenate([e(view) for e in self.evidence])

    def residuals(self, view: View, places: Floats) -> tuple[Floats, Floats]:
        """Of the corners (N, 2) and of the rest, in sigmas."""
        return self.corners(view, places), self.rest(view)


#: where `LENS_PARAMETERS` stand among `PARAMETERS`
LENS_COLUMNS = np.array([PARAMETERS.index(name) for name in LENS_PARAMETERS])


def _corner_slopes(problem: _Problem, view: View, places: Floats) -> Floats:
    """Derivatives (N, 2, free + places' size) of the corner residuals, as `perturbed`
    and the cards' places move them."""
    free, own_count = problem.free, places.shape[1]
    by_view, by_place = card_slopes(
        view, problem.points_mm, problem.place(places), problem.thickness_mm
    )
    slopes = np.zeros((*by_view.shape[:2], len(free) + places.size))
    slopes[:, :, : len(free)] = by_view[:, :, free]
    for index in range(len(places)):
        own, its = len(free) + own_count * index, problem.card == index + 1
        slopes[its, :, own : own + own_count] = by_place[its, :, :own_count]
    return np.asarray(slopes / problem.sigma_px[:, None, None], float)


def _jacobian(problem: _Problem, view: View, places: Floats, root_weight: Floats) -> Floats:
    """Derivatives of the weighted residuals."""
    corners = _corner_slopes(problem, view, places) * root_weight[:, None, None]
    corners = corners.reshape(-1, corners.shape[2])
    lens = len(problem.free_lens)
    prior = np.zeros((lens, corners.shape[1]))
    prior[:, :lens] = problem.whiten
    prior[:, 0] *= view.camera_matrix[0, 0] / problem.guess.focal_px
    if not problem.evidence:
        return np.concatenate([corners, prior])
    slopes = np.concatenate([e.slopes(view) for e in problem.evidence])[:, problem.free]
    further = np.zeros((len(slopes), corners.shape[1]))
    further[:, : slopes.shape[1]] = slopes
    return np.concatenate([corners, prior, further])


def _weighted(residuals: tuple[Floats, Floats], root_weight: Floats) -> Floats:
    corners, rest = residuals
    return np.concatenate([(corners * root_weight[:, None]).ravel(), rest])


def _root_weight(corners: Floats) -> Floats:
    """Square roots (N,) of the corners' weights: what their residuals (N, 2) are multiplied by.

    The noise is taken as observed, by the ratio to the assumed (median of Rayleigh: 1.1774).
    """
    size = np.hypot(*corners.T)
    factor = min(max(float(medians(size)) / 1.1774, 0.3), 20.0)
    return np.asarray(1 / (factor * np.sqrt(1 + (size / (factor * CAUCHY_SCALE)) ** 2)), float)


def solve_view(
    sightings: Sequence[CardSighting],
    guess: CameraGuess,
    *,
    thickness_mm: float,
    evidence: Sequence[Evidence] = (),
    start: SolvedView | None = None,
    own_freedoms: int = 0,
) -> SolvedView:
    """Fit the view to every card and to any further evidence.

    Parameters
    ----------
    sightings : sequence of CardSighting
        At least one; the world frame becomes the first card's (z = 0 on the liner below it).
    guess : CameraGuess
        Prior of focal length and distortion.
    thickness_mm : float
        Height of the cards' printed face above the liner.
    evidence : sequence of Evidence
        Further witnesses, of a view in this frame.
    start : SolvedView, optional
        An earlier fit to begin with.
    own_freedoms : {0, 1, 3}
        Let each further card have a scale of its own (1), and slopes (3), as a question whether
        the cards agree.

    Raises
    ------
    CardError
        If the fit fails (corners that no flat card can show).
    """
    view = start.view if start else _start(sightings[0], guess, thickness_mm)
    places = (
        np.array(start.card_places[1:]).reshape(-1, 3)
        if start
        else np.array([_first_place(s, view, thickness_mm) for s in sightings[1:]]).reshape(-1, 3)
    )
    places = np.pad(places, ((0, 0), (0, own_freedoms)))
    problem = _Problem(sightings, guess, thickness_mm, evidence)
    damping, residuals = 1e-3, problem.residuals(view, places)
    weight = _root_weight(residuals[0])
    for _ in range(40):
        now = _weighted(residuals, weight)
        jac = _jacobian(problem, view, places, weight)
        normal, gradient = jac.T @ jac, jac.T @ now
        step = -np.linalg.solve(normal + damping * np.diag(np.diag(normal)), gradient)
        change = np.zeros(len(PARAMETERS))
        change[problem.free] = step[: len(problem.free)]
        tried = view.perturbed(change)
        moved = places + step[len(problem.free) :].reshape(places.shape)
        tried_residuals = problem.residuals(tried, moved)
        then = _weighted(tried_residuals, weight)
        if then @ then > now @ now * (1 + 1e-9):
            damping *= 8
            if damping > 1e6:
                break
            continue
        gain = now @ now - then @ then
        view, places, damping, residuals = tried, moved, damping / 6, tried_residuals
        weight = _root_weight(residuals[0])
        if gain < 1e-5 * (now @ now):
            break
    return _solved(problem, view, places, weight)


def _solved(problem: _Problem, view: View, places: Floats, weight: Floats) -> SolvedView:
    jac = _jacobian(problem, view, places, weight)
    try:
        inverse = np.linalg.inv(jac.T @ jac)
    except np.linalg.LinAlgError as fault:
        raise CardError(
            what="the card gives no view of the tray",
            why="its corners do not fit any flat card",
            next_step="lay the card flat and whole on the liner and retake",
        ) from fault
    residual_px = problem.corners(view, places) * problem.sigma_px[:, None]
    chess = np.concatenate(
        [np.arange(len(s.points_px)) < s.chess_corners for s in problem.sightings]
    )
    relative = weight / weight.max()
    covariance = np.zeros((len(PARAMETERS), len(PARAMETERS)))
    lens_and_pose = len(problem.free)
    covariance[np.ix_(problem.free, problem.free)] = inverse[:lens_and_pose, :lens_and_pose]
    own = lens_and_pose + np.arange(places.size).reshape(places.shape)[:, 3:]
    own_covariance = np.asarray(inverse[np.ix_(own.ravel(), own.ravel())], float)
    view = View(view.camera_matrix, view.dist, view.world_to_camera, covariance)
    return SolvedView(
        view,
        (np.zeros(3), *places[:, :3]),
        float(np.sqrt((residual_px[chess] ** 2).sum(axis=1).mean() / 2)),
        float((relative[chess] < 0.3).mean()),
        places[:, 3:],
        np.asarray(np.sqrt(np.diag(own_covariance)).reshape(own.shape), float),
        own_covariance,
    )
