"""Light on the plan: normals, cast shadows, contact shadow, glints; one lit colour a layer."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.description import Lamp, Light
from tests.scenes.noise import linear, noise, smoothstep
from tests.scenes.plan import Plan

Map = NDArray[np.float32]


@dataclass
class Lit:
    """Linear colours (H, W, 3) of ground, cap and foot layers, and of upright walls."""

    ground: Map
    cap: Map
    foot: Map


def _slopes(h: Map, mm: float) -> tuple[Map, Map]:
    k = 1 / (2 * mm)
    return (
        cv2.Sobel(h, cv2.CV_32F, 1, 0, ksize=1, scale=k),
        cv2.Sobel(h, cv2.CV_32F, 0, 1, ksize=1, scale=k),
    )


def _small(m: Map, mm: float) -> tuple[Map, float]:
    """The map at about 0.7 mm a pixel for slow changes (at least the map's own raster)."""
    k = max(1.0, min(4.0, 0.7 / mm))
    if k < 1.3:
        return m, 1.0
    size = (max(2, round(m.shape[1] / k)), max(2, round(m.shape[0] / k)))
    return cv2.resize(m, size, interpolation=cv2.INTER_AREA), m.shape[1] / size[0]


def occluder(h: Map, lamp: Lamp, mm: float, turn_deg: float, tallest: float) -> Map:
    """At each place, the greatest height of things towards the lamp less the ray's rise:
    whatever lies lower is in shadow. By doubling the reach, so in log steps."""
    a = np.deg2rad(lamp.azimuth_deg + turn_deg)
    rise = np.tan(np.deg2rad(lamp.elevation_deg)) * mm  # per pixel
    s = h.copy()
    step = 1.0
    while step * rise < tallest and step < max(h.shape):
        m = np.array([[1, 0, np.cos(a) * step], [0, 1, np.sin(a) * step]])
        moved = cv2.warpAffine(
            s,
            m,
            (h.shape[1], h.shape[0]),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        moved -= np.float32(step * rise)
        if step == 1.0:
            s = np.maximum(moved, h - np.float32(rise))
        else:
            np.maximum(s, moved, out=s)
        step *= 2
    return s


def _lamp_sees(plan: Plan, h: Map, lamp: Lamp, receivers: list[Map]) -> list[Map]:
    """Lit part, 0 to 1, of each receiving height map."""
    small, k = _small(h, plan.mm_per_px)
    tallest = float(h.max() - h.min()) + 0.1
    turns = (0.0,) if lamp.softness_deg < 1.5 else (-0.8, 0.0, 0.8)
    out = [np.zeros(h.shape, np.float32) for _ in receivers]
    size = (h.shape[1], h.shape[0])
    for i, turn in enumerate(turns):
        up = lamp.softness_deg * (0.45, -0.35, 0.45)[i] if len(turns) > 1 else 0.0
        part = Lamp(
            lamp.azimuth_deg, float(np.clip(lamp.elevation_deg + up, 8, 88)), 1.0, lamp.softness_deg
        )
        s = occluder(small, part, plan.mm_per_px * k, turn * lamp.softness_deg, tallest)
        s = cv2.resize(s, size, interpolation=cv2.INTER_LINEAR) if k > 1 else s
        soft = 0.25 + 0.06 * lamp.softness_deg
        for m, r in zip(out, receivers, strict=True):
            m += 1 - smoothstep((s - r - 0.05) / np.float32(soft))
    for m in out:
        m /= len(turns)
    return out


def _sky_sees(plan: Plan, h: Map) -> tuple[Map, Map]:
    """Contact shadow: blurred heights (small and wide), to compare a receiver with."""
    small, k = _small(h, plan.mm_per_px)
    mm = plan.mm_per_px * k
    near = cv2.GaussianBlur(small, (0, 0), max(0.5, 1.6 / mm))
    tiny, k2 = _small(near, mm / 3)
    wide = cv2.GaussianBlur(tiny, (0, 0), max(0.5, 7.0 / (mm * k2)))
    size = (h.shape[1], h.shape[0])
    return cv2.resize(near, size), cv2.resize(wide, size)


def light_field(plan: Plan, light: Light, rng: np.random.Generator) -> Map:
    """Smooth change of the light over the plan, greatest over least = falloff, and the soft
    shade of things outside the picture (the photographer, a window frame)."""
    h, w = plan.height_px // 8 + 2, plan.width_px // 8 + 2
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
    a = np.deg2rad(light.falloff_deg)
    u = (xx - w / 2) * np.cos(a) + (yy - h / 2) * np.sin(a)
    u = u / max(np.abs(u).max(), 1) / 2 + 0.15 * noise(rng, (h, w), max(h, w) / 400, 2.2)
    field = np.exp(u * np.log(light.falloff)).astype(np.float32)
    for _ in range(light.shades):
        mask = np.zeros((h, w), np.float32)
        if rng.random() < 0.5:  # a broad edge
            b = rng.uniform(0, 2 * np.pi)
            v = (xx - w * rng.uniform(0.1, 0.9)) * np.cos(b) + (
                yy - h * rng.uniform(0.1, 0.9)
            ) * np.sin(b)
            width = rng.uniform(0.1, 1.0) * w
            mask[(v > 0) & (v < width)] = 1
        else:
            n = int(rng.integers(4, 9))
            t = np.sort(rng.uniform(0, 2 * np.pi, n))
            r = rng.uniform(0.1, 0.45, n) * w
            c = rng.uniform(0, 1, 2) * (w, h)
            pts = np.column_stack([c[0] + r * np.cos(t), c[1] + r * np.sin(t)])
            cv2.fillPoly(mask, [np.round(pts).astype(np.int32)], 1.0)
        soft = max(0.6, light.shade_soft_mm / (8 * plan.mm_per_px))
        field *= 1 - rng.uniform(0.15, 0.6) * cv2.GaussianBlur(mask, (0, 0), soft)
    return cv2.resize(field, (plan.width_px, plan.height_px), interpolation=cv2.INTER_LINEAR)


def _glint(n: tuple[Map, Map, Map], half: tuple[Map, Map, Map], rough: Map) -> Map:
    """Normalised lobe of the half vector: exp(-tan^2 / m^2) / (4 m^2)."""
    c = np.maximum(n[0] * half[0] + n[1] * half[1] + n[2] * half[2], 0.05)
    m2 = np.maximum(rough * rough, 0.003)
    return np.exp((1 - 1 / (c * c)) / m2) / (4 * m2)


def _layer(
    albedo: Map,
    slopes: tuple[Map, Map],
    sees: list[Map],
    ambient: Map,
    light: Light,
    view: tuple[Map, Map, Map],
    gloss: Map | None,
    rough: Map | None,
) -> Map:
    """Lit colour of one layer."""
    sx, sy = slopes
    inv = 1 / np.sqrt(sx * sx + sy * sy + 1)
    n = (-sx * inv, -sy * inv, inv)
    total = (ambient * light.sky)[..., None] * linear(light.sky_colour)
    shine = np.zeros(albedo.shape, np.float32) if gloss is not None else None
    for lamp, seen in zip(light.lamps, sees, strict=True):
        a, e = np.deg2rad(lamp.azimuth_deg), np.deg2rad(lamp.elevation_deg)
        to = np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)], np.float32)
        cos = np.maximum(n[0] * to[0] + n[1] * to[1] + n[2] * to[2], 0) * seen
        colour = linear(lamp.colour) * np.float32(lamp.strength)
        total += cos[..., None] * colour
        if gloss is not None and rough is not None and shine is not None:
            half = [view[i] + to[i] for i in range(3)]
            size = np.sqrt(half[0] ** 2 + half[1] ** 2 + half[2] ** 2)
            wide = np.maximum(rough, np.float32(np.deg2rad(lamp.softness_deg) * 0.6))
            g = _glint(n, (half[0] / size, half[1] / size, half[2] / size), wide)
            shine += (g * gloss * cos)[..., None] * colour
    total *= albedo
    if shine is not None:
        total += shine
    return total


def shade(plan: Plan, light: Light, camera_mm: NDArray[np.float64]) -> Lit:
    """Light the layers of the plan, as seen from the camera's place."""
    rng = np.random.default_rng(light.seed)
    h = plan.composite()
    cap, foot = plan.shell[..., 2], plan.shell[..., 3]
    mm = plan.mm_per_px
    near, wide = _sky_sees(plan, h)
    receivers = [plan.base, cap, foot]
    sees = [_lamp_sees(plan, h, lamp, receivers) for lamp in light.lamps]
    x = (camera_mm[0] - plan.origin_mm[0] - np.arange(plan.width_px) * mm).astype(np.float32)[None]
    y = (camera_mm[1] - plan.origin_mm[1] - np.arange(plan.height_px) * mm).astype(np.float32)[
        :, None
    ]
    far = np.sqrt(x * x + y * y + np.float32(camera_mm[2] ** 2))
    view = (x / far, y / far, np.float32(camera_mm[2]) / far)
    field = light_field(plan, light, rng)[..., None]
    hidden = 0.16 * np.maximum(near - plan.base, 0) + 0.05 * np.maximum(wide - plan.base, 0)
    slopes = _slopes(plan.base + plan.bump, mm)
    ground = _layer(
        plan.ground,
        slopes,
        [s[0] for s in sees],
        1 / (1 + hidden),
        light,
        view,
        plan.gloss,
        plan.rough,
    )
    ground *= field
    out = [ground, np.zeros_like(ground), np.zeros_like(ground)]
    crumb = 0.2 * noise(rng, h.shape, 0.25 / mm, 0.6)  # a foot is porous
    # cap and foot only where there is one: lists of places instead of maps
    margin = -1.6 * mm
    for i, edge in ((1, plan.shell[..., 0]), (2, plan.shell[..., 1])):
        place = np.flatnonzero(edge > margin)
        if len(place) == 0:
            continue
        albedo = (plan.cap_colour, plan.foot_colour)[i - 1].reshape(-1, 3)[place]
        surface = cap + plan.cap_bump if i == 1 else foot + crumb
        slopes = _slopes(surface, mm)
        slopes = (slopes[0].ravel()[place], slopes[1].ravel()[place])
        height = receivers[i].ravel()[place]
        hidden = 0.16 * np.maximum(near.ravel()[place] - height, 0) + 0.05 * np.maximum(
            wide.ravel()[place] - height, 0
        )
        ambient = 1 / (1 + (1.2 if i == 2 else 1.0) * hidden)
        seen = [s[i].ravel()[place] for s in sees]
        look = tuple(np.broadcast_to(v, h.shape).ravel()[place] for v in view)
        shine = (
            (plan.cap_gloss.ravel()[place], plan.cap_rough.ravel()[place])
            if i == 1
            else (None, None)
        )
        colour = _layer(albedo, slopes, seen, ambient, light, look, *shine)
        out[i].reshape(-1, 3)[place] = colour * field.reshape(-1, 1)[place]
    return Lit(*out)


def wall_light(light: Light, outward: tuple[Map, Map], up: Map) -> Map:
    """Light (N, 3) on upright walls with outward plan direction; ``up`` 0 at the bottom to 1."""
    total = (light.sky * (0.25 + 0.35 * up))[..., None] * linear(light.sky_colour)
    for lamp in light.lamps:
        a, e = np.deg2rad(lamp.azimuth_deg), np.deg2rad(lamp.elevation_deg)
        cos = outward[0] * np.float32(np.cos(a)) + outward[1] * np.float32(np.sin(a))
        cos = np.maximum(cos * 0.8 + 0.1, 0) * np.float32(np.cos(e)) + 0.1 * np.float32(np.sin(e))
        total = total + (cos * (0.6 + 0.4 * up))[..., None] * (
            linear(lamp.colour) * np.float32(lamp.strength)
        )
    return total
