"""From how far off straight above was a photo taken, as its own pieces show it, without a card?

Seen at a slant, round pieces look flattened all the same way, and those farther off look smaller.
Where both tell one slant it is known, and can be taken out: a plane's vanishing line from its
texture (Witkin, "Recovering surface shape and orientation from texture", 1981). Where pieces are
flattened and do not grow smaller, they may have been piped so.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.view import View, rotation_matrix

Floats = NDArray[np.float64]

#: fewer pieces tell no slant
FEWEST = 5
#: pieces' own flattening and own size, as standard deviations of the numbers compared here: piped
#: by hand they are out of round by 4 to 8 %, and unlike in size by as much (real trays looked at)
ROUND_SIGMA, SIZE_SIGMA = 0.06, 0.07
#: a slant is told from this angle on, where sizes show it by this many standard uncertainties,
#: and taken out from the larger on: below, round pieces look flattened by less than a hand pipes
TOLD_DEG, TAKEN_OUT_DEG, SIGNIFICANT = 12.0, 22.0, 3.5
#: flattening by that much, pieces alike, is told even where sizes do not bear it out
FLAT_TOLD = 0.10
#: a slant that sizes show is borne out if the flattening is the one it would give, to that many of
#: its standard uncertainties and as much besides, at one of these focal lengths, relative
BORNE_OUT, BORNE_OUT_BESIDES, FOCALS_REL = 2.5, 0.05, np.linspace(0.5, 2.0, 16)
#: how well the focal length is known from the photo's header, and if that does not tell it: most
#: pictures without one were cut (standard deviations of its logarithm; common practice, no source)
KNOWN_SIGMA_LOG, UNKNOWN_SIGMA_LOG = 0.03, 0.35
#: pieces stand on a plane seen at no more than this
STEEPEST_DEG = 65.0


@dataclass(frozen=True)
class PiecesSlant:
    """``angle_deg``: from straight above; ``aspect_ratio``: how flat round pieces look; ``view``:
    a view that takes the slant out, in which a millimetre is about a pixel of the photo; None
    where it is too small for that, or where sizes do not bear it out (``sure`` is False)."""

    angle_deg: float
    aspect_ratio: float
    sure: bool
    view: View | None


@dataclass(frozen=True)
class PhotoFrame:
    """A photo's sides and focal length, px, and how well that is known (of its logarithm)."""

    size_px: tuple[int, int]
    focal_px: float
    focal_sigma_log: float

    @property
    def middle(self) -> Floats:
        return (np.array(self.size_px) - 1) / 2


def tilted_view(slope: Floats, focal_px: float, middle_px: Floats) -> View:
    """A camera looking down on a plane whose depth grows by ``slope`` (2,), along x and y of the
    photo, per unit across; a millimetre is a pixel in the picture's middle."""
    steep = float(np.hypot(*slope))
    axis = np.array([slope[1], -slope[0], 0.0]) / max(steep, 1e-12)
    rotation = rotation_matrix(np.arctan(steep) * axis)
    matrix = np.diag([focal_px, focal_px, 1.0])
    matrix[:2, 2] = middle_px
    # the optical axis meets the plane at as many mm as the focal length has px, and there lies
    # the photo's middle in the plane's own frame, so that small slants hardly move a thing
    shift = np.array([0.0, 0.0, focal_px]) - rotation @ np.array([*middle_px, 0.0])
    return View.exact(matrix, [0.0], np.column_stack([rotation, shift]))


def pieces_slant(outlines_px: Sequence[Floats], frame: PhotoFrame) -> PiecesSlant | None:
    """The slant that pieces with closed outlines, (N, 2) px each, show; None where they show
    none."""
    if len(outlines_px) < FEWEST:
        return None
    moments = [_moments(outline) for outline in outlines_px]
    centres, seconds = (np.array([one[i] for one in moments]) for i in (0, 1))
    flat = _flattening(seconds)
    mean = np.median(flat, axis=0)
    doubt = 1.25 * _spread(flat) / np.sqrt(len(flat))
    by_size, covariance = _by_size(centres, seconds, frame)
    sigmas = float(np.sqrt(by_size @ np.linalg.solve(covariance, by_size)))
    beside = [float(np.hypot(*(_flat_of(by_size * rel) - mean))) for rel in FOCALS_REL]
    borne_out = min(beside) < BORNE_OUT * doubt + BORNE_OUT_BESIDES
    if sigmas > SIGNIFICANT and borne_out:
        slope, focal_px = _joint(centres, seconds, by_size, frame)
        angle_deg = float(np.rad2deg(np.arctan(np.hypot(*slope))))
        if angle_deg >= TOLD_DEG:
            taken_out = angle_deg >= TAKEN_OUT_DEG
            view = tilted_view(slope, focal_px, frame.middle) if taken_out else None
            return PiecesSlant(angle_deg, float(np.cos(np.deg2rad(angle_deg))), True, view)
    much = float(np.hypot(*mean))
    aspect = float(np.sqrt((1 - much) / (1 + much)))
    if much > SIGNIFICANT * doubt and 1 - aspect > FLAT_TOLD:
        return PiecesSlant(float(np.rad2deg(np.arccos(aspect))), aspect, False, None)
    return None


def _flat_of(slope: Floats) -> Floats:
    """Flattening (2,), as `_flattening` has it, of round pieces on a plane of this slope."""
    squared = float(slope @ slope)
    across = np.array([-slope[1], slope[0]])
    double = np.array([across[0] ** 2 - across[1] ** 2, 2 * across[0] * across[1]])
    return np.asarray(double / (2 + squared), float)


def _spread(values: Floats) -> float:
    """Robust standard deviation of vectors (S, 2) about their median."""
    away = np.hypot(*(values - np.median(values, axis=0)).T)
    return max(float(np.median(away)) / 1.1774, ROUND_SIGMA / 2)


def _moments(outline_px: Floats) -> tuple[Floats, Floats]:
    """Centroid (2,) and second moments (2, 2) of the area inside a closed outline."""
    found = cv2.moments(np.asarray(outline_px, np.float32))
    area = found["m00"]
    centre = np.array([found["m10"], found["m01"]]) / area
    seconds = np.array([[found["mu20"], found["mu11"]], [found["mu11"], found["mu02"]]]) / area
    return centre, seconds


def _flattening(moments: Floats) -> Floats:
    """Flattening (S, 2): length (1 - q^2) / (1 + q^2) of the aspect ratio q, at twice the angle
    of the longer axis."""
    trace = moments[:, 0, 0] + moments[:, 1, 1]
    along = np.column_stack([moments[:, 0, 0] - moments[:, 1, 1], 2 * moments[:, 0, 1]])
    return np.asarray(along / trace[:, None], float)


def _sizes(moments: Floats) -> Floats:
    """Logarithms (S,) of the pieces' linear sizes."""
    return np.asarray(np.log(np.linalg.det(moments)) / 4, float)


def _by_size(centres: Floats, moments: Floats, frame: PhotoFrame) -> tuple[Floats, Floats]:
    """Slope (2,) of the plane from sizes alone, and its covariance: to first order a piece's
    linear size goes with the depth to the power -3/2 (its area's Jacobian is of third order)."""
    at = (centres - frame.middle) / frame.focal_px
    terms = np.column_stack([np.ones(len(at)), -1.5 * at])
    sizes = _sizes(moments)
    weight = np.ones(len(at))
    for _ in range(8):
        rows = terms * weight[:, None]
        inverse = np.linalg.pinv(rows.T @ terms)
        fit = inverse @ rows.T @ sizes
        off = sizes - terms @ fit
        sigma = max(1.4826 * float(np.median(np.abs(off))), SIZE_SIGMA / 2)
        weight = 1 / (1 + (off / (2.4 * sigma)) ** 2)
    return np.asarray(fit[1:], float), np.asarray(inverse[1:, 1:] * sigma**2, float)


def _joint(
    centres: Floats, moments: Floats, start: Floats, frame: PhotoFrame
) -> tuple[Floats, float]:
    """The slope (2,) and focal length, px, at which pieces are as round and alike as can be."""
    from scipy.optimize import least_squares  # takes a third of a second

    steps = 0.5 * np.array([[-1.0, 0], [1, 0], [0, -1], [0, 1]])
    around = (centres[:, None] + steps).reshape(-1, 2)
    steepest = np.tan(np.deg2rad(STEEPEST_DEG))

    def parts(state: Floats) -> tuple[Floats, float]:
        slope = state[:2] * min(1.0, steepest / max(float(np.hypot(*state[:2])), 1e-12))
        return slope, frame.focal_px * float(np.exp(state[2]))

    def residuals(state: Floats) -> Floats:
        view = tilted_view(*parts(state), frame.middle)
        at = view.to_plane(around).reshape(-1, 4, 2)
        jacobian = np.stack([at[:, 1] - at[:, 0], at[:, 3] - at[:, 2]], axis=2)
        true = jacobian @ moments @ np.swapaxes(jacobian, 1, 2)
        sizes = _sizes(true)
        alike = (sizes - np.median(sizes)) / SIZE_SIGMA
        known = state[2] / frame.focal_sigma_log
        return np.array([*(_flattening(true).ravel() / ROUND_SIGMA), *alike, known])

    found = least_squares(residuals, np.array([*start, 0.0]), loss="soft_l1").x
    return parts(np.asarray(found, float))
