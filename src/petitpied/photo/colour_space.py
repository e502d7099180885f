"""From picture codes to light and to CIELAB, D65.

sRGB's curve and primaries are those of IEC 61966-2-1; CIELAB is ISO/CIE 11664-4 under D65 for the
2 degree observer; differences are CIEDE2000 (ISO/CIE 11664-6).
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

#: linear sRGB to CIE XYZ, IEC 61966-2-1 (white: D65)
RGB_TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
     [0.0193339, 0.1191920, 0.9503041]]
)  # fmt: skip
#: XYZ of the white D65 for the 2 degree observer (ASTM E308)
WHITE = np.array([0.95047, 1.0, 1.08883])
#: share of light that code 0 is taken for: half of code 1's, so that a logarithm exists
DARKEST = 0.5 / 255 / 12.92


def linear_of(srgb: ArrayLike) -> Floats:
    """Linear light 0..1 of sRGB codes 0..255 (IEC 61966-2-1)."""
    c = np.asarray(srgb, float) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


#: natural logarithm of the linear light of each of the 256 codes
LOG_LIGHT = np.log(np.maximum(linear_of(np.arange(256)), DARKEST)).astype(np.float32)


def lab_of(linear_rgb: ArrayLike) -> Floats:
    """CIELAB (..., 3), D65, of linear sRGB light (..., 3), red first; 1 is the perfect white."""
    part = np.asarray(linear_rgb, float) @ (RGB_TO_XYZ.T / WHITE)
    limit = 6 / 29
    f = np.where(part > limit**3, np.cbrt(part), part / (3 * limit**2) + 4 / 29)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def delta_e00(lab: ArrayLike, other_lab: ArrayLike) -> Floats:
    """CIEDE2000 (...) between colours (..., 3), in the steps and signs of Sharma, Wu, Dalal, Color
    Res. Appl. 30 (2005) 21-30, equations 2 to 22."""
    first, second = np.asarray(lab, float), np.asarray(other_lab, float)
    (l1, a1, b1), (l2, a2, b2) = np.moveaxis(first, -1, 0), np.moveaxis(second, -1, 0)
    stretch = 1.5 - 0.5 * _nearly_one_from_25((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2)
    c1, c2 = np.hypot(stretch * a1, b1), np.hypot(stretch * a2, b2)
    h1, h2 = (np.arctan2(b, stretch * a) % (2 * np.pi) for a, b in ((a1, b1), (a2, b2)))
    grey = c1 * c2 == 0  # has no hue: the other's counts
    turn = np.where(grey, 0.0, h2 - h1)
    turn = np.where(np.abs(turn) > np.pi, turn - 2 * np.pi * np.sign(turn), turn)
    hue = np.where(grey, h1 + h2, h1 + turn / 2) % (2 * np.pi)
    light, chroma = (l1 + l2) / 2 - 50, (c1 + c2) / 2
    hues = (
        1 - 0.17 * np.cos(hue - np.deg2rad(30)) + 0.24 * np.cos(2 * hue)
        + 0.32 * np.cos(3 * hue + np.deg2rad(6)) - 0.20 * np.cos(4 * hue - np.deg2rad(63))
    )  # fmt: skip
    by_light = (l2 - l1) / (1 + 0.015 * light**2 / np.sqrt(20 + light**2))
    by_chroma = (c2 - c1) / (1 + 0.045 * chroma)
    by_hue = 2 * np.sqrt(c1 * c2) * np.sin(turn / 2) / (1 + 0.015 * chroma * hues)
    blue = np.deg2rad(60) * np.exp(-(((np.rad2deg(hue) - 275) / 25) ** 2))
    skew = -np.sin(blue) * 2 * _nearly_one_from_25(chroma)
    squared = by_light**2 + by_chroma**2 + by_hue**2 + skew * by_chroma * by_hue
    return np.asarray(np.sqrt(np.maximum(squared, 0.0)), float)


def _nearly_one_from_25(chroma: Floats) -> Floats:
    """Rises from 0 to 1 about a chroma of 25."""
    return np.asarray(np.sqrt(chroma**7 / (chroma**7 + 25.0**7)), float)
