"""A photo as decoded: upright pixels and the few facts of its header that we keep."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.lens import CameraGuess


@dataclass(frozen=True, slots=True)
class Photo:
    """Decoded picture, EXIF orientation applied.

    ``pixels_bgr`` is uint8 of shape (height, width, 3), blue-green-red, sRGB-encoded.
    Pixel (0, 0) is the centre of the first pixel (frame ``px``). Neither location nor any
    serial number of the device is ever kept.
    """

    name: str  # file name without folder
    sha256: str
    pixels_bgr: NDArray[np.uint8]
    taken_at: str | None = None  # ISO 8601, local time, as the camera wrote it
    camera: str | None = None  # maker and model
    focal_35mm_mm: float | None = None  # 35-mm-equivalent focal length (EXIF 0xA405)
    warnings: tuple[str, ...] = field(default=())
    focal_mm: float | None = None  # the lens's own focal length (EXIF 0x920A)
    digital_zoom: float | None = None  # EXIF 0xA404
    orientation: int = 1  # EXIF orientation that was applied to the pixels as stored
    lens: CameraGuess | None = None  # by a lens profile, where one fits
    frame_px: tuple[int, int] | None = None  # width, height in EXIF (0xA002, 0xA003), as stored
    edited: str | None = None  # the editing program, as told; "cropped" where that is told

    @property
    def width_px(self) -> int:
        return int(self.pixels_bgr.shape[1])

    @property
    def height_px(self) -> int:
        return int(self.pixels_bgr.shape[0])
