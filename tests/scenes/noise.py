"""Textures: periodic random tiles with power-law spectra, sampled at any scale and turn."""

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

Map = NDArray[np.float32]
TILE_PX = 512


@lru_cache(maxsize=32)
def tile(exponent: float, number: int) -> Map:
    """Periodic tile (512, 512) of unit variance; amplitude falls as frequency**-exponent."""
    rng = np.random.default_rng([int(exponent * 100), number])
    spectrum = np.fft.rfft2(rng.standard_normal((TILE_PX, TILE_PX)))
    fy = np.fft.fftfreq(TILE_PX)[:, None] * TILE_PX
    fx = np.fft.rfftfreq(TILE_PX)[None] * TILE_PX
    f = np.hypot(fx, fy)
    f[0, 0] = 1
    spectrum *= f**-exponent * np.exp(-((f / 200) ** 2))
    spectrum[0, 0] = 0
    t = np.fft.irfft2(spectrum, s=(TILE_PX, TILE_PX))
    return (t / t.std()).astype(np.float32)


def noise(
    rng: np.random.Generator,
    shape: tuple[int, int],
    px_per_tile_px: float,
    exponent: float = 1.2,
    stretch: float = 1.0,
    turn_deg: float | None = None,
) -> Map:
    """Noise of unit variance, shape (H, W); one tile pixel covers ``px_per_tile_px`` pixels.

    ``stretch`` > 1 draws it out along ``turn_deg`` (any when None).
    """
    t = tile(exponent, int(rng.integers(3)))
    a = np.deg2rad(rng.uniform(0, 360) if turn_deg is None else turn_deg)
    k = 1.0 / max(px_per_tile_px, 1e-3)
    # output pixel -> tile pixel
    m = np.array(
        [
            [k / stretch * np.cos(a), k / stretch * np.sin(a), rng.uniform(0, TILE_PX)],
            [-k * np.sin(a), k * np.cos(a), rng.uniform(0, TILE_PX)],
        ]
    )
    return cv2.warpAffine(
        t,
        m,
        (shape[1], shape[0]),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_WRAP,
    )


def linear(colour: tuple[float, float, float] | NDArray[np.float64]) -> Map:
    """sRGB 0 to 255 to linear light 0 to 1 (IEC 61966-2-1)."""
    c = np.asarray(colour, np.float64) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4).astype(np.float32)


def smoothstep(x: Map) -> Map:
    """0 below 0, 1 above 1, smooth between; changes ``x``."""
    np.clip(x, 0, 1, out=x)
    return x * x * (3 - 2 * x)
