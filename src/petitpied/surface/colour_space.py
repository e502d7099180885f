"""From picture codes to light and to CIELAB, D65.

sRGB's curve and primaries are those of IEC 61966-2-1; CIELAB is ISO/CIE 11664-4 under D65 for the
2 degree observer; differences are CIEDE2000 (ISO/CIE 11664-6), by scikit-image.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

#: linear sRGB to CIE XYZ, IEC 61966-2-1 (white: D65)
RGB_TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
     [0.0193339, 0.1191920, 0.9503041]]
)  # fmt: skip
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
    from skimage.color import xyz2lab  # slow to import

    rgb = np.asarray(linear_rgb, float)
    xyz = (rgb.reshape(-1, 3) @ RGB_TO_XYZ.T)[None]
    return np.asarray(xyz2lab(xyz, illuminant="D65", observer="2")).reshape(rgb.shape)


def delta_e00(lab: ArrayLike, other_lab: ArrayLike) -> Floats:
    """CIEDE2000 (...) between colours (..., 3)."""
    from skimage.color import deltaE_ciede2000  # slow to import

    pair = np.broadcast_arrays(np.asarray(lab, float), np.asarray(other_lab, float))
    flat = (np.ascontiguousarray(p).reshape(-1, 3) for p in pair)
    difference: Any = deltaE_ciede2000(*flat)  # type: ignore[no-untyped-call]
    return np.asarray(difference, float).reshape(pair[0].shape[:-1])
