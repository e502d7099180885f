"""Things that are not shells, laid on the plan as height and colour."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from tests.scenes.description import Decoy
from tests.scenes.noise import linear, noise, smoothstep
from tests.scenes.plan import Plan

Map = NDArray[np.float32]


class Patch:
    """A turned local raster of a decoy: coordinates in mm about its centre, x along it."""

    def __init__(self, plan: Plan, decoy: Decoy, reach_mm: float):
        self.box = plan.window(decoy.centre_mm, reach_mm)
        if self.box is None:
            return
        x, y = plan.grid_mm(self.box)
        a = np.float32(np.deg2rad(decoy.turn_deg))
        dx, dy = x - np.float32(decoy.centre_mm[0]), y - np.float32(decoy.centre_mm[1])
        self.x, self.y = dx * np.cos(a) + dy * np.sin(a), dy * np.cos(a) - dx * np.sin(a)
        self.mm = plan.mm_per_px
        self.rng = np.random.default_rng(decoy.seed)
        self.height = np.zeros(self.x.shape, np.float32)
        self.colour = np.empty((*self.x.shape, 3), np.float32)
        self.colour[:] = linear(decoy.colour)
        self.gloss, self.rough = 0.05, 0.4

    def noise(self, scale_mm: float, exponent: float = 1.5) -> Map:
        return noise(self.rng, self.x.shape, scale_mm / self.mm, exponent)

    def raise_to(self, height: Map) -> None:
        np.maximum(self.height, height, out=self.height)


def _round_bar(x: Map, y: Map, half_length: float, half_width: Map | float, height: float) -> Map:
    """Rounded finger-like bar along x; its height map."""
    end = np.maximum(np.abs(x) - half_length, 0)
    q = (end * end + y * y) / np.square(half_width)
    return (height * np.sqrt(np.maximum(1 - q, 0))).astype(np.float32)


def _disc(p: Patch, radius: float, power: float, height: float) -> Map:
    r = np.sqrt(p.x**2 + p.y**2) / radius
    return (height * np.maximum(1 - r**power, 0) * (r < 1)).astype(np.float32)


def _hollow(p: Patch, radius: float, thick: float, height: float) -> Map:
    r = np.sqrt(p.x**2 + p.y**2)
    edge = np.clip((thick / 2 - np.abs(r - radius)) / p.mm + 0.5, 0, 1)
    return (edge * height).astype(np.float32)


def _crumbs(p: Patch, size: float) -> None:
    for _ in range(int(p.rng.integers(3, 40))):
        c = p.rng.normal(0, size * 0.5, 2)
        r = p.rng.uniform(0.3, 3.0) * p.rng.random() + 0.3
        q = ((p.x - c[0]) ** 2 + ((p.y - c[1]) * p.rng.uniform(0.6, 1.4)) ** 2) / r**2
        p.raise_to((r * np.sqrt(np.maximum(1 - q, 0))).astype(np.float32))
    p.colour *= np.clip(1 + 0.3 * p.noise(0.3, 0.8), 0.2, 2)[..., None]


def _spoon(p: Patch, size: float) -> None:
    bowl = ((p.x + size * 0.35) / (size * 0.16)) ** 2 + (p.y / (size * 0.1)) ** 2
    p.raise_to(
        (np.clip((1 - bowl) * 4, 0, 1) * 6 - 4 * np.maximum(1 - bowl * 1.15, 0)).astype(np.float32)
    )
    p.raise_to(_round_bar(p.x - size * 0.15, p.y, size * 0.35, size * 0.022, 6))
    p.gloss, p.rough = 0.7, 0.2
    p.colour *= np.clip(1 + 0.4 * p.noise(0.2, 1.8), 0.2, 2)[..., None]


def _tip(p: Patch, size: float) -> None:
    size = min(size, 45)
    r = np.sqrt(p.x**2 + p.y**2)
    cone = np.clip((size * 0.5 - r) / (size * 0.34), 0, 1) * size * 0.7
    p.raise_to(np.where(r < size * 0.14, 3, cone).astype(np.float32))
    p.colour *= np.where(r < size * 0.14, 0.15, 1)[..., None]
    p.gloss, p.rough = 0.7, 0.15


def _towel(p: Patch, size: float) -> None:
    inside = smoothstep(((p.y - 4 * p.noise(0.35, 2.0)) / 3).astype(np.float32))
    inside = inside * ((np.abs(p.x) < 1.2 * size) & (p.y < 1.2 * size))
    folds = 7 + 4 * p.noise(0.35, 2.0)
    p.raise_to((inside * np.maximum(folds, 2)).astype(np.float32))
    pitch = p.rng.uniform(6, 30)
    stripe = np.sin(p.x * 6.28 / pitch) > p.rng.uniform(-0.5, 0.9)
    p.colour *= np.where(stripe, 1, p.rng.uniform(0.2, 1))[..., None]
    p.colour *= np.clip(1 + 0.1 * p.noise(0.3, 0.3), 0.3, 2)[..., None]


def _hand(p: Patch, size: float) -> None:
    size = min(size, 160)
    w = size * 0.07
    p.raise_to(_round_bar(p.x + size * 0.3, p.y, size * 0.18, size * 0.24, 22))
    for i in range(4):
        a = np.deg2rad((i - 1.5) * p.rng.uniform(4, 14))
        x, y = p.x - size * 0.05, p.y - (i - 1.5) * 2.2 * w
        u, v = x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a)
        length = size * (0.2 + 0.05 * (i in (1, 2)))
        p.raise_to(_round_bar(u - length * 0.6, v, length, w, 15))
        nail = ((u - length * 1.55) / (w * 0.7)) ** 2 + (v / (w * 0.55)) ** 2 < 1
        p.colour[nail] = p.colour[nail] * 0.8 + 0.15
    p.colour *= np.clip(1 + 0.05 * p.noise(1.0, 1.2), 0.3, 2)[..., None]
    p.gloss = 0.06


def _knife(p: Patch, size: float) -> None:
    blade = (
        (p.x < 0)
        & (p.x > -size * 0.6)
        & (np.abs(p.y) < size * 0.06 * np.clip((p.x + size * 0.6) / (size * 0.2), 0, 1))
    )
    p.raise_to(np.where(blade, 2.0, 0).astype(np.float32))
    grip = _round_bar(p.x - size * 0.2, p.y, size * 0.18, size * 0.05, 12)
    p.colour[grip > 0] = linear(tuple(p.rng.uniform(15, 140, 3)))
    p.raise_to(grip)
    p.gloss, p.rough = 0.6, 0.2


def _cup(p: Patch, size: float) -> None:
    r0 = size * 0.5
    p.raise_to(_hollow(p, r0, 3.5, 40))
    r = np.sqrt(p.x**2 + p.y**2)
    p.raise_to(np.where(r < r0 - 1.5, 12, 0).astype(np.float32))
    if p.rng.random() < 0.7:
        p.colour[r < r0 - 1.5] = linear(tuple(p.rng.uniform(10, 255, 3)))
    p.gloss, p.rough = 0.3, 0.2


def _jar(p: Patch, size: float) -> None:
    r = np.sqrt(p.x**2 + p.y**2)
    p.raise_to(np.where(r < size * 0.45, 45, 0).astype(np.float32))
    ring = np.sin(r * p.rng.uniform(0.3, 2.0))
    p.colour *= (1 + 0.15 * ring)[..., None]
    p.gloss, p.rough = 0.5, 0.2


def _wires(p: Patch, size: float) -> None:
    pitch = p.rng.uniform(9, 25)
    for u, w in ((p.x, 1.2), (p.y, 1.8)):
        step = pitch if w < 1.5 else pitch * p.rng.uniform(3, 8)
        d = np.abs((u % step) - step / 2)
        bars = (2.5 * w * np.sqrt(np.maximum(1 - (d / w) ** 2, 0))).astype(np.float32)
        bars = bars * ((np.abs(p.x) < size) & (np.abs(p.y) < size))
        p.raise_to(bars)
    p.gloss, p.rough = 0.7, 0.2


def _egg_shell(p: Patch, size: float) -> None:
    size = min(size, 55)
    t = np.arctan2(p.y, p.x)
    jag = 1 + 0.12 * np.sin(7 * t + p.rng.uniform(0, 6)) + 0.08 * np.sin(13 * t)
    r = np.sqrt(p.x**2 + (p.y * 1.2) ** 2) / (size * 0.4 * jag)
    bowl = np.clip((1 - r) * 12, 0, 1) * (4 + 12 * r * r)
    p.raise_to(bowl.astype(np.float32))


def _paper(p: Patch, size: float) -> None:
    n = int(p.rng.integers(4, 7))
    t = np.sort(p.rng.uniform(0, 2 * np.pi, n))
    inside = np.ones(p.x.shape, bool)
    for a in t:
        inside &= p.x * np.cos(a) + p.y * np.sin(a) < size * p.rng.uniform(0.15, 0.5)
    inside &= np.hypot(p.x, p.y) < size
    p.raise_to((inside * np.maximum(0.4 + 1.2 * p.noise(0.2, 2.0), 0.1)).astype(np.float32))
    if p.rng.random() < 0.5:
        lines = (np.sin(p.y * p.rng.uniform(0.8, 2.5)) > 0.6) & (p.noise(0.6, 0.8) > -0.3)
        p.colour[lines] *= 0.25


def _cap(p: Patch, _size: float) -> None:
    """Crimped bottle cap."""
    t = np.arctan2(p.y, p.x)
    radius = 15.5 + 0.7 * np.sin(21 * t)
    r = np.sqrt(p.x**2 + p.y**2)
    top = np.clip((radius - r) / 3.0, 0, 1) * 6
    p.raise_to(np.minimum(top, 5.5).astype(np.float32))
    emblem = (np.abs(p.x) < 6) & (np.abs(p.y) < 2 + 3 * np.cos(p.x))
    p.colour[emblem] = linear(tuple(p.rng.uniform(0, 255, 3)))
    p.gloss, p.rough = 0.6, 0.2


def _screw(p: Patch, _size: float) -> None:
    thread = 1.6 + 0.4 * np.sin(p.x * 4.5)
    p.raise_to(_round_bar(p.x, p.y, 10, thread, 3))
    p.raise_to(_round_bar((p.x + 11) * 3, p.y, 1, 4.0, 6))
    p.gloss, p.rough = 0.7, 0.2


def _egg(p: Patch, _size: float) -> None:
    q = (p.x / 28) ** 2 + (p.y / (21 + 0.12 * p.x)) ** 2
    p.raise_to((40 * np.sqrt(np.maximum(1 - q, 0)) * 0.9).astype(np.float32))
    p.colour *= np.clip(1 + 0.04 * p.noise(0.5, 0.6), 0.3, 2)[..., None]


def _bowl(p: Patch, size: float) -> None:
    r = np.sqrt(p.x**2 + p.y**2) / size
    p.raise_to((np.clip((1 - r) * size, 0, 1) * (6 + 44 * r**3)).astype(np.float32))
    p.colour[r < 0.75] = linear(tuple(p.rng.uniform(60, 255, 3)))
    p.gloss, p.rough = 0.3, 0.2


def _fruit(p: Patch, size: float) -> None:
    """Berries and nuts: small shiny balls."""
    for _ in range(int(p.rng.integers(1, 7))):
        c = p.rng.normal(0, size * 0.35, 2)
        r = p.rng.uniform(4, 9)
        q = ((p.x - c[0]) ** 2 + (p.y - c[1]) ** 2) / r**2
        p.raise_to((1.7 * r * np.sqrt(np.maximum(1 - q, 0))).astype(np.float32))
    p.gloss, p.rough = 0.2, 0.25


def _glare(p: Patch, size: float) -> None:
    """A blown-out blob: no height, only brightness (a flat light mark)."""
    q = (p.x / (size * 0.3)) ** 2 + (p.y / (size * p.rng.uniform(0.15, 0.3))) ** 2
    p.colour[:] = 2.5
    p.height[:] = np.exp(-q * p.rng.uniform(1, 3)).astype(np.float32)


#: kind: (painter, reach of its patch in sizes, smallest reach mm)
PAINTERS: dict[str, tuple[Callable[[Patch, float], None], float, float]] = {
    "crumbs": (_crumbs, 2.0, 10),
    "spoon": (_spoon, 0.6, 10),
    "tip": (_tip, 0.6, 30),
    "towel": (_towel, 1.8, 60),
    "hand": (_hand, 0.8, 90),
    "knife": (_knife, 0.7, 20),
    "cup": (_cup, 0.6, 20),
    "jar": (_jar, 0.5, 20),
    "wires": (_wires, 1.5, 40),
    "egg_shell": (_egg_shell, 0.7, 40),
    "paper": (_paper, 1.1, 10),
    "cap": (_cap, 0.1, 19),
    "screw": (_screw, 0.1, 20),
    "egg": (_egg, 0.1, 35),
    "bowl": (_bowl, 1.05, 20),
    "fruit": (_fruit, 1.2, 30),
    "glare": (_glare, 1.0, 10),
}


def draw_decoy(plan: Plan, decoy: Decoy) -> None:
    """Lay a decoy on the plan."""
    painter, sizes, least = PAINTERS[decoy.kind]
    patch = Patch(plan, decoy, max(sizes * decoy.size_mm, least))
    if patch.box is None:
        return
    painter(patch, decoy.size_mm)
    view, base = plan.ground[patch.box], plan.base[patch.box]
    if decoy.kind == "glare":
        view += patch.height[..., None] * (patch.colour - view) * 0.6
        return
    cover = np.clip(patch.height / np.float32(0.25), 0, 1)
    lifted = patch.height + np.float32(decoy.lift_mm) * cover
    shown = cover * (lifted > base)
    view += shown[..., None] * (patch.colour - view)
    np.maximum(base, lifted, out=base)
    for layer, value in ((plan.gloss, patch.gloss), (plan.rough, patch.rough)):
        cell = layer[patch.box]
        cell += shown * (value - cell)
    plan.bump[patch.box] *= 1 - shown
