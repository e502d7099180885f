"""The scene in plan view: height and colour layers on a raster, shell edges kept exact.

Shell edges are not stored as steps in a height map: the raster holds the smooth radial offset
from each edge (``edge_cap``, ``edge_foot``: edge radius minus radius, mm), so that linear
interpolation puts the edge to about mm_per_px**2 / (8 radius), a micrometre, and the walls
stay upright.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.description import ANGLES, Outline, ShellShape
from tests.scenes.noise import linear, noise
from tests.scenes.toppings import lay_toppings

Map = NDArray[np.float32]
FAR_MM = -50.0


def radius_at(outline: Outline, angle_rad: Map) -> Map:
    """Radius (mm) at angles, linear in the table."""
    u = (angle_rad * np.float32(ANGLES / (2 * np.pi))) % np.float32(ANGLES)
    table = np.append(outline.radius_mm, outline.radius_mm[:1]).astype(np.float32)
    i = u.astype(np.int32)
    np.minimum(i, ANGLES - 1, out=i)
    f = u - i
    return table[i] * (1 - f) + table[i + 1] * f


class Plan:
    """Layers of the scene on a raster with ``origin_mm`` at the centre of its first pixel."""

    BLOCK = 8

    def __init__(self, origin_mm: tuple[float, float], mm_per_px: float, size_px: tuple[int, int]):
        self.origin_mm, self.mm_per_px = origin_mm, mm_per_px
        w, h = size_px
        self.width_px, self.height_px = w, h
        self.base = np.zeros((h, w), np.float32)
        self.bump = np.zeros((h, w), np.float32)
        self.ground = np.full((h, w, 3), 0.3, np.float32)  # linear light, R, G, B
        self.gloss = np.full((h, w), 0.03, np.float32)
        self.rough = np.full((h, w), 0.5, np.float32)
        # channels: edge_cap, edge_foot, cap height, foot height
        self.shell = np.zeros((h, w, 4), np.float32)
        self.shell[..., :2] = FAR_MM
        self.cap_colour = np.zeros((h, w, 3), np.float32)
        self.foot_colour = np.zeros((h, w, 3), np.float32)
        self.cap_gloss = np.zeros((h, w), np.float32)
        self.cap_rough = np.full((h, w), 0.4, np.float32)
        self.cap_bump = np.zeros((h, w), np.float32)
        self.label = np.zeros((h, w), np.uint16)  # nearest shell, 1-based, also outside its edge

    def to_px(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points (N, 2) mm to plan pixels."""
        return (np.asarray(points_mm, float) - np.asarray(self.origin_mm)) / self.mm_per_px

    def grid_mm(self, box: tuple[slice, slice]) -> tuple[Map, Map]:
        """Coordinates (1, W), (H, 1) of a window."""
        rows, cols = box
        x = self.origin_mm[0] + np.arange(cols.start, cols.stop) * self.mm_per_px
        y = self.origin_mm[1] + np.arange(rows.start, rows.stop) * self.mm_per_px
        return x[None].astype(np.float32), y[:, None].astype(np.float32)

    def window(
        self, centre_mm: tuple[float, float], radius_mm: float
    ) -> tuple[slice, slice] | None:
        """Raster window about a point, clipped; None when outside."""
        c = self.to_px(np.array([centre_mm]))[0]
        r = radius_mm / self.mm_per_px
        x0, x1 = int(max(0, np.floor(c[0] - r))), int(min(self.width_px, np.ceil(c[0] + r) + 1))
        y0, y1 = int(max(0, np.floor(c[1] - r))), int(min(self.height_px, np.ceil(c[1] + r) + 1))
        if x1 - x0 < 2 or y1 - y0 < 2:
            return None
        return slice(y0, y1), slice(x0, x1)

    def composite(self) -> Map:
        """Height of the upper surface on the raster."""
        return _select(self.base.copy(), self.shell)

    def surface(self, x_px: Map, y_px: Map) -> Map:
        """Height at plan pixel coordinates."""
        base = cv2.remap(self.base, x_px, y_px, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        four = cv2.remap(self.shell, x_px, y_px, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return _select(base, four)

    def block_heights(self) -> Map:
        """Greatest height of each BLOCK x BLOCK cells."""
        b = self.BLOCK
        rows, cols = -(-self.height_px // b), -(-self.width_px // b)
        padded = cv2.copyMakeBorder(
            self.composite(),
            0,
            rows * b - self.height_px,
            0,
            cols * b - self.width_px,
            cv2.BORDER_REPLICATE,
        )
        return padded.reshape(rows, b, cols, b).max(axis=(1, 3))

    def tallest_near(self, px_per_mm_height: float) -> Map:
        """Greatest height per BLOCK that a ray through the block's ground could meet."""
        b = self.BLOCK
        blocks = self.block_heights()
        out = blocks.copy()
        # a ray over ground g meets height z at up to z * slope away: test by height bands
        done = 0.0
        for band in (1.0, 3.0, 6.0, 12.0, 24.0, 48.0, 200.0):
            members = np.where((blocks > done), np.minimum(blocks, band), 0).astype(np.float32)
            top = float(members.max(initial=0.0))
            if top <= 0:
                break
            reach = int(np.ceil(top * px_per_mm_height / b)) + 1
            kernel = np.ones((2 * min(reach, 400) + 1,) * 2, np.uint8)
            np.maximum(out, cv2.dilate(members, kernel), out=out)
            done = band
        return out

    def add_shell(self, shell: ShellShape, number: int) -> None:
        """Put a shell (number from 1) into the layers."""
        rng = np.random.default_rng(shell.seed)
        middle = shell.foot.centre_mm
        far = max(float(shell.foot.radius_mm.max()), float(shell.cap.radius_mm.max()))
        off = np.hypot(*np.subtract(middle, shell.cap.centre_mm))
        box = self.window(middle, far + off + 3.0 + 3 * self.mm_per_px)
        if box is None:
            return
        x, y = self.grid_mm(box)
        dx, dy = x - np.float32(shell.cap.centre_mm[0]), y - np.float32(shell.cap.centre_mm[1])
        r = np.sqrt(dx * dx + dy * dy)
        angle = np.arctan2(dy, dx)
        cap_radius = radius_at(shell.cap, angle)
        fx, fy = x - np.float32(middle[0]), y - np.float32(middle[1])
        edge_cap = cap_radius - r
        edge_foot = radius_at(shell.foot, np.arctan2(fy, fx)) - np.sqrt(fx * fx + fy * fy)
        t = r / cap_radius
        floor = float(np.median(self.base[box])) if self.base[box].size else 0.0
        height = floor + cap_height(shell, rng, (x, y), t, self.mm_per_px)
        foot = foot_height(shell, edge_foot) + floor
        view = self.shell[box]
        nearer = edge_foot > view[..., 1]
        nearer_cap = edge_cap > view[..., 0]
        colour, foot_colour = cap_albedo(shell, rng, (dx, dy), t, self.mm_per_px)
        if shell.toppings:
            corner = np.array([x[0, 0], y[0, 0]], float)
            lay_toppings(shell, corner, colour, height, self.mm_per_px)
        np.copyto(view[..., 1], edge_foot, where=nearer)
        np.copyto(view[..., 3], foot, where=nearer)
        np.copyto(self.foot_colour[box], foot_colour, where=nearer[..., None])
        np.copyto(self.label[box], np.uint16(number), where=nearer | nearer_cap)
        np.copyto(view[..., 0], edge_cap, where=nearer_cap)
        np.copyto(view[..., 2], height, where=nearer_cap)
        np.copyto(self.cap_colour[box], colour, where=nearer_cap[..., None])
        bump = shell.bump_mm * noise(rng, r.shape, 0.2 / self.mm_per_px, 1.0)
        np.copyto(self.cap_bump[box], bump, where=nearer_cap)
        np.copyto(self.cap_gloss[box], np.float32(shell.gloss), where=nearer_cap)
        np.copyto(self.cap_rough[box], np.float32(shell.rough), where=nearer_cap)


def _select(base: Map, four: Map) -> Map:
    """Upper surface from the base and the four shell channels."""
    h = np.where(four[..., 0] > 0, four[..., 2], four[..., 3])
    out = four[..., 0] > 0
    out |= four[..., 1] > 0
    np.maximum(base, h, out=base, where=out)
    return base


def path_depth(path_px: NDArray[np.float64], shape: tuple[int, int], width_px: float) -> Map:
    """0 to 1 across a line that tapers at its ends."""
    mask = np.zeros(shape, np.float32)
    n = len(path_px)
    for i in range(n - 1):
        k = np.sin(np.pi * (i + 0.75) / (n + 0.5)) ** 0.5
        p, q = (np.round(path_px[j] * 16).astype(int) for j in (i, i + 1))
        cv2.line(mask, tuple(p), tuple(q), 1.0, max(1, round(width_px * k)), cv2.LINE_8, 4)
    return cv2.GaussianBlur(mask, (0, 0), max(0.4, 0.18 * width_px))


def cap_height(
    shell: ShellShape, rng: np.random.Generator, xy: tuple[Map, Map], t: Map, mm: float
) -> Map:
    """Cap surface above the liner, extended level beyond the cap's edge."""
    inner = np.minimum(t, 1)
    dome = 1 - inner ** np.float32(shell.cap_power)
    h = shell.rim_mm + (shell.height_mm - shell.rim_mm) * dome
    calm = np.clip((1 - inner) * 4, 0, 1)
    if shell.lumps_mm > 0:
        h = h + shell.lumps_mm * calm * noise(rng, t.shape, 0.1 / mm, 1.7)
    if shell.kind == "coin":  # raised edge, worn figure in the middle
        h = h + 0.3 * np.clip(1 - np.abs(t - 0.93) / 0.05, 0, 1)
        figure = np.clip(noise(rng, t.shape, 0.06 / mm, 1.5) * 1.5, -1, 1)
        h = h + 0.25 * figure * np.clip((0.8 - t) * 6, 0, 1)
    for d in shell.dimples:
        q = ((xy[0] - d.centre_mm[0]) ** 2 + (xy[1] - d.centre_mm[1]) ** 2) / (
            d.diameter_mm / 2
        ) ** 2
        h = (
            h - d.depth_mm * np.exp(-2 * q * q)
            if d.depth_mm > 0
            else h - d.depth_mm * np.exp(-2 * q)
        )
    for crack in shell.cracks:
        origin = np.array([xy[0][0, 0], xy[1][0, 0]])
        depth = path_depth((crack.path_mm - origin) / mm, t.shape, crack.width_mm / mm)
        h = h - crack.depth_mm * depth
    return h.astype(np.float32)


def foot_height(shell: ShellShape, edge: Map) -> Map:
    """Foot surface: 0.55 of its height at the edge, rounded to full height inside."""
    q = np.clip(edge / shell.foot_round_mm, 0, 1)
    h = shell.foot_mm * (0.55 + 0.45 * np.sqrt(1 - (1 - q) ** 2))
    return h.astype(np.float32)


def cap_albedo(
    shell: ShellShape, rng: np.random.Generator, dxy: tuple[Map, Map], t: Map, mm: float
) -> tuple[Map, Map]:
    """Linear colours (H, W, 3) of cap and foot."""
    shape = t.shape
    base = linear(shell.colour)
    colour = np.broadcast_to(base, (*shape, 3)).copy()
    if shell.second_colour is not None:
        wave = np.arctan2(dxy[1], dxy[0]) + shell.swirl * 6.28 * t
        wave = wave + 0.5 * noise(rng, shape, 0.12 / mm, 1.7)
        mix = np.clip(np.sin(wave * (2 if shell.swirl else 1)) * 2.5 + 0.5, 0, 1)[..., None]
        colour += mix * (linear(shell.second_colour) - base)
    brown = linear((176.0, 120.0, 62.0))
    if shell.browning > 0:
        amount = shell.browning * (0.45 + 0.75 * np.clip(t, 0, 1.1) ** 4)
        amount = np.clip(amount + 0.25 * shell.browning * noise(rng, shape, 0.12 / mm, 1.6), 0, 1)
        colour += amount[..., None] * (brown * np.sqrt(base) - colour)
    rough_tone = 0.03 if shell.kind == "macaron" else 0.07
    tone = (
        1
        + rough_tone * noise(rng, shape, 0.15 / mm, 1.3)
        + 0.025 * noise(rng, shape, 0.25 / mm, 0.4)
    )
    colour *= np.maximum(tone, 0.3)[..., None]
    if shell.dust > 0:
        dust = noise(rng, shape, 0.3 / mm, 0.7) > 2.2 * (1 - 2 * shell.dust)
        colour[dust] = colour[dust] * 0.3 + 0.7 * linear(shell.speck_colour)
    _specks(shell, rng, colour, mm)
    if shell.cracks:
        grid = (shape[1], shape[0])
        dark = np.zeros(shape, np.float32)
        for crack in shell.cracks:
            origin = np.array(
                [shell.cap.centre_mm[0] + dxy[0][0, 0], shell.cap.centre_mm[1] + dxy[1][0, 0]]
            )
            dark = np.maximum(
                dark,
                (1 - crack.inner_rel)
                * path_depth((crack.path_mm - origin) / mm, grid[::-1], crack.width_mm / mm),
            )
        colour *= (1 - dark)[..., None]
    foot_tone = 1 + 0.10 * noise(rng, shape, 0.3 / mm, 0.7)
    foot = linear(shell.foot_colour) * np.clip(foot_tone, 0.4, 1.6)[..., None]
    return colour.astype(np.float32), foot.astype(np.float32)


def _specks(shell: ShellShape, rng: np.random.Generator, colour: Map, mm: float) -> None:
    """Sprinkles, seeds or chips, each its own size and tone."""
    h, w = colour.shape[:2]
    for _ in range(shell.specks):
        at = (int(rng.integers(w) * 16), int(rng.integers(h) * 16))
        a = max(8, int(16 * shell.speck_mm / mm * rng.uniform(0.3, 1.0)))
        axes = (a, max(8, int(a * rng.uniform(0.4, 1.0))))
        tone = linear(shell.speck_colour) * rng.uniform(0.6, 1.4)
        turn = float(rng.uniform(0, 180))
        cv2.ellipse(colour, at, axes, turn, 0, 360, tone.tolist(), -1, cv2.LINE_AA, 4)
