"""Photos of the lens chart through a known lens: the chart's picture projected by ray and plane,
apart from the package's own code; blur, noise and JPEG as of a phone."""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

SQUARE_MM, SQUARES, MARKER_MM, FIRST = 22.0, (11, 8), 16.0, 56
BOARD_MM = (SQUARE_MM * SQUARES[0], SQUARE_MM * SQUARES[1])
PX_PER_MM = 10
MARGIN_MM = 12.0


@dataclass(frozen=True)
class Lens:
    """A pinhole camera with radial distortion: the truth of a set of photos."""

    size_px: tuple[int, int] = (1600, 1200)
    focal_px: float = 1500.0
    centre_px: tuple[float, float] = (806.0, 594.0)
    k1: float = 0.06
    k2: float = -0.05

    def scaled(self, factor):
        """The same lens with ``factor`` times the pixels a side."""
        size = tuple(round(s * factor) for s in self.size_px)
        centre = tuple((c + 0.5) * factor - 0.5 for c in self.centre_px)
        return Lens(size, self.focal_px * factor, centre, self.k1, self.k2)

    def bend(self, ideal):
        r2 = (ideal**2).sum(axis=-1, keepdims=True)
        return ideal * (1 + self.k1 * r2 + self.k2 * r2 * r2)

    def straighten(self, bent):
        """Inverse of `bend` by fixed-point rounds, each some ten times nearer."""
        ideal = bent
        for _ in range(12):
            r2 = (ideal**2).sum(axis=-1, keepdims=True)
            ideal = bent / (1 + r2 * (self.k1 + r2 * self.k2))
        return ideal

    def project(self, points):
        """Camera points (N, 3) to px."""
        return self.bend(points[:, :2] / points[:, 2:]) * self.focal_px + self.centre_px


@lru_cache(maxsize=2)
def chart_face(stretch=1.0):
    """The chart in grey with a white margin, PX_PER_MM; pixel j covers [j, j + 1] / PX_PER_MM."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    ids = np.arange(FIRST, FIRST + 44)
    board = cv2.aruco.CharucoBoard(SQUARES, SQUARE_MM, MARKER_MM, dictionary, ids)
    size = tuple(round(v * PX_PER_MM) for v in BOARD_MM)
    face = board.generateImage(size, marginSize=0, borderBits=1)
    edge = round(MARGIN_MM * PX_PER_MM)
    face = cv2.copyMakeBorder(face, edge, edge, edge, edge, cv2.BORDER_CONSTANT, value=255)
    if stretch != 1.0:
        face = cv2.resize(face, None, fx=stretch, fy=1.0, interpolation=cv2.INTER_LINEAR)
    return face


def pose(yaw_deg, pitch_deg, distance_mm, shift_rel=(0.0, 0.0), roll_deg=0.0):
    """Rotation (3, 3) and shift (3,) of the board's frame; its middle stands on the ray
    ``shift_rel`` (image plane, focal lengths) at ``distance_mm``."""
    turns = [np.array([np.deg2rad(pitch_deg), 0, 0]), np.array([0, np.deg2rad(yaw_deg), 0])]
    rotation = cv2.Rodrigues(turns[0])[0] @ cv2.Rodrigues(turns[1])[0]
    rotation = rotation @ cv2.Rodrigues(np.array([0, 0, np.deg2rad(roll_deg)]))[0]
    middle = np.array([*shift_rel, 1.0]) * distance_mm
    return rotation, middle - rotation @ np.array([BOARD_MM[0] / 2, BOARD_MM[1] / 2, 0])


def board_points(squares, at):
    """Camera points (N, 3) of board corners in squares."""
    rotation, shift = at
    flat = np.column_stack([np.asarray(squares) * SQUARE_MM, np.zeros(len(squares))])
    return flat @ rotation.T + shift


@lru_cache(maxsize=1)
def rays_of(lens):
    """Where each pixel looks, camera frame (H, W, 2) at z = 1; float32 is good to 0.001 px."""
    width, height = lens.size_px
    rays = np.empty((height, width, 2), np.float32)
    for row in range(0, height, 64):  # by bands, for the memory's sake
        y, x = np.mgrid[row : min(row + 64, height), :width].astype(float)
        bent = np.stack([x - lens.centre_px[0], y - lens.centre_px[1]], -1) / lens.focal_px
        rays[row : row + 64] = lens.straighten(bent)
    return rays


def photograph(lens, at, rng, *, noise=2.0, blur_px=0.8, quality=92, stretch=1.0, extra=None):
    """Grey picture (H, W) uint8. ``extra`` (face, place mm, px a mm): one more thing that lies in
    the chart's plane."""
    width, height = lens.size_px
    rays = rays_of(lens)
    rotation, shift = at
    normal = rotation[:, 2].astype(np.float32)
    depth = np.float32(normal @ shift) / (rays @ normal[:2] + normal[2])
    # board mm: the two axes of the board, of the point on the ray less the board's corner
    axes = rotation[:, :2].astype(np.float32)
    flat = (rays @ axes[:2] + axes[2]) * depth[..., None] - (shift @ rotation[:, :2]).astype("f4")
    picture = np.full((height, width), 120, np.float32)
    footprint = float(np.median(depth[::16, ::16])) / lens.focal_px  # mm a pixel
    things = [(chart_face(stretch), (-MARGIN_MM * stretch, -MARGIN_MM), PX_PER_MM)]
    for face, place, scale in things + ([extra] if extra else []):
        soft = cv2.GaussianBlur(face, (0, 0), max(0.3, 0.35 * footprint * scale))
        where = (flat - np.float32(place)) * np.float32(scale) - np.float32(0.5)
        inside = (where > 0).all(axis=-1) & (where < np.array(face.shape[::-1]) - 1).all(axis=-1)
        seen = cv2.remap(soft, where[..., 0], where[..., 1], cv2.INTER_LINEAR)
        picture = np.where(inside, 30 + np.float32(0.78) * seen, picture)
    picture = cv2.GaussianBlur(picture, (0, 0), blur_px)
    grain = rng.standard_normal(picture.shape, np.float32) * np.float32(noise)
    picture = np.clip(picture + grain + 0.5, 0, 255).astype(np.uint8)
    done, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    return cv2.imdecode(data, cv2.IMREAD_GRAYSCALE)


def good_poses(rng, count=12, distance_mm=330.0):
    """Poses from all sides, the chart in each corner of the picture and filling it."""
    leans = [(0, 0), (28, 0), (-28, 0), (0, 28), (0, -28), (20, 20), (-20, 20), (20, -20)]
    leans += [(-20, -20), (33, 8), (-8, 33), (10, -33)]
    places = [(0, 0), (0.2, 0.14), (-0.2, 0.14), (0.2, -0.14), (-0.2, -0.14), (0, 0)]
    at = []
    for i in range(count):
        yaw, pitch = np.array(leans[i % 12]) + rng.normal(0, 3, 2)
        place = np.array(places[i % 6]) + rng.normal(0, 0.01, 2)
        at.append(pose(yaw, pitch, distance_mm * rng.uniform(0.85, 1.15), place, rng.normal(0, 5)))
    return at


#: inner corners of the chart, squares from the board's corner
INNER = np.array([(x, y) for y in range(1, SQUARES[1]) for x in range(1, SQUARES[0])], float)


def corners_seen(lens, at, rng, noise_px=0.1, stretch=1.0):
    """Squares (N, 2) and px (N, 2) of the inner corners that fall into the picture, with noise."""
    px = lens.project(board_points(INNER * [stretch, 1.0], at))
    inside = ((px > 3) & (px < np.array(lens.size_px) - 4)).all(axis=1)
    return INNER[inside], px[inside] + rng.normal(0, noise_px, (int(inside.sum()), 2))
