"""Where the camera stands, its lens, and projection. Truth for the picture; numpy only.

Camera frame: x right, y down, z forward. Pixel (0, 0) is the centre of the first pixel of the
picture as displayed. Distortion is Brown-Conrady in OpenCV's order (k1, k2, p1, p2).
"""

from dataclasses import dataclass

import numpy as np

from tests.traced.mesh import Array

FILM_DIAGONAL_MM = 43.27  # of the 24 x 36 mm frame that 35-mm focal lengths refer to


@dataclass(frozen=True, slots=True)
class Camera:
    width_px: int
    height_px: int
    focal_35mm: float
    focal_px: float
    centre_px: tuple[float, float]
    distortion: tuple[float, float, float, float]
    world_to_camera: Array  # (3, 4)

    @property
    def place_mm(self) -> Array:
        m = self.world_to_camera
        return -m[:, :3].T @ m[:, 3]

    @property
    def tilt_deg(self) -> float:
        """Angle between the optical axis and straight down."""
        return float(np.degrees(np.arccos(np.clip(-self.world_to_camera[2, 2], -1, 1))))

    def project(self, points_mm: Array) -> Array:
        """Tray places (N, 3) to pixels (N, 2) of the displayed picture."""
        c = points_mm @ self.world_to_camera[:, :3].T + self.world_to_camera[:, 3]
        d = distort(c[:, :2] / c[:, 2:], self.distortion)
        return d * self.focal_px + self.centre_px

    def ideal(self, pixels: Array) -> Array:
        """Pixels (..., 2) to undistorted normalised coordinates."""
        wanted = (pixels - np.asarray(self.centre_px)) / self.focal_px
        x = wanted.copy()
        for _ in range(20):  # contraction; the distortions used here settle in a few rounds
            x = x + (wanted - distort(x, self.distortion))
        return x


def distort(xy: Array, distortion: tuple[float, float, float, float]) -> Array:
    """Ideal normalised coordinates (..., 2) to distorted ones (Brown-Conrady)."""
    k1, k2, p1, p2 = distortion
    x, y = xy[..., 0], xy[..., 1]
    r2 = x * x + y * y
    c = 1 + k1 * r2 + k2 * r2 * r2
    return np.stack([x * c + 2 * p1 * x * y + p2 * (r2 + 2 * x * x),
                     y * c + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y], -1)


@dataclass(frozen=True, slots=True)
class Standpoint:
    """How the photo is taken: ``towards_mm`` is where the optical axis meets the liner."""

    focal_35mm: float
    height_mm: float
    tilt_deg: float
    tilt_direction_deg: float
    roll_deg: float
    towards_mm: tuple[float, float]
    corner_distortion_rel: float
    size_px: tuple[int, int] = (4032, 3024)


def camera_from(stand: Standpoint, rng: np.random.Generator) -> Camera:
    """The camera at a standpoint, with a principal point a few pixels off the middle."""
    width, height = stand.size_px
    diagonal = float(np.hypot(width, height))
    focal = stand.focal_35mm / FILM_DIAGONAL_MM * diagonal * rng.uniform(0.995, 1.005)
    tilt, towards = np.radians(stand.tilt_deg), np.radians(stand.tilt_direction_deg)
    forward = np.array([np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards),
                        np.cos(tilt)])  # right-handed: z down
    right = np.array([1.0, 0, 0]) - forward[0] * forward
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    roll = np.radians(stand.roll_deg)
    right, down = (np.cos(roll) * right + np.sin(roll) * down,
                   np.cos(roll) * down - np.sin(roll) * right)
    rotation = np.stack([right, down, forward]) @ np.diag([1.0, 1.0, -1.0])
    axis = forward * [1, 1, -1]
    place = np.array([*stand.towards_mm, 0.0]) - axis * stand.height_mm / np.cos(tilt)
    corner2 = (diagonal / 2 / focal) ** 2
    k1 = stand.corner_distortion_rel / corner2
    k2 = -0.12 * stand.corner_distortion_rel / corner2**2
    centre = ((width - 1) / 2 + rng.normal(0, 5), (height - 1) / 2 + rng.normal(0, 5))
    return Camera(width, height, stand.focal_35mm, focal, centre, (k1, k2, 0.0, 0.0),
                  np.hstack([rotation, -(rotation @ place)[:, None]]))
