"""Pictures that lie on things: liners, tables, the printed card. Arrays in and out.

Colour pictures are sRGB uint8 (H, W, 3), red first; relief is uint16 (H, W), 32768 = level.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain import card as printed
from tests.traced.mesh import Array, linear_to_srgb, smooth_noise, srgb_to_linear

CARD_PX_PER_MM = 20
CARD_PICTURE_MM = (85.60, 54.0)  # whole pixels; the last 0.02 mm lie outside the card


@dataclass(frozen=True, slots=True)
class Skin:
    """How a surface looks: its picture, its relief, the relief's full swing, and its gloss."""

    colour: NDArray[np.uint8]
    relief: NDArray[np.uint16] | None
    swing_mm: float
    roughness: float
    metallic: float = 0.0
    solid: NDArray[np.uint8] | None = None  # (H, W): 255 where it is there, 0 in its holes


def to_picture(linear: Array) -> NDArray[np.uint8]:
    return np.round(linear_to_srgb(linear)).astype(np.uint8)


def to_relief(height: Array) -> tuple[NDArray[np.uint16], float]:
    """Relief picture and its swing from a height map in mm."""
    swing = 2 * float(np.abs(height).max()) + 1e-6
    return np.round((height / swing + 0.5) * 65535).astype(np.uint16), swing


def card_picture(letter: str) -> NDArray[np.uint8]:
    """The card as printed, ``CARD_PX_PER_MM``; paper is a little less than white, ink not black."""
    s = CARD_PX_PER_MM
    w, h = (round(v * s) for v in CARD_PICTURE_MM)
    page = np.full((h, w), 255.0)
    board = printed.card_board(letter)
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, printed.DICTIONARY_NAME))
    ids = np.arange(board.first_marker, board.first_marker + board.marker_count)
    drawn = cv2.aruco.CharucoBoard(board.squares, board.square_mm, board.marker_mm, dictionary, ids)
    size = [round(n * board.square_mm * s) for n in board.squares]
    x, y = (round(v * s) for v in printed.BOARD_TOP_LEFT_MM)
    page[y:y + size[1], x:x + size[0]] = drawn.generateImage(tuple(size), marginSize=0)
    pw, ph = (round(v * s) for v in printed.PATCH_MM)
    x, y = (round(v * s) for v in printed.STRIP_TOP_LEFT_MM)
    for i, value in enumerate(printed.PATCHES_SRGB):
        page[y:y + ph, x + i * pw:x + (i + 1) * pw] = value
    linear = 0.025 + (0.83 - 0.025) * srgb_to_linear(page)
    return to_picture(np.repeat(linear[..., None], 3, 2) * [1.0, 0.99, 0.97])


def creases(rng: np.random.Generator, shape: tuple[int, int], count: int, px_per_mm: float
            ) -> Array:
    """Fold lines of a paper that was rolled and pressed flat: height in mm."""
    y, x = np.mgrid[:shape[0], :shape[1]] / px_per_mm
    height = np.zeros(shape)
    bend = smooth_noise(rng, shape, 90 * px_per_mm)
    for _ in range(count):
        way = rng.normal(np.pi / 2, 0.5) if rng.random() < 0.6 else rng.uniform(0, np.pi)
        px, py = rng.uniform(0, x[0, -1]), rng.uniform(0, y[-1, 0])
        d = (x - px) * np.cos(way) + (y - py) * np.sin(way) + 4 * bend
        along = (y - py) * np.cos(way) - (x - px) * np.sin(way)
        fade = np.exp(-((along / rng.uniform(40, 160)) ** 2))
        height += rng.choice([-1, 1]) * rng.uniform(0.03, 0.10) * fade * np.exp(
            -np.abs(d) / rng.uniform(0.6, 2.5))
    return height


def parchment(rng: np.random.Generator, size_mm: tuple[float, float], base_srgb: tuple[int, ...]
              ) -> Skin:
    s = 4.0
    shape = (round(size_mm[1] * s), round(size_mm[0] * s))
    fibre = smooth_noise(rng, shape, (2.0, 5.0)) + smooth_noise(rng, shape, (9.0, 9.0))
    cloud = smooth_noise(rng, shape, 160.0)
    linear = srgb_to_linear(base_srgb) * (1 + 0.012 * fibre + 0.012 * cloud)[..., None]
    blots = smooth_noise(rng, shape, 60.0) + 0.15 * smooth_noise(rng, shape, 22.0)
    grease = np.clip((blots - 1.9) / 0.5, 0, 1)[..., None]
    linear = linear * (1 - grease * [0.13, 0.16, 0.24])
    wave = (creases(rng, shape, 26, s) + 0.05 * smooth_noise(rng, shape, 26 * s)
            + 0.0035 * smooth_noise(rng, shape, 3.0))
    relief, swing = to_relief(wave)
    return Skin(to_picture(linear), relief, swing, 0.55)


def ring_mat(rng: np.random.Generator, size_mm: tuple[float, float],
             base_srgb: tuple[int, ...] = (205, 164, 122),
             ink_srgb: tuple[int, ...] = (124, 62, 40),
             ) -> tuple[Skin, list[dict[str, object]]]:
    """A mat with a woven core, printed rings in two sizes and a border. Also the rings."""
    s = 8
    shape = (round(size_mm[1] * s), round(size_mm[0] * s))
    y, x = np.mgrid[:shape[0], :shape[1]] / s
    weave = np.sin(2 * np.pi * x / 1.1) * np.sin(2 * np.pi * y / 1.1)
    cloud = smooth_noise(rng, (shape[0] // 4, shape[1] // 4), 50.0)
    cloud = cv2.resize(cloud, shape[::-1])
    tone = 1 + 0.035 * weave + 0.02 * cloud
    ink = np.zeros(shape, np.uint8)
    rings: list[dict[str, object]] = []
    for row in range(5):
        for column in range(7):
            centre = (size_mm[0] * (column + 0.6) / 7.2, size_mm[1] * (row + 0.6) / 5.2)
            for diameter in (36.0, 52.0):
                where = tuple(round(v * s * 16 - 8) for v in centre)
                cv2.circle(ink, where, round(diameter / 2 * s * 16), 255, 5, cv2.LINE_AA, 4)
                rings.append({"centre_mm": [round(v, 3) for v in centre], "diameter_mm": diameter})
    inset = 8 * s
    cv2.rectangle(ink, (inset, inset), (shape[1] - inset, shape[0] - inset), 255, 12)
    mask = (ink / 255.0)[..., None] * 0.75
    linear = srgb_to_linear(base_srgb) * tone[..., None]
    linear = linear * (1 - mask) + srgb_to_linear(ink_srgb) * mask
    relief, swing = to_relief(0.012 * weave)
    return Skin(to_picture(linear), relief, swing, 0.42), rings


def black_mat(rng: np.random.Generator, size_mm: tuple[float, float]) -> Skin:
    """A black mat with holes in a square net; the pan shines through a little."""
    s = 8
    shape = (round(size_mm[1] * s), round(size_mm[0] * s))
    y, x = np.mgrid[:shape[0], :shape[1]] / s
    pitch = 2.6
    hole = np.clip((0.62 - np.hypot(x % pitch - pitch / 2, y % pitch - pitch / 2)) / 0.15, 0, 1)
    cloud = cv2.resize(smooth_noise(rng, (shape[0] // 4, shape[1] // 4), 60.0), shape[::-1])
    linear = srgb_to_linear((46, 45, 46)) * (1 + 0.08 * cloud)[..., None]
    linear = linear * (1 - hole[..., None]) + srgb_to_linear((84, 80, 76)) * hole[..., None]
    relief, swing = to_relief(-0.12 * hole)
    return Skin(to_picture(linear), relief, swing, 0.5)


def wood(rng: np.random.Generator, size_mm: tuple[float, float], base_srgb: tuple[int, ...]
         ) -> Skin:
    s = 2.0
    shape = (round(size_mm[1] * s), round(size_mm[0] * s))
    plank = 120 * s
    row = (np.arange(shape[0]) // plank).astype(int)
    shift = rng.uniform(0, 40, row.max() + 1)[row][:, None]
    shade = rng.uniform(0.85, 1.1, row.max() + 1)[row][:, None]
    bend = smooth_noise(rng, shape, (70 * s, 500 * s))
    y = np.arange(shape[0])[:, None] / s
    grain = np.sin(2 * np.pi * (y / 11 + 1.3 * bend + shift))
    streak = smooth_noise(rng, shape, (1.6, 90 * s))
    tone = shade * (1 + 0.10 * grain + 0.07 * streak)
    joint = np.clip(1.5 - np.abs((np.arange(shape[0]) % plank) - 1.5), 0, 1)[:, None]
    tone = tone * (1 - 0.7 * joint)
    deep = np.array([1.0, 1.15, 1.3])
    linear = srgb_to_linear(base_srgb) * np.clip(tone, 0.1, 2)[..., None] ** deep
    relief, swing = to_relief(0.04 * streak - 0.5 * joint)
    return Skin(to_picture(linear), relief, swing, 0.42)


def stone(rng: np.random.Generator, size_mm: tuple[float, float]) -> Skin:
    s = 2.0
    shape = (round(size_mm[1] * s), round(size_mm[0] * s))
    speck = smooth_noise(rng, shape, 3.0)
    tone = (1 + 0.10 * smooth_noise(rng, shape, 150 * s) + 0.05 * smooth_noise(rng, shape, 20.0)
            - 0.45 * (speck > 1.7) + 0.25 * (speck < -1.9))
    linear = srgb_to_linear((152, 150, 146)) * np.clip(tone, 0.1, 2)[..., None]
    return Skin(to_picture(linear), None, 0.0, 0.25)


def cloth(rng: np.random.Generator, size_mm: tuple[float, float], base_srgb: tuple[int, ...],
          stripe_srgb: tuple[int, ...]) -> Skin:
    """Woven linen with stripes."""
    s = 3.0
    shape = (round(size_mm[1] * s), round(size_mm[0] * s))
    y, x = np.mgrid[:shape[0], :shape[1]] / s
    thread = np.sin(2 * np.pi * x / 0.9) * np.sin(2 * np.pi * y / 0.9)
    slub = smooth_noise(rng, shape, (1.5, 40.0)) + smooth_noise(rng, shape, (40.0, 1.5))
    stripe = (((x % 90) < 7) | (((x - 12) % 90) < 2)).astype(float)[..., None]
    linear = srgb_to_linear(base_srgb) * (1 - stripe) + srgb_to_linear(stripe_srgb) * stripe
    linear = linear * (1 + 0.06 * thread + 0.04 * slub)[..., None]
    fold = 0.35 * smooth_noise(rng, shape, (60 * s, 200 * s)) + 0.03 * thread + 0.02 * slub
    relief, swing = to_relief(fold)
    return Skin(to_picture(linear), relief, swing, 0.9)


def steel(rng: np.random.Generator, size_mm: tuple[float, float]) -> Skin:
    """Used pan steel: brushed along x, with stains and scratches."""
    s = 3.0
    shape = (round(size_mm[1] * s), round(size_mm[0] * s))
    stain = smooth_noise(rng, shape, 120.0)
    brushed = smooth_noise(rng, shape, (1.2, 220.0))
    tone = 1 - 0.10 * np.clip(stain - 0.8, 0, 1.5) + 0.02 * brushed
    warm = np.clip(stain - 1.2, 0, 1)[..., None] * [0.0, 0.05, 0.13]
    linear = srgb_to_linear((196, 196, 197)) * tone[..., None] * (1 - warm)
    relief, swing = to_relief(0.004 * brushed + 0.012 * smooth_noise(rng, shape, 60.0))
    return Skin(to_picture(linear), relief, swing, 0.36, metallic=1.0)
