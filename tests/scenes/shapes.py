"""Random shells: outlines, heights, colours and faults."""

from dataclasses import replace

import numpy as np

from tests.scenes.description import (
    ANGLES,
    Colour,
    Crack,
    Dimple,
    Floats,
    Outline,
    ShellShape,
    angles_rad,
)

FLAVOURS: dict[str, Colour] = {
    "pink": (232, 132, 150),
    "yellow": (240, 214, 92),
    "chocolate": (110, 66, 44),
    "dark": (62, 40, 34),
    "lilac": (196, 174, 224),
    "vanilla": (244, 228, 192),
    "pistachio": (176, 204, 120),
    "white": (248, 244, 236),
    "blue": (120, 170, 214),
    "mint": (170, 222, 200),
    "red": (190, 44, 52),
    "orange": (240, 150, 70),
    "coffee": (176, 130, 92),
    "grey": (150, 148, 146),
    "black": (44, 42, 44),
    "caramel": (206, 150, 92),
    "green": (96, 140, 70),
    "violet": (120, 80, 150),
}


def wobble(
    rng: np.random.Generator, radius_mm: float, amount_rel: float, orders: int = 7
) -> Floats:
    """Radius table with random harmonics of orders 2 and up; ``amount_rel`` is their rms."""
    t = angles_rad()
    r = np.zeros(ANGLES)
    for k in range(2, 2 + orders):
        size = amount_rel / (k - 1) ** 1.1
        r += rng.normal(0, size) * np.cos(k * t) + rng.normal(0, size) * np.sin(k * t)
    return radius_mm * (1 + r)


def ruffles(rng: np.random.Generator, size_mm: float, pitch_mm: float, radius_mm: float) -> Floats:
    """Fine waves of a foot's edge (ANGLES,), of unequal height and spacing."""
    n = max(12, round(2 * np.pi * radius_mm / pitch_mm))
    f = np.fft.rfftfreq(ANGLES) * ANGLES
    band = np.exp(-(((f - n) / (0.35 * n)) ** 2))
    spectrum = band * np.exp(2j * np.pi * rng.random(len(f)))
    wave = np.fft.irfft(spectrum, ANGLES)
    return size_mm * wave / wave.std()


def flat_sides(rng: np.random.Generator, radius: Floats, count: int) -> Floats:
    """Cut the outline by chords, corners kept a little round."""
    t = angles_rad()
    mean = float(radius.mean())
    for _ in range(count):
        c = np.cos(t - rng.uniform(0, 2 * np.pi))
        chord = mean * rng.uniform(0.68, 0.95) / np.maximum(c, 1e-3)
        p = 24.0  # soft minimum
        radius = np.where(c > 0.05, (radius**-p + chord**-p) ** (-1 / p), radius)
    return radius


def vary(rng: np.random.Generator, colour: Colour, size: float) -> Colour:
    """A colour near another, sRGB."""
    shift = rng.normal(0, size) + rng.normal(0, 0.5 * size, 3)
    return tuple(float(v) for v in np.clip(np.asarray(colour) + shift, 4, 253))  # type: ignore[return-value]


def crack(rng: np.random.Generator, cap: Outline) -> Crack:
    """A crooked fissure, radial or across."""
    mean = float(cap.radius_mm.mean())
    n = int(rng.integers(14, 36))
    length = mean * rng.uniform(0.35, 1.3)
    a = rng.uniform(0, 2 * np.pi)
    bend = np.cumsum(rng.normal(0, 0.22, n)) + rng.uniform(0, 2 * np.pi)
    steps = np.column_stack([np.cos(bend), np.sin(bend)]) * length / n
    path = np.cumsum(steps, axis=0)
    path -= path.mean(0)
    path += np.asarray(cap.centre_mm) + mean * rng.uniform(0, 0.5) * np.array(
        [np.cos(a), np.sin(a)]
    )
    inside = np.hypot(*(path - cap.centre_mm).T) < 0.93 * cap.radius_mm.min()
    path = path[inside]
    width = float(rng.uniform(0.35, 2.2))
    return Crack(path, width, float(rng.uniform(0.6, 2.5)), "radial")


def macaron(
    rng: np.random.Generator, centre_mm: Floats, diameter_mm: float, look: ShellShape
) -> ShellShape:
    """One shell of a batch: ``look`` carries the batch's colours and heights."""
    r = diameter_mm / 2
    lean = rng.normal(0, 0.35, 2) * rng.choice([0.6, 1, 3], p=[0.5, 0.4, 0.1])
    spread = rng.normal(look.foot.radius_mm[0], 0.3)
    has_foot = look.has_foot and rng.random() > 0.03
    cap = wobble(rng, r, rng.uniform(0.004, 0.018))
    if rng.random() < 0.08:  # oval, area kept
        q, t = rng.uniform(1.05, 1.3), angles_rad() - rng.uniform(0, np.pi)
        cap = cap / np.sqrt((np.cos(t) ** 2) / q + (np.sin(t) ** 2) * q)
    tear = rng.random() < 0.05
    if tear:
        d = np.cos(angles_rad() - rng.uniform(0, 2 * np.pi))
        cap = cap * (1 + rng.uniform(0.1, 0.35) * np.maximum(d, 0) ** 6)
    if has_foot:
        foot = cap + np.maximum(spread, -0.4) + (wobble(rng, 1.0, 0.15) - 1)
        foot += ruffles(rng, rng.uniform(0.05, 0.3), rng.uniform(1.0, 2.6), r)
    else:
        foot = cap - 0.3
    size = float(np.clip(diameter_mm / 42, 0.5, 1.6))
    rim = float(np.clip(look.rim_mm + rng.normal(0, 0.3), 3, 7)) * size
    high = max(rim + 2.0, (look.height_mm + rng.normal(0, 0.7)) * size)
    at = np.asarray(centre_mm)
    shell = replace(
        look,
        kind="macaron",
        cap=Outline((float(at[0] + lean[0]), float(at[1] + lean[1])), cap),
        foot=Outline((float(at[0]), float(at[1])), foot),
        rim_mm=rim,
        height_mm=float(high),
        foot_mm=float(np.clip(look.foot_mm + rng.normal(0, 0.25), 1.0, rim - 0.4)),
        colour=vary(rng, look.colour, 3),
        has_foot=has_foot,
        browning=float(np.clip(look.browning + rng.normal(0, 0.06), 0, 0.9)),
        teardrop=tear,
        seed=int(rng.integers(2**31)),
    )
    return faults(rng, shell)


def faults(rng: np.random.Generator, shell: ShellShape) -> ShellShape:
    """Cracks, dimples, peaks and lumps, at the batch's rates (``look.lumps_mm`` as the rate)."""
    rate = shell.lumps_mm
    cracks = tuple(crack(rng, shell.cap) for _ in range(rng.poisson(0.35 * rate)))
    cracks = tuple(c for c in cracks if len(c.path_mm) >= 6)
    mean = float(shell.cap.radius_mm.mean())
    dimples = []
    for _ in range(rng.poisson(0.3 * rate)):
        a, q = rng.uniform(0, 2 * np.pi), mean * rng.uniform(0, 0.6)
        at = (
            float(shell.cap.centre_mm[0] + q * np.cos(a)),
            float(shell.cap.centre_mm[1] + q * np.sin(a)),
        )
        dimples.append(Dimple(at, float(rng.uniform(3, 11)), float(rng.uniform(0.5, 2.0))))
    if rng.random() < 0.25 * rate:
        dimples.append(
            Dimple(shell.cap.centre_mm, float(rng.uniform(3, 8)), -float(rng.uniform(0.6, 2.2)))
        )
    lumps = (
        float(rng.uniform(0.2, 0.8)) if rng.random() < 0.15 * rate else float(rng.uniform(0, 0.15))
    )
    return replace(shell, cracks=cracks, dimples=tuple(dimples), lumps_mm=lumps)


def dough(
    rng: np.random.Generator, centre_mm: Floats, diameter_mm: float, look: ShellShape
) -> ShellShape:
    """A piece of dough or a cookie: thick, irregular, some sides flat, no foot."""
    r = diameter_mm / 2
    outline = wobble(rng, r, rng.uniform(0.01, 0.06), 9)
    outline = flat_sides(rng, outline, int(rng.integers(0, 4)))
    outline = outline + ruffles(rng, rng.uniform(0.02, 0.12), rng.uniform(5, 14), r)
    high = look.height_mm * float(rng.uniform(0.8, 1.25))
    at = (float(centre_mm[0]), float(centre_mm[1]))
    return replace(
        look,
        cap=Outline(at, outline),
        foot=Outline(at, outline + rng.uniform(-0.9, -0.1)),
        height_mm=high,
        rim_mm=high * float(rng.uniform(0.35, 0.85)),
        foot_mm=high * 0.3,
        cap_power=float(rng.choice([2.2, 3.5, 6, 9])),
        colour=vary(rng, look.colour, 5),
        has_foot=False,
        browning=float(np.clip(look.browning + rng.normal(0, 0.05), 0, 0.8)),
        lumps_mm=float(rng.uniform(0.2, 1.0)),
        cracks=tuple(
            c
            for c in (crack(rng, Outline(at, outline)) for _ in range(rng.poisson(0.6)))
            if len(c.path_mm) > 5
        ),
        seed=int(rng.integers(2**31)),
    )


def coin(
    rng: np.random.Generator, centre_mm: Floats, diameter_mm: float, look: ShellShape
) -> ShellShape:
    """A flat round piece with a raised edge and relief."""
    at = (float(centre_mm[0]), float(centre_mm[1]))
    high = float(rng.uniform(1.6, 3.5))
    outline = np.full(ANGLES, diameter_mm / 2)
    return replace(
        look,
        cap=Outline(at, outline),
        foot=Outline(at, outline - 0.3),
        height_mm=high,
        rim_mm=high,
        foot_mm=high * 0.5,
        cap_power=10.0,
        colour=vary(rng, look.colour, 10),
        has_foot=False,
        lumps_mm=float(rng.uniform(0.1, 0.25)),
        seed=int(rng.integers(2**31)),
    )
