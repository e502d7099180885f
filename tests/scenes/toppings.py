"""What lies on caps and is no crack, and cracks as ovens make them: for scenes of surfaces."""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.description import Colour, Crack, Floats, ShellShape, Topping
from tests.scenes.noise import linear

Map = NDArray[np.float32]


def _walk(
    rng: np.random.Generator, start: Floats, heading: float, length_mm: float, wander: float
) -> Floats:
    """A crooked way (N, 2) in steps of 0.4 mm; ``wander`` is the turn's rms a step, rad."""
    turns = np.convolve(rng.normal(0, wander, max(3, round(length_mm / 0.4))), np.ones(3) / 1.7)
    way = heading + np.cumsum(turns)
    steps = 0.4 * np.column_stack([np.cos(way), np.sin(way)])
    return start + np.vstack([[0.0, 0.0], np.cumsum(steps, axis=0)])


def fissure(rng: np.random.Generator, shell: ShellShape) -> Crack:
    """A crack that runs outwards, across the dome or round the shoulder."""
    radius = float(shell.cap.radius_mm.mean())
    kind = ("radial", "across", "shoulder")[rng.integers(3)]
    start_way = rng.uniform(0, 2 * np.pi)
    at = radius * {"radial": 0.3, "across": rng.uniform(0, 0.4), "shoulder": 0.7}[kind]
    start = at * np.array([np.cos(start_way), np.sin(start_way)])
    heading = start_way + {
        "radial": 0.0,
        "across": np.pi * rng.uniform(0.7, 1.3),
        "shoulder": np.pi / 2,
    }[kind]
    path = _walk(rng, start, heading, rng.uniform(5, 26), rng.uniform(0.08, 0.3))
    if kind == "shoulder":  # bent round the middle
        t = np.linspace(0, 0.4 * len(path) / radius, len(path))
        c, s = np.cos(t - t.mean()), np.sin(t - t.mean())
        middle = path.mean(0)
        d = path - middle
        path = middle + np.column_stack([c * d[:, 0] - s * d[:, 1], s * d[:, 0] + c * d[:, 1]])
    outside = np.hypot(*path.T) > 0.9 * shell.cap.radius_mm.min()
    if outside.any():
        path = path[: int(outside.argmax())]
    width = float(np.exp(rng.uniform(np.log(0.35), np.log(2.2))))
    depth = float(min(rng.uniform(0.6, 2.4), 2.5 * width + 0.4))
    inner = float(rng.uniform(0.55, 1.0))
    return Crack(path + np.asarray(shell.cap.centre_mm), width, depth, kind, inner)


def hair(rng: np.random.Generator, shell: ShellShape) -> Topping:
    """A hair or a fibre of a cloth: long, even, smoothly bent, thin, dark or light."""
    radius = float(shell.cap.radius_mm.mean())
    way = rng.uniform(0, 2 * np.pi)
    start = radius * rng.uniform(0, 0.6) * np.array([np.cos(way), np.sin(way)])
    length = rng.uniform(6, 30)
    n = max(4, round(length / 0.4))
    bend = rng.uniform(-0.25, 0.25) + rng.uniform(-0.2, 0.2) * np.linspace(-1, 1, n)
    heading = rng.uniform(0, 2 * np.pi) + np.cumsum(bend * 0.4)
    path = start + np.cumsum(0.4 * np.column_stack([np.cos(heading), np.sin(heading)]), axis=0)
    path = path[np.hypot(*path.T) < 0.92 * shell.cap.radius_mm.min()]
    tone: Colour = (
        (40.0, 28.0, 22.0),
        (90.0, 62.0, 40.0),
        (225.0, 220.0, 210.0),
        (60.0, 80.0, 140.0),
    )[rng.integers(4)]
    width = float(rng.uniform(0.06, 0.16))
    return Topping("hair", path + np.asarray(shell.cap.centre_mm), width, 0.1, tone)


def sprinkle(rng: np.random.Generator, shell: ShellShape, tone: Colour) -> Topping:
    """A sugar rod, a nut splinter, a thread of coconut or a needle of rosemary: straight."""
    radius = float(shell.cap.radius_mm.mean())
    way, at = rng.uniform(0, 2 * np.pi), radius * np.sqrt(rng.uniform(0, 0.7))
    middle = at * np.array([np.cos(way), np.sin(way)]) + np.asarray(shell.cap.centre_mm)
    turn, half = rng.uniform(0, np.pi), rng.uniform(0.8, 4.0)
    along = half * np.array([np.cos(turn), np.sin(turn)])
    width = float(rng.uniform(0.5, 1.6))
    return Topping("sprinkle", np.array([middle - along, middle + along]), width, 0.7 * width, tone)


def crumbs(rng: np.random.Generator, shell: ShellShape, tone: Colour) -> list[Topping]:
    """Crumbs, alone or in a row as a finger leaves them."""
    radius = float(shell.cap.radius_mm.mean())
    way, at = rng.uniform(0, 2 * np.pi), radius * rng.uniform(0, 0.6)
    start = at * np.array([np.cos(way), np.sin(way)]) + np.asarray(shell.cap.centre_mm)
    step = rng.uniform(0.6, 3.0) * np.array([np.cos(way + 1.5), np.sin(way + 1.5)])
    out = []
    for n in range(int(rng.integers(2, 9))):
        place = start + n * step + rng.normal(0, 0.5, 2)
        if np.hypot(*(place - shell.cap.centre_mm)) > 0.85 * radius:
            break
        size = float(rng.uniform(0.4, 1.4))
        bit = rng.normal(0, 0.25 * size, (2, 2)) + place
        out.append(Topping("crumb", bit, size, 0.6 * size, tone))
    return out


def dressed(rng: np.random.Generator, shell: ShellShape, batch: np.random.Generator) -> ShellShape:
    """A shell with cracks on some, and hairs, sprinkles and crumbs as the batch has them.

    ``batch`` gives the same choices for every shell of a tray.
    """
    habit, tone_at = batch.uniform(0, 1, 4), batch.integers(5)
    tones: tuple[Colour, ...] = (
        (235.0, 80.0, 110.0),
        (250.0, 246.0, 236.0),
        (60.0, 38.0, 26.0),
        (120.0, 86.0, 50.0),
        (80.0, 130.0, 70.0),
    )
    tone = tones[tone_at]
    cracks: tuple[Crack, ...] = ()
    if rng.random() < 0.3:
        cracks = tuple(fissure(rng, shell) for _ in range(1 + int(rng.random() < 0.3)))
    toppings: list[Topping] = []
    if rng.random() < 0.25 * (habit[0] < 0.7):
        toppings += [hair(rng, shell) for _ in range(int(rng.integers(1, 3)))]
    if habit[1] < 0.35:
        toppings += [sprinkle(rng, shell, tone) for _ in range(int(rng.integers(1, 14)))]
    if rng.random() < 0.3 * (habit[2] < 0.6):
        toppings += crumbs(rng, shell, tone if habit[3] < 0.5 else shell.foot_colour)
    good = tuple(t for t in toppings if len(t.path_mm) >= 2)
    long = tuple(c for c in cracks if len(c.path_mm) >= 8)
    return replace(shell, cracks=long, toppings=good)


def topping_cover(topping: Topping, origin_mm: Floats, shape: tuple[int, int], mm: float) -> Map:
    """How much of each place a topping covers, 0 to 1."""
    mask = np.zeros(shape, np.uint8)
    path = np.round((topping.path_mm - origin_mm) / mm * 16).astype(np.int32)
    wide = topping.width_mm / mm
    cv2.polylines(mask, [path], False, 255, max(1, round(wide)), cv2.LINE_AA, 4)
    return mask.astype(np.float32) / 255 * np.float32(min(1.0, wide))


def lay_toppings(shell: ShellShape, origin_mm: Floats, colour: Map, height: Map, mm: float) -> None:
    """Put a shell's toppings on its cap: linear ``colour`` (H, W, 3) and ``height`` (H, W)."""
    for topping in shell.toppings:
        cover = topping_cover(topping, origin_mm, height.shape, mm)
        rise = cv2.GaussianBlur(cover, (0, 0), max(0.4, 0.25 * topping.width_mm / mm))
        height += np.float32(topping.height_mm) * rise
        colour += cover[..., None] * (linear(topping.colour) - colour)
