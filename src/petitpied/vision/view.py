"""Cards' corners to the photo's view: focal length, distortion, pose, and their covariance.

Bundle adjustment of one photo (Triggs et al., "Bundle adjustment: a modern synthesis", 1999) by
damped Gauss-Newton with a Cauchy loss on the corners. Prior knowledge of the lens enters as
observations, so that what the photo cannot tell keeps its prior uncertainty.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.errors import CardError
from petitpied.domain.view import PARAMETERS, View
from petitpied.vision.find_card import CardSighting

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
#: scale of the Cauchy loss in sigmas: 95 % efficiency for normal errors (Holland & Welsch 1977)
CAUCHY_SCALE = 2.385

Evidence = Callable[[View], Floats]


@dataclass(frozen=True)
class CameraGuess:
    """What is known of the camera before the photo is measured."""

    focal_px: float
    focal_sigma_rel: float
    centre_px: tuple[float, float]
    k1_sigma: float


@dataclass(frozen=True)
class SolvedView:
    """The view in the frame of the first card, and what the fit says of itself."""

    view: View
    card_places: tuple[Floats, ...]  # per sighting (3,): x mm, y mm, turn rad; first is 0
    corner_rms_px: float  # of the chessboard corners
    rejected_rel: float  # share of corners that the loss all but ignores


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
        plane, sighting.points_px, k, None, flags=cv2.SOLVEPNP_IPPE
    )
    best = int(np.argmin(np.ravel(errors)[:n]))
    rotation, _ = cv2.Rodrigues(rotations[best])
    shift = np.ravel(shifts[best]) + np.asarray(rotation) @ np.array([0, 0, thickness_mm])
    return View.exact(k, [0.0], np.column_stack([rotation, shift]))


def place_in_world(points_mm: Floats, place: Floats) -> Floats:
    """Card points (N, 2), frame card, to the world frame; ``place`` (3,): x, y mm, turn rad."""
    c, s = np.cos(place[2]), np.sin(place[2])
    return np.asarray(points_mm @ np.array([[c, s], [-s, c]]) + place[:2], float)


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

    def corners(self, view: View, places: Floats) -> Floats:
        """Corner residuals in sigmas (N, 2)."""
        parts = []
        for index, seen in enumerate(self.sightings):
            place = places[index - 1] if index else np.zeros(3)
            at = view.project(place_in_world(seen.points_card_mm, place), self.thickness_mm)
            parts.append((at - seen.points_px) / seen.sigma_px[:, None])
        return np.concatenate(parts)

    def rest(self, view: View) -> Floats:
        """Prior and other evidence, in sigmas."""
        focal = (view.camera_matrix[0, 0] / self.guess.focal_px - 1) / self.guess.focal_sigma_rel
        prior = np.array([focal, view.dist[0] / self.guess.k1_sigma])
        return np.concatenate([prior, self.further(view)]) if self.evidence else prior

    def further(self, view: View) -> Floats:
        """Evidence other than corners and prior, in sigmas; at least one kind."""
        return np.concatenate([e(view) for e in self.evidence])

    def weighted(self, view: View, places: Floats, root_weight: Floats) -> Floats:
        corner = (self.corners(view, places) * root_weight[:, None]).ravel()
        return np.concatenate([corner, self.rest(view)])


#: steps of the numerical derivative of further evidence, in the units of `PARAMETERS`
_STEPS = np.array([1e-5, 1e-6, 1e-6, 1e-6, 1e-6, 1e-4, 1e-4, 1e-4])


def _seen_slopes(view: View, seen: Floats) -> tuple[Floats, Floats]:
    """Derivatives of pixels (N, 2) by camera points ``seen`` (N, 3): (N, 2, 3); and by focal
    length (relative) and k1: (N, 2, 2). The lens has k1 only (`guess_camera`)."""
    n = seen[:, :2] / seen[:, 2:]
    k1, focal = float(view.dist[0]), np.diag(view.camera_matrix)[:2]
    r2 = (n**2).sum(axis=1)[:, None]
    bent = n * (1 + k1 * r2)
    by_ideal = (1 + k1 * r2)[:, :, None] * np.eye(2) + 2 * k1 * n[:, :, None] * n[:, None, :]
    ideal = np.concatenate([np.broadcast_to(np.eye(2), (len(n), 2, 2)), -n[:, :, None]], axis=2)
    by_point = focal[:, None] * (by_ideal @ (ideal / seen[:, 2, None, None]))
    return by_point, np.stack([focal * bent, focal * n * r2], axis=2)


def _corner_slopes(problem: _Problem, view: View, places: Floats) -> Floats:
    """Derivatives (N, 2, 8 + 3 per further card) of the corner residuals, as `perturbed` and
    the cards' places move them."""
    rotation, shift = view.world_to_camera[:, :3], view.world_to_camera[:, 3]
    centre = view.camera_centre_mm
    pivot = rotation @ (centre + rotation[2] * (-centre[2] / rotation[2, 2])) + shift
    parts = []
    for index, sighting in enumerate(problem.sightings):
        place = places[index - 1] if index else np.zeros(3)
        at = place_in_world(sighting.points_card_mm, place)
        world = np.column_stack([at, np.full(len(at), -problem.thickness_mm)])
        seen = world @ rotation.T + shift
        by_point, by_lens = _seen_slopes(view, seen)
        slopes = np.zeros((len(at), 2, len(PARAMETERS) + 3 * len(places)))
        slopes[:, :, :2] = by_lens
        # a small turn r about the pivot moves a point by r x (point - pivot)
        turned = np.cross(np.eye(3)[None], (seen - pivot)[:, None])
        slopes[:, :, 2:5] = by_point @ turned.transpose(0, 2, 1)
        slopes[:, :, 5:8] = by_point
        if index:
            own = len(PARAMETERS) + 3 * (index - 1)
            by_world = by_point @ rotation
            away = at - place[:2]
            slopes[:, :, own : own + 2] = by_world[:, :, :2]
            slopes[:, :, own + 2] = (
                by_world[:, :, 1] * away[:, :1] - by_world[:, :, 0] * away[:, 1:]
            )
        parts.append(slopes / sighting.sigma_px[:, None, None])
    return np.concatenate(parts)


def _jacobian(problem: _Problem, view: View, places: Floats, root_weight: Floats) -> Floats:
    """Derivatives of `_Problem.weighted`: of the corners exact, of the rest by differences."""
    corners = _corner_slopes(problem, view, places) * root_weight[:, None, None]
    corners = corners.reshape(-1, corners.shape[2])
    prior = np.zeros((2, corners.shape[1]))
    prior[0, 0] = view.camera_matrix[0, 0] / problem.guess.focal_px / problem.guess.focal_sigma_rel
    prior[1, 1] = 1 / problem.guess.k1_sigma
    if not problem.evidence:
        return np.concatenate([corners, prior])
    here = problem.further(view)
    columns = [
        (problem.further(view.perturbed(change)) - here) / step
        for change, step in zip(np.diag(_STEPS), _STEPS, strict=True)
    ]
    further = np.zeros((len(columns[0]), corners.shape[1]))
    further[:, : len(PARAMETERS)] = np.column_stack(columns)
    return np.concatenate([corners, prior, further])


def _root_weight(problem: _Problem, view: View, places: Floats, factor: float) -> Floats:
    size = np.hypot(*problem.corners(view, places).T) / factor
    return np.asarray(1 / np.sqrt(1 + (size / CAUCHY_SCALE) ** 2), float)


def _noise_factor(problem: _Problem, view: View, places: Floats) -> float:
    """Ratio of the observed to the assumed corner noise (median of Rayleigh: 1.1774)."""
    size = np.hypot(*problem.corners(view, places).T)
    return float(np.clip(np.median(size) / 1.1774, 0.3, 20))


def solve_view(
    sightings: Sequence[CardSighting],
    guess: CameraGuess,
    *,
    thickness_mm: float,
    evidence: Sequence[Evidence] = (),
    start: SolvedView | None = None,
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
    evidence : sequence of callables
        Each maps a `View` in this frame to residuals in sigmas (straight rims, round shells).
    start : SolvedView, optional
        An earlier fit to begin with.

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
    problem = _Problem(sightings, guess, thickness_mm, evidence)
    damping, factor = 1e-3, _noise_factor(problem, view, places)
    weight = _root_weight(problem, view, places, factor)
    for _ in range(40):
        now = problem.weighted(view, places, weight / factor)
        jac = _jacobian(problem, view, places, weight / factor)
        normal, gradient = jac.T @ jac, jac.T @ now
        step = -np.linalg.solve(normal + damping * np.diag(np.diag(normal)), gradient)
        tried, moved = view.perturbed(step[:8]), places + step[8:].reshape(-1, 3)
        then = problem.weighted(tried, moved, weight / factor)
        if then @ then > now @ now * (1 + 1e-9):
            damping *= 8
            if damping > 1e6:
                break
            continue
        gain = now @ now - then @ then
        view, places, damping = tried, moved, damping / 6
        factor = _noise_factor(problem, view, places)
        weight = _root_weight(problem, view, places, factor)
        if gain < 1e-5 * (now @ now):
            break
    return _solved(problem, view, places, weight / factor)


def _solved(problem: _Problem, view: View, places: Floats, weight: Floats) -> SolvedView:
    jac = _jacobian(problem, view, places, weight)
    try:
        covariance = np.asarray(np.linalg.inv(jac.T @ jac)[:8, :8], float)
    except np.linalg.LinAlgError as fault:
        raise CardError(
            what="the card gives no view of the tray",
            why="its corners do not fit any flat card",
            next_step="lay the card flat and whole on the liner and retake",
        ) from fault
    residual_px = problem.corners(view, places) * np.concatenate(
        [s.sigma_px for s in problem.sightings]
    ).reshape(-1, 1)
    chess = np.concatenate(
        [np.arange(len(s.points_px)) < s.chess_corners for s in problem.sightings]
    )
    relative = weight / weight.max()
    view = View(view.camera_matrix, view.dist, view.world_to_camera, covariance)
    return SolvedView(
        view,
        (np.zeros(3), *places),
        float(np.sqrt((residual_px[chess] ** 2).sum(axis=1).mean() / 2)),
        float((relative[chess] < 0.3).mean()),
    )
