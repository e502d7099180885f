"""From linear light to the picture a phone would save."""

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.description import Camera

Map = NDArray[np.float32]


def _encode(x: Map) -> Map:
    """Linear 0 to 1 to sRGB 0 to 1 (IEC 61966-2-1), by table."""
    grid = np.linspace(0, 1, 4097)
    table = np.where(grid <= 0.0031308, 12.92 * grid, 1.055 * grid ** (1 / 2.4) - 0.055)
    return table.astype(np.float32)[(np.clip(x, 0, 1) * 4096 + 0.5).astype(np.int32)]


def _motion(length_px: float, angle_deg: float) -> Map:
    n = int(np.ceil(length_px)) | 1
    kernel = np.zeros((n + 2, n + 2), np.float32)
    c = (n + 1) / 2
    d = length_px / 2 * np.array([np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))])
    ends = [tuple(int(v) for v in np.round((c + s * d) * 16)) for s in (-1, 1)]
    cv2.line(kernel, ends[0], ends[1], 1.0, 1, cv2.LINE_AA, 4)
    kernel = kernel + kernel[::-1, ::-1]  # no shift
    return kernel / kernel.sum()


def develop(light: Map, camera: Camera, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Linear colours (H, W, 3) R, G, B to uint8 (H, W, 3) B, G, R."""
    h, w = light.shape[:2]
    grey = light.mean(axis=2)
    bright = float(np.percentile(grey[::4, ::4], 96)) + 1e-4
    usual = float(np.median(grey[::4, ::4])) + 1e-4
    gain = min(0.72 / bright, 0.42 / usual) * camera.exposure
    x = light * np.float32(gain)
    x *= np.asarray(camera.white_balance, np.float32)
    u = (np.arange(w, dtype=np.float32) - w / 2) / (0.5 * np.hypot(w, h))
    v = (np.arange(h, dtype=np.float32) - h / 2) / (0.5 * np.hypot(w, h))
    x *= (1 - np.float32(camera.vignette) * (u[None] ** 2 + v[:, None] ** 2))[..., None]
    if camera.blur_px > 0.25:
        x = cv2.GaussianBlur(x, (0, 0), camera.blur_px)
    if camera.motion_px > 0:
        x = cv2.filter2D(x, -1, _motion(camera.motion_px, camera.motion_deg))
    grain = rng.standard_normal((h, w), dtype=np.float32)
    colour_grain = cv2.resize(
        rng.standard_normal((h // 2 + 1, w // 2 + 1, 3), dtype=np.float32), (w, h)
    )
    noise = (grain[..., None] + colour_grain) * np.float32(camera.noise)
    x += noise * np.sqrt(np.clip(x, 0.0, 1.5) * 0.6 + 0.02)
    # soft shoulder instead of a hard clip
    np.maximum(x, 0, out=x)
    x = np.where(x > 0.8, 0.8 + 0.2 * np.tanh((x - 0.8) * 4), x)
    y = _encode(x)
    y += np.float32(camera.contrast) * (y * y * (3 - 2 * y) - y)
    mean = y.mean(axis=2, keepdims=True)
    y = mean + (y - mean) * np.float32(0.0 if camera.grey else camera.saturation)
    if camera.sharpen > 0:
        y += np.float32(camera.sharpen) * (
            y - cv2.GaussianBlur(y, (0, 0), 1.1 * max(1.0, w / 3000))
        )
    return np.ascontiguousarray((np.clip(y, 0, 1) * 255 + 0.5).astype(np.uint8)[..., ::-1])
