"""Photos of a flat chart to the lens: focal length, principal point, distortion, and how sure.

Z. Zhang, "A flexible new technique for camera calibration" (2000), by OpenCV's calibrateCamera;
then the covariance of the lens from the reduced normal equations (each photo's pose eliminated).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.errors import LensError
from petitpied.domain.lens import LENS_PARAMETERS

Floats = NDArray[np.float64]

#: corners farther off than this many robust standard deviations are dropped (covered, glare):
#: of normal errors one in 16,000 is
OUTLIER_SIGMAS = 4.5
#: a sixth-power distortion is taken up if it is this many standard uncertainties from zero
EARNS_ITS_PLACE = 4.0


@dataclass(frozen=True)
class Corners:
    """One photo's chart corners: (N, 2) squares and (N, 2) px."""

    squares: Floats
    px: Floats


@dataclass(frozen=True)
class Calibration:
    """A lens fitted to photos of a chart; lengths in squares. ``covariance`` (8, 8) of
    `LENS_PARAMETERS`; ``rotations`` (P, 3), ``shifts`` (P, 3) of the chart in each photo;
    ``residuals_px`` (N, 2) a photo; ``stretch_rel``: width of the chart's squares over their
    height, less 1, with its standard uncertainty."""

    focal_px: float
    centre_px: tuple[float, float]
    dist: Floats
    covariance: Floats
    rotations: Floats
    shifts: Floats
    corners: tuple[Corners, ...]
    residuals_px: tuple[Floats, ...]
    stretch_rel: float
    stretch_u_rel: float

    @property
    def rms_px(self) -> float:
        """Root mean square distance of corners seen and predicted, as OpenCV states it."""
        return float(np.sqrt((np.concatenate(self.residuals_px) ** 2).sum(axis=1).mean()))

    @property
    def camera_matrix(self) -> Floats:
        cx, cy = self.centre_px
        return np.array([[self.focal_px, 0, cx], [0, self.focal_px, cy], [0, 0, 1]])


def calibrate(photos: Sequence[Corners], size_px: tuple[int, int]) -> Calibration:
    """Fit one lens to all photos; square pixels; k3 only where it earns its place.

    Raises
    ------
    LensError
        If no lens fits (all photos square-on, or nonsense).
    """
    plain = _without_outliers(_fitted(photos, size_px, False), size_px, False)
    full = _fitted(plain.corners, size_px, True)
    sigma = float(np.sqrt(full.covariance[7, 7]))
    earned = abs(full.dist[4]) > EARNS_ITS_PLACE * sigma
    return _without_outliers(full, size_px, True) if earned else plain


def _solid(squares: Floats) -> Floats:
    return np.column_stack([squares, np.zeros(len(squares))]).astype(np.float32)


def _fitted(photos: Sequence[Corners], size_px: tuple[int, int], with_k3: bool) -> Calibration:
    flags = cv2.CALIB_FIX_ASPECT_RATIO | (0 if with_k3 else cv2.CALIB_FIX_K3)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 100, 1e-10)
    try:
        _, k, dist, rotations, shifts = cv2.calibrateCamera(
            [_solid(p.squares) for p in photos],
            [p.px.astype(np.float32).reshape(-1, 1, 2) for p in photos],
            size_px, np.eye(3), np.zeros(5), flags=flags, criteria=criteria,
        )  # fmt: skip
    except cv2.error as fault:
        raise _no_lens() from fault
    numbers = [k, dist, *rotations, *shifts]
    if not all(np.isfinite(n).all() for n in numbers) or not 1 < k[0, 0] < 1e6:
        raise _no_lens()
    nothing = np.zeros((len(LENS_PARAMETERS), len(LENS_PARAMETERS)))
    lens = Calibration(
        float(k[0, 0]), (float(k[0, 2]), float(k[1, 2])), np.ravel(dist)[:5].astype(float),
        nothing, np.array(rotations, float).reshape(-1, 3), np.array(shifts, float).reshape(-1, 3),
        tuple(photos), (), 0.0, 0.0,
    )  # fmt: skip
    return _with_doubt(lens, with_k3)


def _no_lens() -> LensError:
    return LensError(
        what="no lens fits the photos of the chart",
        why="the chart seems to be seen square-on in all of them, or they do not belong together",
        next_step="take 8 or more photos of the chart lying flat, from different sides, tilted by "
        "up to 40 degrees, all with the same lens and zoom",
    )


def _without_outliers(lens: Calibration, size_px: tuple[int, int], with_k3: bool) -> Calibration:
    """Once more without the corners that do not fit."""
    size = [np.hypot(*r.T) for r in lens.residuals_px]
    scale = float(np.median(np.concatenate(size))) / 1.1774  # median of Rayleigh's distribution
    keep = [s <= OUTLIER_SIGMAS * scale for s in size]
    if all(k.all() for k in keep) or any(k.sum() < 6 for k in keep):
        return lens
    kept = [Corners(p.squares[k], p.px[k]) for p, k in zip(lens.corners, keep, strict=True)]
    return _fitted(kept, size_px, with_k3)


def _photo_slopes(lens: Calibration, index: int) -> tuple[Floats, Floats, Floats]:
    """Residuals (2N,), slopes by the lens and the chart's stretch (2N, 9), by the pose (2N, 6)."""
    photo, k = lens.corners[index], lens.camera_matrix
    pose = lens.rotations[index], lens.shifts[index]
    at = np.column_stack([photo.squares, np.zeros(len(photo.squares))])
    seen, jac = cv2.projectPoints(at, *pose, k, lens.dist)
    residual = (photo.px - seen.reshape(-1, 2)).ravel()
    by_lens = np.empty((len(residual), len(LENS_PARAMETERS) + 1))
    by_lens[:, 0] = lens.focal_px * (jac[:, 6] + jac[:, 7])
    by_lens[:, 1:3], by_lens[:, 3:5], by_lens[:, 5:8] = jac[:, 10:12], jac[:, 8:10], jac[:, 12:15]
    stretched = at * [1 + 5e-6, 1 - 5e-6, 1]
    more, _ = cv2.projectPoints(stretched, *pose, k, lens.dist)
    by_lens[:, 8] = (more.reshape(-1, 2) - seen.reshape(-1, 2)).ravel() / 1e-5
    return residual, by_lens, np.asarray(jac[:, :6], float)


def _with_doubt(lens: Calibration, with_k3: bool) -> Calibration:
    """Residuals and covariances added.

    Corners of one photo err together (a curled sheet, a blur): the covariance of independent
    corners is scaled up, where needed, to what the photos' disagreement shows (the clustered
    sandwich estimator of Liang and Zeger, 1986, mean over the parameters).
    """
    free = np.array([i for i in range(9) if with_k3 or i != 7])
    reduced, gradients, residuals, count = np.zeros((9, 9)), [], [], 0
    for index in range(len(lens.corners)):
        residual, by_lens, by_pose = _photo_slopes(lens, index)
        inner = np.linalg.solve(
            by_pose.T @ by_pose, by_pose.T @ np.column_stack([by_lens, residual])
        )
        rest = np.column_stack([by_lens, residual]) - by_pose @ inner
        reduced += by_lens.T @ rest[:, :9]
        gradients.append(by_lens.T @ rest[:, 9])
        residuals.append(residual.reshape(-1, 2))
        count += len(residual) - 6
    variance = float((np.concatenate(residuals) ** 2).sum()) / max(count - len(free), 1)
    fixed = free[:-1]  # the stretch is a question put to the fit, no part of it
    covariance = np.zeros((8, 8))
    bread = np.linalg.inv(reduced[np.ix_(fixed, fixed)])
    meat = np.array(gradients)[:, fixed]
    sandwich = bread @ (meat.T @ meat) @ bread * len(meat) / max(len(meat) - 1, 1)
    excess = max(1.0, float(np.mean(np.diag(sandwich) / np.diag(variance * bread))))
    covariance[np.ix_(fixed, fixed)] = variance * excess * bread
    with_stretch = np.linalg.inv(reduced[np.ix_(free, free)])
    shift = with_stretch @ np.sum(gradients, axis=0)[free]
    return replace(
        lens,
        covariance=covariance,
        residuals_px=tuple(residuals),
        stretch_rel=float(shift[-1]),
        stretch_u_rel=float(np.sqrt(variance * excess * with_stretch[-1, -1])),
    )
