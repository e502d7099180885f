"""How a photo sees the tray: pinhole camera with Brown-Conrady distortion above a plane.

Frames: ``world`` is right-handed in millimetres, x right, y down, z away from the camera;
z = 0 is the liner's top surface, so that a point of height h lies at z = -h. ``px`` as in
`petitpied.domain.photo.Photo`.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

#: order of `View.covariance`: focal length (relative), k1, rotation vector (rad), shift (mm),
#: then the rest of the lens: distortion and principal point
PARAMETERS = (
    *("f_rel", "k1", "rx_rad", "ry_rad", "rz_rad", "tx_mm", "ty_mm", "tz_mm"),
    *("k2", "cx_px", "cy_px", "p1", "p2", "k3"),
)


def rotation_matrix(rotation_rad: ArrayLike) -> Floats:
    """Rotation matrix (3, 3) of a rotation vector, radians (Rodrigues' formula)."""
    v = np.asarray(rotation_rad, float)
    angle = float(np.linalg.norm(v))
    if angle < 1e-12:
        x, y, z = v
        return np.array([[1.0, -z, y], [z, 1.0, -x], [-y, x, 1.0]])
    x, y, z = v / angle
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * (cross @ cross))


def distort(normalised: Floats, dist: Floats) -> Floats:
    """Ideal normalised image points (N, 2) to distorted ones.

    Brown-Conrady model in OpenCV's order ``dist = (k1, k2, p1, p2, k3)``.
    """
    x, y = normalised[..., 0], normalised[..., 1]
    bent = np.empty(normalised.shape)
    bent[..., 0], bent[..., 1] = _distorted(x, y, x * x + y * y, dist)
    return bent


def _distorted(x: Floats, y: Floats, r2: Floats, dist: Floats) -> tuple[Floats, Floats]:
    k1, k2, p1, p2, k3 = dist.tolist()
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    if p1 == 0.0 and p2 == 0.0:
        return x * radial, y * radial
    across = 2 * x * y
    return (
        x * radial + p1 * across + p2 * (r2 + 2 * x * x),
        y * radial + p1 * (r2 + 2 * y * y) + p2 * across,
    )


def undistort(distorted: Floats, dist: Floats) -> Floats:
    """Inverse of `distort`, by Newton steps along the radius, to 1e-11 or 60 rounds.

    Rays beyond 79 degrees from the axis, which no lens of this model has, are kept at that:
    a distortion that folds the picture would send the iteration to infinity.
    """
    if not dist.any() or distorted.size == 0:
        return distorted.copy()
    k1, k2, _, _, k3 = dist.tolist()
    # coordinates apart: these small arrays are undistorted a hundred times a photo
    seen_x, seen_y = np.moveaxis(distorted, -1, 0).copy()
    x, y = seen_x, seen_y
    for _ in range(60):
        r2 = x * x + y * y
        bent_x, bent_y = _distorted(x, y, r2, dist)
        slope = np.maximum(1 + r2 * (3 * k1 + r2 * (5 * k2 + r2 * 7 * k3)), 0.5)
        step_x, step_y = seen_x - bent_x, seen_y - bent_y
        x = (x + step_x / slope).clip(-5.0, 5.0)
        y = (y + step_y / slope).clip(-5.0, 5.0)
        if max(abs(step_x).max(), abs(step_y).max()) < 1e-11:
            break
    return np.stack([x, y], axis=-1)


@dataclass(frozen=True)
class View:
    """Camera and pose of one photo.

    ``camera_matrix`` (3, 3) in pixels; ``dist`` (5,), OpenCV's order; ``world_to_camera``
    (3, 4): rotation and shift (mm). ``covariance`` (14, 14) of `PARAMETERS`, the pose being
    perturbed as in `perturbed`; zeros where the view is exact. A covariance of the first
    parameters alone is filled up with zeros.
    """

    camera_matrix: Floats
    dist: Floats
    world_to_camera: Floats
    covariance: Floats

    def __post_init__(self) -> None:
        given = np.asarray(self.covariance, float)
        if given.shape[0] < len(PARAMETERS):
            whole = np.zeros((len(PARAMETERS), len(PARAMETERS)))
            whole[: len(given), : len(given)] = given
            object.__setattr__(self, "covariance", whole)

    @staticmethod
    def exact(camera_matrix: ArrayLike, dist: ArrayLike, world_to_camera: ArrayLike) -> "View":
        """A view without uncertainty (truth of a scene, or the start of a fit)."""
        full = np.zeros(5)
        given = np.asarray(dist, float).ravel()
        full[: len(given)] = given
        return View(
            np.array(camera_matrix, float),
            full,
            np.array(world_to_camera, float),
            np.zeros((len(PARAMETERS), len(PARAMETERS))),
        )

    @property
    def camera_centre_mm(self) -> Floats:
        """Where the camera is, world frame (3,); its height above the liner is ``-z``."""
        rotation, shift = self.world_to_camera[:, :3], self.world_to_camera[:, 3]
        return -rotation.T @ shift

    @property
    def tilt_deg(self) -> float:
        """Angle between the optical axis and the liner's normal."""
        return float(np.rad2deg(np.arccos(np.clip(self.world_to_camera[2, 2], -1, 1))))

    def project(self, points_mm: ArrayLike, height_mm: ArrayLike = 0.0) -> Floats:
        """World points (N, 2) at ``height_mm`` above the liner (scalar or (N,)) to px (N, 2)."""
        xy = np.atleast_2d(np.asarray(points_mm, float))
        z = np.broadcast_to(-np.asarray(height_mm, float), xy.shape[:1])
        world = np.column_stack([xy, z])
        seen = world @ self.world_to_camera[:, :3].T + self.world_to_camera[:, 3]
        bent = distort(seen[:, :2] / seen[:, 2:], self.dist)
        return np.asarray(bent @ self.camera_matrix[:2, :2].T + self.camera_matrix[:2, 2], float)

    def to_plane(self, points_px: ArrayLike, height_mm: ArrayLike = 0.0) -> Floats:
        """Pixels (N, 2) to world points (N, 2) on the plane ``height_mm`` above the liner."""
        px = np.atleast_2d(np.asarray(points_px, float))
        (a, b), (c, d) = self.camera_matrix[:2, :2].tolist()
        inverse = np.array([[d, -c], [-b, a]]) / (a * d - b * c)  # transposed
        ideal = undistort((px - self.camera_matrix[:2, 2]) @ inverse, self.dist)
        rotation, centre = self.world_to_camera[:, :3], self.camera_centre_mm
        rays = ideal @ rotation[:2] + rotation[2]
        reach = (-np.asarray(height_mm, float) - centre[2]) / rays[:, 2]
        return np.asarray(centre[:2] + rays[:, :2] * reach[:, None], float)

    def perturbed(self, change: ArrayLike) -> "View":
        """The view after a small change of `PARAMETERS` (14,), or of the first of them.

        Focal length times ``1 + f_rel``; the rest of the lens added; pose: ``R' = exp(r) R``,
        ``t' = exp(r) t + t_change`` would swing far points, so the rotation turns about the
        point of the liner on the optical axis and the shift is added after.
        """
        d = np.zeros(len(PARAMETERS))
        d[: np.size(change)] = change
        k = self.camera_matrix.copy()
        k[0, 0] *= 1 + d[0]
        k[1, 1] *= 1 + d[0]
        k[:2, 2] += d[9:11]
        dist = self.dist + d[[1, 8, 11, 12, 13]]
        rotation, shift = self.world_to_camera[:, :3], self.world_to_camera[:, 3]
        turn = rotation_matrix(d[2:5])
        centre = self.camera_centre_mm
        axis = rotation[2]
        pivot_world = centre + axis * (-centre[2] / axis[2])
        pivot = rotation @ pivot_world + shift
        new_shift = turn @ (shift - pivot) + pivot + d[5:8]
        return replace(
            self,
            camera_matrix=k,
            dist=dist,
            world_to_camera=np.column_stack([turn @ rotation, new_shift]),
        )

    def moved(self, origin_mm: ArrayLike, turn_deg: float) -> "View":
        """The same view in a new world frame of the same plane.

        The new frame has its origin at ``origin_mm`` (2,) of the old one and its x axis
        turned by ``turn_deg`` from the old x axis towards the old y axis.
        """
        a = np.deg2rad(turn_deg)
        turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1.0]])
        origin = np.array([*np.asarray(origin_mm, float), 0.0])
        rotation, shift = self.world_to_camera[:, :3], self.world_to_camera[:, 3]
        return replace(
            self,
            world_to_camera=np.column_stack([rotation @ turn, rotation @ origin + shift]),
        )

    def px_per_mm(self, point_mm: ArrayLike) -> float:
        """Local scale at a point of the liner: square root of the area magnification."""
        p = np.asarray(point_mm, float)
        corners = self.project(p + np.array([[-0.5, 0], [0.5, 0], [0, -0.5], [0, 0.5]]))
        a, b = corners[1] - corners[0], corners[3] - corners[2]
        return float(np.sqrt(abs(a[0] * b[1] - a[1] * b[0])))
