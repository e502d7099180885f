"""From linear light to a phone's JPEG: lens, exposure, noise, tone, sharpening, file."""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.traced.camera import Camera
from tests.traced.mesh import linear_to_srgb

Picture = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Effects:
    """What the phone does to the light; lengths in pixels of the finished picture."""

    vignette: float  # light lost in the corner
    defocus_sigma_px: float
    shot: float  # noise at full scale, before the tone curve
    read: float
    wb_gain: tuple[float, float, float]
    target_hi: float  # where the brightest paper lands, linear
    contrast: float
    saturation: float
    sharpen: float
    sharpen_sigma_px: float
    jpeg_quality: int
    exif_orientation: int


def drawn_effects(rng: np.random.Generator, orientation: int) -> Effects:
    def between(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    return Effects(
        vignette=between(0.10, 0.26), defocus_sigma_px=between(0.25, 0.5),
        shot=between(0.008, 0.014), read=0.0016,
        wb_gain=(between(0.96, 1.05), 1.0, between(0.95, 1.06)), target_hi=between(0.72, 0.84),
        contrast=between(0.14, 0.28), saturation=between(1.02, 1.12), sharpen=between(0.4, 0.65),
        sharpen_sigma_px=1.2, jpeg_quality=int(rng.integers(90, 94)),
        exif_orientation=orientation)


def through_lens(linear: Picture, film_focal_px: float, camera: Camera) -> Picture:
    """The pinhole film resampled to the camera's pixels, with its distortion."""
    height, width = linear.shape[:2]
    out = np.empty((camera.height_px, camera.width_px, 3), np.float32)
    for top in range(0, camera.height_px, 256):
        rows = np.arange(top, min(top + 256, camera.height_px))
        pixels = np.stack(np.meshgrid(np.arange(camera.width_px), rows), -1).astype(float)
        where = (camera.ideal(pixels) * film_focal_px + ((width - 1) / 2, (height - 1) / 2))
        x, y = (np.ascontiguousarray(where[..., i], np.float32) for i in (0, 1))
        out[rows] = cv2.remap(linear, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return np.maximum(out, 0)


def exposed(light: Picture, effects: Effects) -> tuple[Picture, float]:
    """White balance, vignette and a gain that brings the bright end to its target."""
    height, width = light.shape[:2]
    y, x = np.ogrid[:height, :width]
    r2 = ((x - width / 2) ** 2 + (y - height / 2) ** 2) / ((width**2 + height**2) / 4)
    fall = (1 - effects.vignette * r2.astype(np.float32))[..., None]
    luminance = light[::8, ::8] @ np.array([0.2126, 0.7152, 0.0722], np.float32)
    bright, middle = np.percentile(luminance, (96, 50))
    # a mostly bright scene is not pushed to the very top
    gain = float(min(effects.target_hi / max(bright, 1e-6), 0.66 / max(middle, 1e-6)))
    return light * fall * np.asarray(effects.wb_gain, np.float32) * gain, gain


def noisy(light: Picture, effects: Effects, rng: np.random.Generator) -> Picture:
    """Sensor noise, a little blotchy in colour as after demosaicing and noise reduction."""
    level = np.sqrt(effects.shot**2 * np.clip(light, 0, 1) + effects.read**2)
    grain = rng.standard_normal(light.shape, np.float32)
    fine = grain.mean(-1, keepdims=True) * np.float32(np.sqrt(3) * 0.75)
    colour = cv2.GaussianBlur(grain, (0, 0), 1.1) * 2.2
    colour -= colour.mean(-1, keepdims=True)
    return light + level.astype(np.float32) * (fine + 0.5 * colour)


def developed(light: Picture, effects: Effects) -> Picture:
    """Shoulder, sRGB curve, contrast, saturation; 0..255."""
    knee = 0.78
    over = np.maximum(light - knee, 0)
    soft = np.where(light > knee, knee + (1 - knee) * (1 - np.exp(-over / (1 - knee))), light)
    tone = (linear_to_srgb(soft) / 255).astype(np.float32)
    tone = tone + effects.contrast * (tone - 0.5) * tone * (1 - tone) * 2
    grey = tone @ np.array([0.299, 0.587, 0.114], np.float32)
    tone = grey[..., None] + effects.saturation * (tone - grey[..., None])
    return np.clip(tone, 0, 1) * 255


def sharpened(tone: Picture, effects: Effects) -> Picture:
    luma = tone @ np.array([0.299, 0.587, 0.114], np.float32)
    detail = luma - cv2.GaussianBlur(luma, (0, 0), effects.sharpen_sigma_px)
    return np.clip(tone + effects.sharpen * np.clip(detail, -28, 28)[..., None], 0, 255)


def photograph(linear: Picture, film_focal_px: float, camera: Camera, effects: Effects,
               rng: np.random.Generator) -> tuple[NDArray[np.uint8], float]:
    """The finished picture as displayed (H, W, 3), red first, and the exposure gain used."""
    light = through_lens(linear, film_focal_px, camera)
    light = cv2.GaussianBlur(light, (0, 0), effects.defocus_sigma_px)
    light, gain = exposed(light, effects)
    tone = sharpened(developed(noisy(light, effects, rng), effects), effects)
    return np.round(tone).astype(np.uint8), gain


def save_jpeg(path: Path, picture: NDArray[np.uint8], camera: Camera, effects: Effects) -> None:
    """Writes the file as a phone does: pixels as the sensor lay, the turn in EXIF."""
    turn = {1: None, 3: Image.Transpose.ROTATE_180, 6: Image.Transpose.ROTATE_90,
            8: Image.Transpose.ROTATE_270}[effects.exif_orientation]
    image = Image.fromarray(picture)
    if turn is not None:
        image = image.transpose(turn)
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Atelier Brume", "rendered scene"  # Make, Model
    exif[0x0112] = effects.exif_orientation
    exif[0x0131] = "tests.traced"  # Software
    sub = exif.get_ifd(0x8769)
    sub[0x9003] = "2026:11:21 10:30:00"  # DateTimeOriginal, made up
    sub[0x920A] = round(camera.focal_35mm / 6.0, 2)  # FocalLength of a small sensor, mm
    sub[0xA405] = round(camera.focal_35mm)  # FocalLengthIn35mmFilm
    image.save(path, quality=effects.jpeg_quality, subsampling="4:2:0", exif=exif, optimize=True)
