"""What is known of a lens before a photo is measured, and a lens measured with the chart."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: order of a lens's covariance: focal length (relative), distortion, principal point (px)
LENS_PARAMETERS = ("f_rel", "k1", "k2", "cx_px", "cy_px", "p1", "p2", "k3")


@dataclass(frozen=True)
class CameraGuess:
    """What is known of a photo's camera before the photo is measured; square pixels.

    ``dist`` in OpenCV's order (k1, k2, p1, p2, k3). Standard uncertainties of single parameters,
    0: held; or, where ``covariance`` (8, 8) of `LENS_PARAMETERS` is given, that in their stead.
    ``profile`` names the lens profile that it comes from.
    """

    focal_px: float
    focal_sigma_rel: float
    centre_px: tuple[float, float]
    k1_sigma: float
    k2_sigma: float = 0.0
    centre_sigma_px: float = 0.0
    dist: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0)
    covariance: Floats | None = None
    profile: str | None = None

    def lens_covariance(self) -> Floats:
        """Covariance (8, 8) of `LENS_PARAMETERS`; zeros where a parameter is held."""
        if self.covariance is not None:
            return self.covariance
        centre = self.centre_sigma_px
        sigmas = [self.focal_sigma_rel, self.k1_sigma, self.k2_sigma, centre, centre, 0, 0, 0]
        return np.diag(np.array(sigmas, float) ** 2)


@dataclass(frozen=True)
class LensProfile:
    """A lens as measured from photos of the lens chart; frame: pixels as the camera stores
    them, before EXIF orientation, (0, 0) the centre of the first one; square pixels.

    ``dist`` in OpenCV's order; ``covariance`` (8, 8) of `LENS_PARAMETERS`, zeros where a
    parameter was held at its value; ``focal_mm`` and ``focal_35mm_mm`` as the header says them;
    ``coverage_rel`` share of the picture's field where the chart was seen; ``distance_mm`` median
    distance of the chart.
    """

    camera: str | None
    focal_mm: float | None
    focal_35mm_mm: float | None
    width_px: int
    height_px: int
    focal_px: float
    centre_px: tuple[float, float]
    dist: tuple[float, float, float, float, float]
    covariance: Floats
    rms_px: float
    coverage_rel: float
    photos: int
    distance_mm: float
    digital_zoom: float | None = None

    @property
    def title(self) -> str:
        """Camera, zoom and picture size in a few words."""
        zoom = "" if self.focal_35mm_mm is None else f", {self.focal_35mm_mm:g} mm"
        return f"{self.camera or 'unnamed camera'}{zoom}, {self.width_px} x {self.height_px}"

    @property
    def sigmas(self) -> Floats:
        """Standard uncertainties (8,) of `LENS_PARAMETERS`."""
        return np.asarray(np.sqrt(np.diag(self.covariance)), float)

    @property
    def camera_matrix(self) -> Floats:
        """Camera matrix (3, 3), pixels."""
        cx, cy = self.centre_px
        return np.array([[self.focal_px, 0, cx], [0, self.focal_px, cy], [0, 0, 1]])
