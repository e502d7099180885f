"""What shells lie on: the usual liners, and ones unlike those that anything was trained or tuned
on. Lengths in mm, frame tray."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.traced import textures
from tests.traced.mesh import Array, smooth_noise, srgb_to_linear
from tests.traced.scenes import TRAY_MM, Holes, Scene
from tests.traced.textures import Skin, to_picture, to_relief

Rng = np.random.Generator
INSET_MM = {"white_parchment": 2.0, "brown_parchment": 4.0, "ring_mat": 3.0, "black_mat": 5.0}
USUAL_INSET_MM = 3.0
CURLING = ("white_parchment", "brown_parchment", "checked_paper", "dotted_paper", "template")
#: in liners of print, px a millimetre
PX_PER_MM = 8


def _ground(size_mm: tuple[float, float]) -> tuple[Array, Array]:
    """x and y (H, W) mm of a printed liner's picture."""
    y, x = np.mgrid[: round(size_mm[1] * PX_PER_MM), : round(size_mm[0] * PX_PER_MM)] / PX_PER_MM
    return x, y


def _inked(base_srgb: tuple[int, ...], ink_srgb: tuple[int, ...], ink: Array, tone: Array
           ) -> NDArray[np.uint8]:
    share = np.clip(ink, 0, 1)[..., None]
    linear = srgb_to_linear(base_srgb) * (1 - share) + srgb_to_linear(ink_srgb) * share
    return to_picture(linear * tone[..., None])


def _cloud(rng: Rng, shape: tuple[int, ...], size_mm: float) -> Array:
    small = smooth_noise(rng, (shape[0] // 8, shape[1] // 8), size_mm * PX_PER_MM / 8)
    return np.asarray(cv2.resize(small, shape[::-1]), float)


def _paper_relief(rng: Rng, shape: tuple[int, ...]) -> tuple[NDArray[np.uint16], float]:
    quarter = (shape[0] // 2, shape[1] // 2)
    wave = textures.creases(rng, quarter, 18, PX_PER_MM / 2)
    return to_relief(wave + 0.04 * smooth_noise(rng, quarter, 100.0))


def checked_paper(rng: Rng, size: tuple[float, float], base: tuple[int, ...],
                  ink: tuple[int, ...]) -> Skin:
    """Waxed paper with a woven check printed on it."""
    x, y = _ground(size)
    pitch = float(rng.uniform(9, 26))
    bands = 0.5 * ((x % (2 * pitch)) < pitch) + 0.5 * ((y % (2 * pitch)) < pitch)
    relief, swing = _paper_relief(rng, x.shape)
    return Skin(_inked(base, ink, 0.55 * bands, 1 + 0.02 * _cloud(rng, x.shape, 30)),
                relief, swing, 0.35)


def dotted_paper(rng: Rng, size: tuple[float, float], base: tuple[int, ...],
                 ink: tuple[int, ...]) -> Skin:
    """Paper with dots, half a shell across or smaller."""
    x, y = _ground(size)
    pitch, radius = float(rng.uniform(16, 34)), float(rng.uniform(3, 9))
    row = np.floor(y / pitch)
    off = np.hypot((x + 0.5 * pitch * (row % 2)) % pitch - pitch / 2, y % pitch - pitch / 2)
    relief, swing = _paper_relief(rng, x.shape)
    return Skin(_inked(base, ink, (radius - off) * PX_PER_MM / 2, 1 + 0.02 * _cloud(
        rng, x.shape, 30)), relief, swing, 0.5)


def template(rng: Rng, size: tuple[float, float], base: tuple[int, ...], ink: tuple[int, ...],
             diameter_mm: float) -> tuple[Skin, list[dict[str, Any]]]:
    """A printed template under translucent paper: filled discs, as large as piped rounds."""
    x, y = _ground(size)
    ink_share = np.zeros(x.shape, np.float32)
    discs = []
    across = diameter_mm * float(rng.uniform(0.7, 0.9))
    for row in range(4):
        for column in range(6):
            centre = (size[0] * (column + 0.55) / 6.1, size[1] * (row + 0.55) / 4.1)
            inside = across / 2 - np.hypot(x - centre[0], y - centre[1])
            ink_share = np.maximum(ink_share, np.clip(inside / 0.8 + 0.5, 0, 1))
            discs.append({"centre_mm": [round(v, 3) for v in centre],
                          "diameter_mm": round(across, 2)})
    relief, swing = _paper_relief(rng, x.shape)
    tone = 1 + 0.02 * _cloud(rng, x.shape, 30)
    return Skin(_inked(base, ink, 0.35 * ink_share, tone), relief, swing, 0.5), discs


def ruled_mat(rng: Rng, size: tuple[float, float], base: tuple[int, ...], ink: tuple[int, ...]
              ) -> Skin:
    """A pastry mat: a ruled net, wide circles for dough, numbers at the edge."""
    x, y = _ground(size)
    ink_share = np.zeros(x.shape, np.uint8)
    step = round(float(rng.choice([10.0, 20.0, 25.4])) * PX_PER_MM)
    ink_share[:, ::step] = ink_share[::step] = 255
    for shift in (1, 2):
        ink_share[:, shift::step] = ink_share[shift::step] = 255
    middle = (x.shape[1] // 2, x.shape[0] // 2)
    for diameter in (120, 180, 240):
        cv2.circle(ink_share, middle, diameter * PX_PER_MM // 2, 255, 7, cv2.LINE_AA)
        cv2.putText(ink_share, f"{diameter} mm", (middle[0] + diameter * PX_PER_MM // 2, middle[1]),
                    cv2.FONT_HERSHEY_DUPLEX, 1.6, 255, 4, cv2.LINE_AA)
    for number in range(1, x.shape[1] // step):
        cv2.putText(ink_share, str(number), (number * step + 8, 50), cv2.FONT_HERSHEY_DUPLEX, 1.4,
                    255, 3, cv2.LINE_AA)
    weave = np.sin(2 * np.pi * x / 1.3) * np.sin(2 * np.pi * y / 1.3)
    relief, swing = to_relief(0.01 * weave)
    return Skin(_inked(base, ink, ink_share / 255 * 0.8, 1 + 0.02 * weave), relief, swing, 0.4)


def foil(rng: Rng, size: tuple[float, float]) -> Skin:
    """Kitchen foil, smoothed by hand."""
    s = 4.0
    shape = (round(size[1] * s), round(size[0] * s))
    height = textures.creases(rng, shape, 60, s) + 0.05 * smooth_noise(rng, shape, 12 * s)
    tone = 1 + 0.03 * smooth_noise(rng, shape, 40 * s)
    relief, swing = to_relief(0.6 * height)
    return Skin(to_picture(srgb_to_linear((226, 227, 230)) * tone[..., None]), relief, swing, 0.30,
                metallic=1.0)


def enamel(rng: Rng, size: tuple[float, float], base: tuple[int, ...]) -> Skin:
    """A speckled enamel tray, bare and shiny."""
    s = 4.0
    shape = (round(size[1] * s), round(size[0] * s))
    speck = smooth_noise(rng, shape, 2.2)
    tone = 1 - 0.75 * (speck > 2.5) + 0.02 * smooth_noise(rng, shape, 60 * s)
    return Skin(to_picture(srgb_to_linear(base) * np.clip(tone, 0.05, 2)[..., None]), None, 0.0,
                0.12)


def slate(rng: Rng, size: tuple[float, float]) -> Skin:
    s = 4.0
    shape = (round(size[1] * s), round(size[0] * s))
    layers = smooth_noise(rng, shape, (20 * s, 60 * s)) + 0.4 * smooth_noise(rng, shape, 3 * s)
    relief, swing = to_relief(0.12 * np.floor(2 * layers) + 0.02 * smooth_noise(rng, shape, 3.0))
    tone = 1 + 0.12 * layers
    return Skin(to_picture(srgb_to_linear((62, 66, 72)) * np.clip(tone, 0.2, 2)[..., None]),
                relief, swing, 0.6)


def well_mat(rng: Rng, size: tuple[float, float], base: tuple[int, ...], diameter_mm: float
             ) -> tuple[Skin, list[dict[str, Any]]]:
    """A mat with raised rings that keep batter in place, of its own colour."""
    x, y = _ground(size)
    height, rings = np.zeros(x.shape), []
    across = diameter_mm * float(rng.uniform(1.02, 1.12))
    for row in range(4):
        for column in range(6):
            centre = (size[0] * (column + 0.55) / 6.1, size[1] * (row + 0.55) / 4.1)
            off = np.hypot(x - centre[0], y - centre[1]) - across / 2
            height = np.maximum(height, 0.5 * np.exp(-((off / 0.5) ** 2)))
            rings.append({"centre_mm": [round(v, 3) for v in centre],
                          "diameter_mm": round(across, 2)})
    relief, swing = to_relief(height)
    tone = 1 + 0.02 * _cloud(rng, x.shape, 40)
    return Skin(to_picture(srgb_to_linear(base) * tone[..., None]), relief, swing, 0.45), rings


def perforated_mat(rng: Rng, size: tuple[float, float], base: tuple[int, ...], holes: Holes
                   ) -> Skin:
    """Silicone with round holes right through, over a woven core: the pan is seen in them."""
    x, y = _ground(size)
    pitch = holes.pitch_mm
    row = np.floor(y / pitch)
    shift = 0.5 * pitch * (row % 2) if holes.staggered else 0.0
    off = np.hypot((x + shift) % pitch - pitch / 2, y % pitch - pitch / 2)
    margin = np.minimum(np.minimum(x, size[0] - x), np.minimum(y, size[1] - y))
    inside = np.where(margin < 6, -1.0, holes.across_mm / 2 - off)
    solid = np.round(255 * np.clip(0.5 - inside * PX_PER_MM, 0, 1)).astype(np.uint8)
    weave = np.sin(2 * np.pi * x / 1.0) * np.sin(2 * np.pi * y / 1.0)
    tone = (1 + 0.025 * weave + 0.02 * _cloud(rng, x.shape, 40)
            - 0.12 * np.exp(-((inside / 0.15) ** 2)))
    relief, swing = to_relief(0.008 * weave - 0.1 * np.clip(1 + inside / 0.25, 0, 1))
    return Skin(to_picture(srgb_to_linear(base) * tone[..., None]), relief, swing, 0.42,
                solid=solid)


def liner_skin(rng: Rng, scene: Scene, size: tuple[float, float]
               ) -> tuple[Skin, list[dict[str, Any]]]:
    """The liner's look, and the rings or discs printed on it (from the liner's own corner)."""
    liner = scene.liner
    base, ink = scene.liner_srgb or (236, 234, 228), scene.ink_srgb or (124, 62, 40)
    if liner == "ring_mat":
        colours = [c for c in (scene.liner_srgb, scene.ink_srgb) if c is not None]
        return textures.ring_mat(rng, size, *colours)
    if liner == "template":
        return template(rng, size, base, ink, scene.diameter_mm)
    if liner == "well_mat":
        return well_mat(rng, size, base, scene.diameter_mm)
    if liner == "perforated_mat":
        return perforated_mat(rng, size, base, scene.holes or Holes(2.0, 4.0)), []
    if liner == "brown_parchment":
        return textures.parchment(rng, size, scene.liner_srgb or (184, 142, 96)), []
    skins = {
        "white_parchment": lambda: textures.parchment(rng, size, base),
        "black_mat": lambda: textures.black_mat(rng, size),
        "checked_paper": lambda: checked_paper(rng, size, base, ink),
        "dotted_paper": lambda: dotted_paper(rng, size, base, ink),
        "ruled_mat": lambda: ruled_mat(rng, size, base, ink),
        "foil": lambda: foil(rng, size),
        "enamel": lambda: enamel(rng, size, base),
        "slate": lambda: slate(rng, size),
    }
    return skins[liner](), []


def laid_liner(rng: Rng, scene: Scene) -> tuple[Skin, float, bool, list[dict[str, Any]]]:
    """Look, inset from the tray's sides, whether the border curls, rings printed (frame tray)."""
    inset = INSET_MM.get(scene.liner, USUAL_INSET_MM)
    size = (TRAY_MM[0] - 2 * inset, TRAY_MM[1] - 2 * inset)
    skin, rings = liner_skin(rng, scene, size)
    rings = [{**r, "centre_mm": [v + inset for v in r["centre_mm"]]} for r in rings]
    return skin, inset, scene.liner in CURLING, rings
