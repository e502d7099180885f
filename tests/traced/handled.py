"""Photos as phones and people hand them on, made from finished photos with their truth.

``python -m tests.traced.handled FROM_DIR TO_DIR NAME ...`` writes each named photo six times:

- ``_strong``: grain smoothed, shadows lifted locally with halos, detail and edges raised;
- ``_chat``: a lighter chain, then a chat program's copy: 1600 px, coarse JPEG, no EXIF;
- ``_dim``: a quarter of the light, brought back to six tenths by gain, smoothed and sharpened;
- ``_streak``: the hand moved by 9 px on a straight line while the shutter was open (few cards can
  be read then); ``_shake``: by 5 px;
- ``_crop``: 72 % of the width, off the middle, the header as it was (with the whole photo's size
  in it where the seed is even, as most phones write it).

The truth beside each is of the new pixels. How strong phones' chains are is common practice, no
source; the 1600 px of a chat copy likewise.
"""

import argparse
import copy
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.traced.mesh import Array

Float = NDArray[np.float32]
Pixels = NDArray[np.uint8]
STREAK_PX = 9.0
SHAKE_PX = 5.0
CROP_REL = 0.72
CHAT_LONG_SIDE_PX = 1600
LIGHT_LEFT = 0.25
GAIN_BACK = 2.4


@dataclass(frozen=True, slots=True)
class Handled:
    """A photo after it was handled: what became of its pixels (u, v) -> scale * (u, v) + shift."""

    pixels: Pixels
    quality: int
    keeps_exif: bool = True
    scale: float = 1.0
    shift_px: tuple[float, float] = (0.0, 0.0)


def to_linear(pixels: Pixels) -> Float:
    table = np.arange(256) / 255
    table = np.where(table <= 0.04045, table / 12.92, ((table + 0.055) / 1.055) ** 2.4)
    return table.astype(np.float32)[pixels]


def to_srgb(linear: Float) -> Float:
    c = np.clip(linear, 0, 1)
    return np.where(c <= 0.0031308, 12.92 * c, 1.055 * np.power(c, 1 / 2.4) - 0.055) * 255


def _luma(tone: Float) -> Float:
    return tone @ np.array([0.299, 0.587, 0.114], np.float32)


def smoothed(tone: Float, luma_level: float, chroma_px: int) -> Float:
    """Edge-keeping smoothing as noise reduction does it: colour far more than brightness."""
    parts = cv2.cvtColor(np.clip(tone, 0, 255).astype(np.uint8), cv2.COLOR_RGB2YCrCb)
    luma = cv2.bilateralFilter(parts[..., 0], 9, luma_level, 3.0)
    luma = cv2.addWeighted(luma, 0.55, cv2.medianBlur(luma, 5), 0.45, 0)
    colour = [cv2.medianBlur(np.ascontiguousarray(parts[..., i]), chroma_px) for i in (1, 2)]
    return cv2.cvtColor(np.dstack([luma, *colour]), cv2.COLOR_YCrCb2RGB).astype(np.float32)


def lifted(tone: Float, reach_px: float, flatten: float, detail: float) -> Float:
    """Local tone mapping: what is broad is drawn together, what is fine raised; halos at edges."""
    light = np.log(_luma(tone) + 8)
    broad = cv2.GaussianBlur(cv2.resize(light, None, fx=0.25, fy=0.25,
                                        interpolation=cv2.INTER_AREA), (0, 0), reach_px / 4)
    broad = cv2.resize(broad, light.shape[::-1], interpolation=cv2.INTER_LINEAR)
    middle = float(np.log(118.0))
    wanted = middle + (1 - flatten) * (broad - middle) + detail * (light - broad)
    return np.clip(tone * np.exp(wanted - light)[..., None], 0, 255)


def edged(tone: Float, sigma_px: float, strength: float) -> Float:
    luma = _luma(tone)
    gain = strength * (luma - cv2.GaussianBlur(luma, (0, 0), sigma_px))
    return np.clip(tone + np.clip(gain, -60, 60)[..., None], 0, 255)


def _pixels(tone: Float) -> Pixels:
    return np.round(np.clip(tone, 0, 255)).astype(np.uint8)


def strong(photo: Pixels, _truth: dict[str, Any], rng: np.random.Generator) -> Handled:
    """Every step of a phone's chain at the strength of its loudest setting."""
    tone = smoothed(photo.astype(np.float32), float(rng.uniform(22, 32)), 9)
    tone = lifted(tone, float(rng.uniform(30, 60)), float(rng.uniform(0.25, 0.4)),
                  float(rng.uniform(1.2, 1.4)))
    tone = edged(edged(tone, 1.5, float(rng.uniform(0.9, 1.3))), 4.0, 0.35)
    return Handled(_pixels(tone), 84)


def chat(photo: Pixels, _truth: dict[str, Any], rng: np.random.Generator) -> Handled:
    tone = lifted(smoothed(photo.astype(np.float32), 10.0, 5), 50.0, 0.2, 1.1)
    scale = CHAT_LONG_SIDE_PX / max(photo.shape[:2])
    small = cv2.resize(tone, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    edge = (scale - 1) / 2  # pixel centres: (0, 0) is the middle of the first
    return Handled(_pixels(edged(small, 0.9, 0.35)), int(rng.integers(62, 76)), False, scale,
                   (edge, edge))


def dim(photo: Pixels, _truth: dict[str, Any], rng: np.random.Generator) -> Handled:
    light = to_linear(photo) * LIGHT_LEFT
    sd = np.sqrt(0.012**2 * light + 0.0022**2)
    grain = rng.standard_normal(light.shape, np.float32)
    grain = 0.7 * grain + 0.7 * cv2.GaussianBlur(grain, (0, 0), 1.1) * 2.2
    tone = to_srgb((light + sd.astype(np.float32) * grain) * GAIN_BACK)
    return Handled(_pixels(edged(smoothed(tone, 12.0, 7), 1.2, 0.6)), 90)


def streak(photo: Pixels, _truth: dict[str, Any], rng: np.random.Generator) -> Handled:
    return moved(photo, STREAK_PX, rng)


def shake(photo: Pixels, _truth: dict[str, Any], rng: np.random.Generator) -> Handled:
    return moved(photo, SHAKE_PX, rng)


def moved(photo: Pixels, length_px: float, rng: np.random.Generator) -> Handled:
    """Blurred about the middle of the path, so that the truth stays where it was."""
    way, size = float(rng.uniform(0, np.pi)), 4 * int(length_px) + 1
    half = length_px / 2 * np.array([np.cos(way), np.sin(way)])
    middle = np.array([size // 2, size // 2])
    ends = [tuple(round(float(v) * 16) for v in middle * 4 + s * half * 4) for s in (-1, 1)]
    big = np.zeros((size * 4, size * 4), np.uint8)
    cv2.line(big, ends[0], ends[1], 255, 4, cv2.LINE_AA, 4)
    kernel = big.reshape(size, 4, size, 4).mean((1, 3))
    y, x = np.mgrid[:size, :size]
    off = [float((v * kernel).sum() / kernel.sum()) - size // 2 for v in (x, y)]
    kernel = cv2.warpAffine(kernel, np.array([[1, 0, -off[0]], [0, 1, -off[1]]]), (size, size))
    light = cv2.filter2D(to_linear(photo), -1, kernel / kernel.sum(),
                         borderType=cv2.BORDER_REPLICATE)
    return Handled(_pixels(edged(to_srgb(light), 1.2, 0.4)), 91)


def crop(photo: Pixels, truth: dict[str, Any], rng: np.random.Generator) -> Handled:
    """A window with every card whole, off the middle by a twentieth of the width at least."""
    height, width = photo.shape[:2]
    w, h = round(CROP_REL * width), round(float(rng.uniform(CROP_REL, 0.86)) * height)
    cards = _projected(truth, np.concatenate([np.asarray(c["corners_mm"], float)
                                              for c in truth["cards"][:1]]))
    low, high = cards.min(0) - 25, cards.max(0) + 25
    left, top = 0, 0
    for _ in range(1000):
        left, top = int(rng.integers(0, width - w + 1)), int(rng.integers(0, height - h + 1))
        aside = abs(left + w / 2 - width / 2)
        if (low > (left, top)).all() and (high < (left + w, top + h)).all() and (
                aside > 0.05 * width):
            break
    return Handled(photo[top:top + h, left:left + w].copy(), 92, shift_px=(-left, -top))


def _projected(truth: dict[str, Any], points_mm: Array) -> Array:
    m, k, d = np.array(truth["world_to_camera"]), np.array(truth["K"]), truth["dist"]
    c = points_mm @ m[:, :3].T + m[:, 3]
    xy = c[:, :2] / c[:, 2:]
    r2 = (xy**2).sum(1, keepdims=True)
    xy = xy * (1 + d["k1"] * r2 + d["k2"] * r2**2)
    return xy * k[[0, 1], [0, 1]] + k[:2, 2]


def new_truth(truth: dict[str, Any], handled: Handled, name: str, kind: str) -> dict[str, Any]:
    out = copy.deepcopy(truth)
    s, (dx, dy) = handled.scale, handled.shift_px
    k = out["K"]
    k[0][0], k[1][1] = k[0][0] * s, k[1][1] * s
    k[0][2], k[1][2] = k[0][2] * s + dx, k[1][2] * s + dy
    out["image"], out["handled"] = f"{name}.jpg", kind
    out["height"], out["width"] = handled.pixels.shape[:2]
    for shell in out["shells"]:
        line = np.asarray(shell["silhouette_px"], float) * s + (dx, dy)
        shell["silhouette_px"] = np.round(line, 2).tolist()
    return out


KINDS: dict[str, Callable[[Pixels, dict[str, Any], np.random.Generator], Handled]] = {
    "strong": strong, "chat": chat, "dim": dim, "streak": streak, "crop": crop,
    "shake": shake}


def hand_on(source: Path, target: Path, name: str, kinds: tuple[str, ...] = tuple(KINDS)) -> None:
    """Photos and truths of one named photo, as seen (its EXIF turn must be none)."""
    with Image.open(source / f"{name}.jpg") as image:
        exif, photo = image.getexif(), np.asarray(image.convert("RGB"))
    truth = json.loads((source / f"{name}.json").read_text(encoding="utf-8"))
    for kind in kinds:
        rng = np.random.default_rng([truth["seed"], list(KINDS).index(kind)])
        made = KINDS[kind](photo, truth, rng)
        path = target / f"{name}_{kind}.jpg"
        if kind == "crop" and truth["seed"] % 2 == 0:
            sub = exif.get_ifd(0x8769)
            sub[0xA002], sub[0xA003] = photo.shape[1], photo.shape[0]
        more = {"exif": exif} if made.keeps_exif else {}
        Image.fromarray(made.pixels).save(path, quality=made.quality, subsampling="4:2:0", **more)
        record = new_truth(truth, made, path.stem, kind)
        path.with_suffix(".json").write_text(json.dumps(record, separators=(",", ":")),
                                             encoding="utf-8")
        print(path.stem, made.pixels.shape, flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kinds", nargs="+", choices=tuple(KINDS), default=tuple(KINDS))
    parser.add_argument("source", type=Path)
    parser.add_argument("target", type=Path)
    parser.add_argument("names", nargs="+")
    args = parser.parse_args()
    args.target.mkdir(parents=True, exist_ok=True)
    for name in args.names:
        hand_on(args.source, args.target, name, tuple(args.kinds))


if __name__ == "__main__":
    main()
