"""Tables, trays, liners and mats: colours, relief and prints in plan view."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.description import Surface, Tray
from tests.scenes.noise import linear, noise, smoothstep
from tests.scenes.plan import Plan

Map = NDArray[np.float32]
Box = tuple[slice, slice]


@dataclass
class Skin:
    """A painted window: linear colour (H, W, 3), relief for normals, gloss, roughness."""

    colour: Map
    bump: Map
    gloss: Map
    rough: Map


def _blend(colour: Map, mask: Map, other: Map) -> None:
    colour += mask[..., None] * (other - colour)


def _parchment(s: Surface, skin: Skin, rng: np.random.Generator, mm: float) -> None:
    shape = skin.bump.shape
    skin.colour *= (
        1 + 0.025 * noise(rng, shape, 0.35 / mm, 0.5) + 0.03 * noise(rng, shape, 0.5 / mm, 1.6)
    )[..., None]
    skin.bump += s.bump_mm * noise(rng, shape, 0.5 / mm, 1.0)
    if s.folds_mm > 0:  # crumpled facets: ridges where two slow noises cross
        a = noise(rng, shape, 0.35 / mm, 2.0)
        skin.bump += np.float32(0.2 * s.folds_mm) * np.abs(a)


def _mat(s: Surface, skin: Skin, rng: np.random.Generator, mm: float) -> None:
    h, w = skin.bump.shape
    pitch = rng.uniform(0.8, 2.0) / mm
    if pitch > 2.2:  # woven glass below the silicone
        wave = (
            np.sin(np.arange(w) * (6.28 / pitch))[None]
            + np.sin(np.arange(h) * (6.28 / pitch))[:, None]
        )
        skin.bump += np.float32(0.4 * s.bump_mm) * wave.astype(np.float32)
        skin.colour *= (1 + 0.03 * wave.astype(np.float32))[..., None]
    skin.colour *= (
        1 + 0.03 * noise(rng, (h, w), 0.4 / mm, 0.6) + 0.04 * noise(rng, (h, w), 0.6 / mm, 1.8)
    )[..., None]
    skin.bump += 0.5 * s.bump_mm * noise(rng, (h, w), 0.4 / mm, 0.8)


def _metal(s: Surface, skin: Skin, rng: np.random.Generator, mm: float) -> None:
    shape = skin.bump.shape
    turn = float(rng.uniform(0, 180))
    brushed = noise(rng, shape, 0.3 / mm, 0.5, stretch=rng.uniform(3, 25), turn_deg=turn)
    mirror = noise(rng, shape, rng.uniform(0.4, 2) / mm, 1.8, stretch=2.0)
    skin.colour *= np.clip(1 + 0.06 * brushed + rng.uniform(0.1, 0.35) * mirror, 0.25, 2.2)[
        ..., None
    ]
    skin.bump += 0.3 * s.bump_mm * brushed
    worn = smoothstep((noise(rng, shape, 0.5 / mm, 1.3) - rng.uniform(0.8, 2.2)) / 0.8)
    _blend(skin.colour, worn * rng.uniform(0.1, 0.6), linear(s.second))


def _enamel(s: Surface, skin: Skin, rng: np.random.Generator, mm: float) -> None:
    shape = skin.bump.shape
    for _ in range(2):
        spots = smoothstep(
            (noise(rng, shape, rng.uniform(0.4, 1.0) / mm, 0.6) - rng.uniform(1.2, 2.2)) / 0.3
        )
        _blend(skin.colour, spots, linear(s.second) * rng.uniform(0.7, 1.2))
    skin.bump += 0.3 * s.bump_mm * noise(rng, shape, 0.5 / mm, 1.6)


def _wood(s: Surface, skin: Skin, rng: np.random.Generator, mm: float) -> None:
    shape = skin.bump.shape
    turn = float(rng.choice([0.0, 90.0]) + rng.normal(0, 4))
    grain = noise(rng, shape, 0.8 / mm, 1.0, stretch=rng.uniform(8, 20), turn_deg=turn)
    bands = noise(rng, shape, 0.8 / mm, 1.7, stretch=8, turn_deg=turn)
    mix = np.clip(0.4 + 0.25 * bands + 0.12 * grain, 0, 1)
    _blend(skin.colour, mix, linear(s.second))
    skin.bump += s.bump_mm * grain
    if rng.random() < 0.5:
        _grid(skin, rng.uniform(60, 160) / mm, turn, 0.4, rng)


def _stone(s: Surface, skin: Skin, rng: np.random.Generator, mm: float) -> None:
    shape = skin.bump.shape
    veins = np.exp(-np.abs(noise(rng, shape, 0.6 / mm, 1.6)) * rng.uniform(3, 14))
    _blend(skin.colour, (veins * rng.uniform(0, 0.6)).astype(np.float32), linear(s.second))
    skin.colour *= np.clip(
        1
        + rng.uniform(0.02, 0.25) * noise(rng, shape, 0.5 / mm, 0.5)
        + 0.08 * noise(rng, shape, 0.8 / mm, 1.7),
        0.2,
        2,
    )[..., None]
    if rng.random() < 0.25:
        _grid(skin, rng.uniform(80, 300) / mm, float(rng.uniform(-8, 8)), 0.5, rng, both=True)


def _cloth(s: Surface, skin: Skin, rng: np.random.Generator, mm: float) -> None:
    h, w = skin.bump.shape
    pitch = max(2.4, rng.uniform(0.7, 2.5) / mm)
    weave = (
        np.sin(np.arange(w) * (6.28 / pitch))[None] * np.sin(np.arange(h) * (6.28 / pitch))[:, None]
    )
    weave = weave.astype(np.float32) + 0.5 * noise(rng, (h, w), 0.3 / mm, 0.4)
    skin.bump += s.bump_mm * (1.5 * weave + 6 * noise(rng, (h, w), 0.6 / mm, 1.8))
    skin.colour *= np.clip(1 + 0.08 * weave, 0.3, 2)[..., None]
    style = rng.integers(4)
    if style > 1:  # stripes or checks
        step = rng.uniform(8, 50) / mm
        a = np.deg2rad(rng.uniform(0, 180))
        yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
        duty = rng.uniform(0.2, 0.6)
        for k in range(int(style) - 1):
            b = a + k * np.pi / 2
            phase = ((xx * np.cos(b) + yy * np.sin(b)) / step) % 1
            _blend(skin.colour, ((phase < duty) * 0.6).astype(np.float32), linear(s.second))


def _plain(s: Surface, skin: Skin, rng: np.random.Generator, mm: float) -> None:
    shape = skin.bump.shape
    skin.colour *= (
        1 + 0.02 * noise(rng, shape, 0.5 / mm, 0.6) + 0.04 * noise(rng, shape, 1.0 / mm, 1.8)
    )[..., None]
    skin.bump += 0.3 * s.bump_mm * noise(rng, shape, 0.6 / mm, 1.0)


def _grid(
    skin: Skin,
    step_px: float,
    turn_deg: float,
    dark: float,
    rng: np.random.Generator,
    both: bool = False,
) -> None:
    h, w = skin.bump.shape
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
    a = np.deg2rad(turn_deg) + np.pi / 2
    for k in range(2 if both else 1):
        b = a + k * np.pi / 2
        u = (xx * np.cos(b) + yy * np.sin(b) + rng.uniform(0, step_px)) % step_px
        line = np.clip(1.5 - np.abs(u - step_px / 2), 0, 1)
        skin.colour *= (1 - dark * line)[..., None]
        skin.bump -= 0.2 * line


PAINTERS = {
    "parchment": _parchment,
    "mat": _mat,
    "metal": _metal,
    "enamel": _enamel,
    "wood": _wood,
    "stone": _stone,
    "cloth": _cloth,
    "plain": _plain,
}


def paint(s: Surface, shape: tuple[int, int], mm: float) -> Skin:
    """Paint a window of a surface."""
    rng = np.random.default_rng(s.seed)
    colour = np.empty((*shape, 3), np.float32)
    colour[:] = linear(s.colour)
    skin = Skin(
        colour,
        np.zeros(shape, np.float32),
        np.full(shape, s.gloss, np.float32),
        np.full(shape, s.rough, np.float32),
    )
    PAINTERS[s.kind](s, skin, rng, mm)
    _stains(s, skin, rng, mm)
    for _ in range(s.scratches):
        p = rng.uniform(0, 1, 2) * (shape[1], shape[0])
        a, n = rng.uniform(0, 2 * np.pi), rng.uniform(5, 80) / mm
        q = p + n * np.array([np.cos(a), np.sin(a)])
        tone = (linear(s.colour) * rng.choice([0.6, 1.5])).tolist()
        ends = [tuple(np.round(v * 16).astype(int)) for v in (p, q)]
        cv2.line(skin.colour, ends[0], ends[1], tone, 1, cv2.LINE_AA, 4)
    return skin


def _stains(s: Surface, skin: Skin, rng: np.random.Generator, mm: float) -> None:
    """Roundish flat stains, some with a darker edge, some glossy: grease, colour, old bakes."""
    h, w = skin.bump.shape
    for _ in range(s.stains):
        r = rng.uniform(2, 30) / mm
        c = rng.uniform(0, 1, 2) * (w, h)
        x0, y0 = (int(max(0, v - 1.6 * r)) for v in c)
        x1, y1 = int(min(w, c[0] + 1.6 * r)), int(min(h, c[1] + 1.6 * r))
        if x1 - x0 < 4 or y1 - y0 < 4:
            continue
        yy, xx = np.mgrid[y0:y1, x0:x1].astype(np.float32)
        d = np.hypot(xx - c[0], (yy - c[1]) * rng.uniform(0.8, 1.25)) / r
        d += rng.choice([0.02, 0.15]) * noise(rng, d.shape, 0.5 / mm, 1.6)
        mask = 1 - smoothstep((d - 1) * rng.uniform(3, 25) + 0.5)
        if rng.random() < 0.4:
            mask = mask * (0.4 + 0.6 * np.clip(d, 0, 1) ** 6)
        mask *= rng.uniform(0.1, 0.7)
        view = skin.colour[y0:y1, x0:x1]
        tint = linear((rng.uniform(90, 250), rng.uniform(70, 210), rng.uniform(30, 170)))
        view += mask[..., None] * (view * tint * 1.1 - view)
        skin.gloss[y0:y1, x0:x1] += 0.1 * mask * (rng.random() < 0.4)


def _prints(s: Surface, skin: Skin, plan: Plan, box: Box) -> None:
    """Rings, discs, wells, text, grid and logos of a mat."""
    rng = np.random.default_rng(s.seed + 7)
    mm = plan.mm_per_px
    off = np.array([box[1].start, box[0].start])
    ink = np.zeros(skin.bump.shape, np.uint8)
    r = max(2.0, s.print_radius_mm / mm)
    width = max(1, round(rng.uniform(0.4, 2.0) / mm))
    rings = int(rng.choice([1, 2, 3], p=[0.7, 0.15, 0.15])) if s.print_kind == "rings" else 1
    for c in plan.to_px(np.array(s.print_centres_mm).reshape(-1, 2)) - off:
        at = tuple(int(v) for v in np.round(c * 16))
        if max(abs(at[0]), abs(at[1])) > 2**24:
            continue
        if s.print_kind == "rings":
            for k in range(rings):
                cv2.circle(ink, at, int(16 * r * (1 - 0.28 * k)), 255, width, cv2.LINE_AA, 4)
        elif s.print_kind == "discs" or s.print_kind == "wells":
            cv2.circle(ink, at, int(16 * r), 255, -1, cv2.LINE_AA, 4)
    if s.print_kind == "wells":
        soft = cv2.GaussianBlur(ink.astype(np.float32) / 255, (0, 0), max(0.6, 0.5 / mm))
        skin.bump -= 1.0 * soft
        skin.colour *= (1 - 0.25 * soft)[..., None]
        return
    if s.print_kind == "grid":
        step = rng.uniform(10, 60) / mm
        for k in np.arange(0, max(ink.shape), step):
            cv2.line(ink, (round(k), 0), (round(k), ink.shape[0]), 255, width, cv2.LINE_AA)
            cv2.line(ink, (0, round(k)), (ink.shape[1], round(k)), 255, width, cv2.LINE_AA)
    if s.print_kind in ("text", "logo") or rng.random() < 0.4:
        _text(ink, rng, mm)
    _blend(
        skin.colour, ink.astype(np.float32) / 255 * rng.uniform(0.35, 1.0), linear(s.print_colour)
    )


def _text(ink: NDArray[np.uint8], rng: np.random.Generator, mm: float) -> None:
    for _ in range(int(rng.integers(1, 5))):
        letters = "".join(
            rng.choice(list("ABCDEGHKLMNOPRSTU0123456789 .-"), int(rng.integers(3, 14)))
        )
        size = rng.uniform(4, 28) / mm
        at = (int(rng.uniform(-0.1, 0.8) * ink.shape[1]), int(rng.uniform(0.05, 1) * ink.shape[0]))
        cv2.putText(
            ink,
            letters,
            at,
            int(rng.integers(0, 8)),
            size / 22,
            255,
            max(1, int(size / 9)),
            cv2.LINE_AA,
        )
    if rng.random() < 0.4:  # an emblem: ring and letter
        c = tuple(int(v) for v in rng.uniform(0.1, 0.9, 2) * ink.shape[::-1])
        r = int(rng.uniform(10, 30) / mm)
        cv2.circle(ink, c, r, 255, max(1, r // 9), cv2.LINE_AA)
        cv2.ellipse(ink, c, (r // 2, r // 4), 30, 0, 360, 255, -1, cv2.LINE_AA)


def _offset_outside(
    plan: Plan, box_mm: tuple[float, float, float, float], corner_mm: float, turn_deg: float
) -> Map:
    """Signed distance (mm, positive outside) from a turned rectangle with round corners."""
    x0, y0, x1, y1 = box_mm
    x, y = plan.grid_mm((slice(0, plan.height_px), slice(0, plan.width_px)))
    x, y = x - np.float32((x0 + x1) / 2), y - np.float32((y0 + y1) / 2)
    if turn_deg:
        a = np.float32(np.deg2rad(turn_deg))
        x, y = x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a)
    qx = np.abs(x) - np.float32((x1 - x0) / 2 - corner_mm)
    qy = np.abs(y) - np.float32((y1 - y0) / 2 - corner_mm)
    outside = np.sqrt(np.maximum(qx, 0) ** 2 + np.maximum(qy, 0) ** 2)
    return outside + np.minimum(np.maximum(qx, qy), 0) - np.float32(corner_mm)


def _bounds(mask: NDArray[np.bool_]) -> Box | None:
    rows, cols = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    if len(rows) == 0:
        return None
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(cols[0]), int(cols[-1]) + 1)


def _lay(plan: Plan, skin: Skin, box: Box, mask: Map) -> None:
    for layer, new in (
        (plan.bump, skin.bump),
        (plan.gloss, skin.gloss),
        (plan.rough, skin.rough),
    ):
        view = layer[box]
        view += mask * (new - view)
    view = plan.ground[box]
    view += mask[..., None] * (skin.colour - view)


def draw_table(plan: Plan, table: Surface) -> None:
    """Fill the whole plan."""
    everything = (slice(0, plan.height_px), slice(0, plan.width_px))
    skin = paint(table, plan.base.shape, plan.mm_per_px)
    _lay(plan, skin, everything, np.ones(plan.base.shape, np.float32))


def draw_tray(plan: Plan, tray: Tray, seed: int) -> None:
    """Floor, sloping wall and rolled edge."""
    d = _offset_outside(plan, (0, 0, tray.width_mm, tray.depth_mm), tray.corner_mm, 0)
    full = tray.wall_mm + tray.roll_mm
    inside = np.clip((full - d) / np.float32(plan.mm_per_px) + 0.5, 0, 1)
    box = _bounds(inside > 0)
    if box is None:
        return
    steel = Surface("metal", tray.colour, gloss=tray.gloss, rough=0.25, bump_mm=0.02, seed=seed)
    _lay(plan, paint(steel, inside[box].shape, plan.mm_per_px), box, inside[box])
    wall = smoothstep(d / np.float32(tray.wall_mm)) * tray.rim_mm
    u = np.clip((d - tray.wall_mm) / tray.roll_mm, 0, 1) * 2 - 1
    roll = np.where(d > tray.wall_mm, 0.5 * tray.roll_mm * np.sqrt(np.maximum(1 - u * u, 0)), 0)
    plan.base[...] = np.where(d < full, wall + roll, plan.base)


def draw_liner(plan: Plan, tray: Tray, liner: Surface) -> None:
    """Liner or mat on the tray's floor, with its prints, folds and curling edges."""
    left, top, right, bottom = tray.liner_inset_mm
    edges = (left, top, tray.width_mm - right, tray.depth_mm - bottom)
    d = _offset_outside(plan, edges, 2.0, tray.liner_turn_deg)
    mask = np.clip(0.5 - d / np.float32(plan.mm_per_px), 0, 1)
    box = _bounds(mask > 0)
    if box is None:
        return
    skin = paint(liner, mask[box].shape, plan.mm_per_px)
    if liner.print_kind != "none":
        _prints(liner, skin, plan, box)
    _lay(plan, skin, box, mask[box])
    rng = np.random.default_rng(liner.seed + 3)
    lift = np.full(mask[box].shape, 0.0, np.float32)
    if liner.folds_mm > 0:
        lift += liner.folds_mm * np.maximum(
            noise(rng, lift.shape, 0.45 / plan.mm_per_px, 2.0), -0.2
        )
        lift += (
            0.5
            * liner.folds_mm
            * np.maximum(noise(rng, lift.shape, 0.3 / plan.mm_per_px, 2.1) - 0.6, 0)
        )
    if tray.curl_mm > 0:
        near_edge = np.clip(1 + d[box] / 45.0, 0, 1) ** 2
        lift += (
            tray.curl_mm
            * near_edge
            * np.clip(0.5 + noise(rng, lift.shape, 0.7 / plan.mm_per_px, 2.2), 0, 2)
        )
    view = plan.base[box]
    view += mask[box] * np.maximum(lift, 0)
