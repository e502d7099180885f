"""Where each pixel looks, and the search for the first surface on its way (relief seen in
perspective, so that parallax is exact)."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.description import Camera, Floats
from tests.scenes.plan import Plan

Map = NDArray[np.float32]
NODE_PX = 8  # coarse grid of ground points; linear between: below 0.002 px at 60 deg
ROW = 1024  # width of the compacted maps given to cv2.remap


def look_at(
    target_mm: tuple[float, float],
    distance_mm: float,
    tilt_deg: float,
    lean_deg: float,
    roll_deg: float,
) -> Floats:
    """World-to-camera (3, 4): camera ``distance_mm`` from the target on the liner.

    ``tilt_deg`` about the plan-view axis at ``lean_deg``; ``roll_deg`` turns the picture.
    """
    axis = np.deg2rad(tilt_deg) * np.array(
        [np.cos(np.deg2rad(lean_deg)), np.sin(np.deg2rad(lean_deg)), 0]
    )
    turn = cv2.Rodrigues(np.array([0, 0, np.deg2rad(roll_deg)]))[0] @ cv2.Rodrigues(axis)[0]
    flip = np.diag([1.0, 1.0, -1.0])  # z up to z down
    rotation = turn @ flip
    shift = np.array([0, 0, distance_mm]) - rotation @ np.array([*target_mm, 0.0])
    return np.column_stack([rotation, shift])


def matrix(width_px: int, height_px: int, focal_35mm_mm: float, offset_px: Floats) -> Floats:
    """Camera matrix (3, 3); focal length by the diagonal, 43.27 mm."""
    f = focal_35mm_mm / 43.27 * np.hypot(width_px, height_px)
    return np.array(
        [
            [f, 0, (width_px - 1) / 2 + offset_px[0]],
            [0, f, (height_px - 1) / 2 + offset_px[1]],
            [0, 0, 1],
        ]
    )


def project(camera: Camera, points_mm: Floats) -> Floats:
    """Points (N, 3) of the scene to px (N, 2)."""
    p = np.asarray(points_mm, float)
    m = camera.world_to_camera
    c = p @ m[:, :3].T + m[:, 3]
    z = np.where(c[:, 2] > 1e-3, c[:, 2], 1e-3)
    x, y = c[:, 0] / z, c[:, 1] / z
    k1, k2, p1, p2 = camera.dist
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * k2)
    xd = x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)
    yd = y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
    k = camera.camera_matrix
    return np.column_stack([k[0, 0] * xd + k[0, 2], k[1, 1] * yd + k[1, 2]])


def to_ground(camera: Camera, points_px: Floats) -> Floats:
    """Pixels (N, 2) to points (N, 2) of the plane z = 0, mm."""
    k = camera.camera_matrix
    xd = (points_px[:, 0] - k[0, 2]) / k[0, 0]
    yd = (points_px[:, 1] - k[1, 2]) / k[1, 1]
    k1, k2, p1, p2 = camera.dist
    x, y = xd.copy(), yd.copy()
    for _ in range(30):
        r2 = x * x + y * y
        radial = 1 + r2 * (k1 + r2 * k2)
        x = (xd - 2 * p1 * x * y - p2 * (r2 + 2 * x * x)) / radial
        y = (yd - p1 * (r2 + 2 * y * y) - 2 * p2 * x * y) / radial
    ray = np.column_stack([x, y, np.ones_like(x)]) @ camera.world_to_camera[:, :3]
    centre = camera.centre_mm
    return centre[:2] + ray[:, :2] * (-centre[2] / ray[:, 2])[:, None]


def _between(count: int, at_px: Floats) -> tuple[Map, int]:
    """Linear interpolation matrix (len(at_px), nodes) from nodes every NODE_PX, from -NODE_PX."""
    nodes = count // NODE_PX + 4
    u = (at_px + NODE_PX) / NODE_PX
    i = np.floor(u).astype(int)
    m = np.zeros((len(at_px), nodes), np.float32)
    rows = np.arange(len(at_px))
    m[rows, i] = 1 - (u - i)
    m[rows, i + 1] = u - i
    return m, nodes


def ground_map(camera: Camera, supersample: float) -> tuple[Map, Map, tuple[int, int]]:
    """Where every (sub)pixel meets z = 0: two maps (H', W'), mm."""
    w, h = round(camera.width_px * supersample), round(camera.height_px * supersample)
    ux = (np.arange(w) + 0.5) * camera.width_px / w - 0.5
    uy = (np.arange(h) + 0.5) * camera.height_px / h - 0.5
    ax, nx = _between(camera.width_px, ux)
    ay, ny = _between(camera.height_px, uy)
    gx, gy = np.meshgrid((np.arange(nx) - 1) * NODE_PX, (np.arange(ny) - 1) * NODE_PX)
    ground = to_ground(camera, np.column_stack([gx.ravel(), gy.ravel()]).astype(float))
    ground = ground.astype(np.float32)
    x = ay @ (ground[:, 0].reshape(ny, nx) @ ax.T)
    y = ay @ (ground[:, 1].reshape(ny, nx) @ ax.T)
    return x, y, (h, w)


@dataclass
class Hits:
    """Where the rays end: plan pixel coordinates (H', W') and height (mm)."""

    x: Map
    y: Map
    height_mm: Map


def _rows(values: Map) -> Map:
    """A list as rows of ROW (the last one repeated), since cv2.remap limits a side to 32767."""
    n = -(-len(values) // ROW) * ROW
    if n == len(values):
        return values.reshape(-1, ROW)
    return np.concatenate([values, np.full(n - len(values), values[-1], np.float32)]).reshape(
        -1, ROW
    )


@dataclass
class _Rays:
    """Rays ``(ax + bx z, ay + by z)`` in plan pixels, as lists (N,)."""

    ax: Map
    ay: Map
    bx: Map
    by: Map

    def take(self, index: NDArray[np.int64]) -> "_Rays":
        return _Rays(*(m[index] for m in (self.ax, self.ay, self.bx, self.by)))

    def surface(self, plan: Plan, z: Map) -> Map:
        x, y = self.ax + self.bx * z, self.ay + self.by * z
        return plan.surface(_rows(x), _rows(y)).ravel()[: len(z)]


def _coarse_start(plan: Plan, rays: _Rays, top: Map, reach_px: float) -> Map:
    """A height from which each ray is still above everything, by whole blocks."""
    block = plan.BLOCK
    blocks = cv2.dilate(plan.block_heights(), np.ones((3, 3), np.uint8))
    steps = int(np.ceil(reach_px / block)) + 1
    start = np.zeros_like(top)
    open_ = np.arange(len(top))
    for k in range(steps):
        z, below = (
            top[open_] * np.float32(1 - k / steps),
            top[open_] * np.float32(1 - (k + 1) / steps),
        )
        x = np.clip((rays.ax[open_] + rays.bx[open_] * z + 0.5) / block, 0, blocks.shape[1] - 1)
        y = np.clip((rays.ay[open_] + rays.by[open_] * z + 0.5) / block, 0, blocks.shape[0] - 1)
        may_hit = blocks[y.astype(np.int32), x.astype(np.int32)] >= below
        start[open_[may_hit]] = z[may_hit]
        open_ = open_[~may_hit]
        if len(open_) == 0:
            break
    return start


def _march(plan: Plan, rays: _Rays, start: Map, step_px: float) -> Map:
    """Height of the first surface that the rays meet on their way down from ``start``."""
    slope = np.maximum(np.hypot(rays.bx, rays.by), 1e-4)
    dz = np.maximum(step_px / slope, start / 200).astype(np.float32)
    low = np.zeros_like(start)
    high = start.copy()
    live = np.arange(len(start))
    mine, z, down = rays, start.copy(), dz
    while len(live):
        z = z - down
        inside = (mine.surface(plan, z) >= z) | (z <= 0)
        if inside.any():
            done = live[inside]
            low[done] = np.maximum(z[inside], 0)
            high[done] = z[inside] + down[inside]
            keep = np.flatnonzero(~inside)
            live, z, down, mine = live[keep], z[keep], down[keep], mine.take(keep)
    for _ in range(8):
        z = (low + high) * np.float32(0.5)
        inside = rays.surface(plan, z) > z
        np.copyto(low, z, where=inside)
        np.copyto(high, z, where=~inside)
    return (low + high) * np.float32(0.5)


def trace(camera: Camera, plan: Plan, supersample: float, step_cells: float = 1.6) -> Hits:
    """First hits of all (sub)pixels.

    The search goes down each ray in steps of ``step_cells`` plan cells sideways, so that a ray
    that cuts less than that off a rim may miss it: 0.5 where edges must be exact.
    """
    gx, gy, shape = ground_map(camera, supersample)
    centre = camera.centre_mm
    s = np.float32(1 / plan.mm_per_px)
    bx = (np.float32(centre[0]) - gx) * np.float32(s / centre[2])
    by = (np.float32(centre[1]) - gy) * np.float32(s / centre[2])
    gx = (gx - np.float32(plan.origin_mm[0])) * s
    gy = (gy - np.float32(plan.origin_mm[1])) * s
    slope = np.hypot(bx, by)
    tallest = plan.tallest_near(float(slope.max()))
    block = plan.BLOCK
    top = cv2.remap(
        tallest,
        (gx + 0.5) / block - 0.5,
        (gy + 0.5) / block - 0.5,
        cv2.INTER_NEAREST,
        borderMode=cv2.BORDER_REPLICATE,
    )
    top += 0.02
    # nearly flat ground, seen nearly from above: two rounds of fixed point
    height = np.zeros(shape, np.float32)
    for _ in range(2):
        height = plan.surface(gx + bx * height, gy + by * height)
    reach = (slope * top).ravel()
    flat = height.ravel()
    maps = [m.ravel() for m in (gx, gy, bx, by)]
    for lo, hi in ((0.4, 12.0), (12.0, 60.0), (60.0, 1e9)):
        index = np.flatnonzero((reach > lo) & (reach <= hi))
        if len(index) == 0:
            continue
        rays = _Rays(*(m[index] for m in maps))
        start = top.ravel()[index]
        if lo >= 12:
            start = _coarse_start(plan, rays, start, min(hi, float(reach[index].max())))
        step = step_cells if lo < 12 else 1.4 * step_cells
        flat[index] = _march(plan, rays, start, step)
    height = flat.reshape(shape)
    return Hits(gx + bx * height, gy + by * height, height)
