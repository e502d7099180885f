"""A lens profile as text: OpenCV's own YAML, so that other software reads it, and a checksum."""

import hashlib
import re
from typing import Any

import cv2
import numpy as np

from petitpied.domain.errors import LensError
from petitpied.domain.lens import LENS_PARAMETERS, LensProfile

FORMAT = "petitpied/lens/1"
#: a profile has about 3 kB
MAX_BYTES = 100_000
_SEAL = re.compile(r'\nsha256: "([0-9a-f]{64})"\n$')


def profile_text(profile: LensProfile) -> str:
    """The profile as OpenCV's YAML; names of the calibration as OpenCV's own samples have them."""
    mode = cv2.FILE_STORAGE_WRITE | cv2.FILE_STORAGE_MEMORY | cv2.FILE_STORAGE_FORMAT_YAML
    store: Any = cv2.FileStorage(".yml", mode)
    store.write("format", FORMAT)
    store.write("camera", profile.camera or "")
    store.write("focal_mm", profile.focal_mm or 0.0)
    store.write("focal_35mm_mm", profile.focal_35mm_mm or 0.0)
    store.write("digital_zoom", profile.digital_zoom or 0.0)
    store.write("image_width", profile.width_px)
    store.write("image_height", profile.height_px)
    store.write("camera_matrix", profile.camera_matrix)
    store.write("distortion_coefficients", np.array([profile.dist]).T)
    store.write("avg_reprojection_error", profile.rms_px)
    store.write("nr_of_frames", profile.photos)
    store.write("coverage_rel", profile.coverage_rel)
    store.write("distance_mm", profile.distance_mm)
    store.write("parameters", " ".join(LENS_PARAMETERS))
    store.write("standard_uncertainties", profile.sigmas[:, None])
    store.write("covariance", profile.covariance)
    text = str(store.releaseAndGetString())
    return f'{text}sha256: "{_digest(text)}"\n'


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def profile_from_text(data: bytes, name: str) -> LensProfile:
    """The profile in a file's bytes; they are untrusted.

    Raises
    ------
    LensError
        If it is no profile of ours, cut short, or changed since it was written.
    """
    try:
        text = data.decode().replace("\r\n", "\n") if len(data) <= MAX_BYTES else ""
    except UnicodeDecodeError:
        text = ""
    if not text.startswith("%YAML") or f"format: {_quoted(FORMAT)}" not in text[:200]:
        raise _unusable(name, "it is no lens profile of this program")
    seal = _SEAL.search(text)
    if seal is None:
        raise _unusable(name, "it is cut short: its last line, the checksum, is missing")
    if _digest(text[: seal.start() + 1]) != seal.group(1):
        raise _unusable(name, "it was edited or damaged after it was written")
    try:
        return _read(text)
    except (cv2.error, ValueError, TypeError) as fault:
        raise _unusable(name, "its numbers are no lens") from fault


def _quoted(text: str) -> str:
    """As OpenCV writes a string."""
    return text if re.fullmatch(r"[\w/ -]+", text) else f'"{text}"'


def _unusable(name: str, why: str) -> LensError:
    return LensError(
        what=f"{name} cannot be used as a lens profile",
        why=why,
        next_step="make it anew from photos of the lens chart (petitpied lens)",
    )


def _read(text: str) -> LensProfile:
    store: Any = cv2.FileStorage(text, cv2.FILE_STORAGE_READ | cv2.FILE_STORAGE_MEMORY)

    def number(name: str) -> float:
        return float(store.getNode(name).real())

    def matrix(name: str, shape: tuple[int, int]) -> Any:
        values = store.getNode(name).mat()
        if values is None or values.shape != shape or not np.isfinite(values).all():
            raise ValueError(f"{name} must be finite, of shape {shape}")
        return values.astype(float)

    k = matrix("camera_matrix", (3, 3))
    k1, k2, p1, p2, k3 = matrix("distortion_coefficients", (5, 1)).ravel().tolist()
    covariance = matrix("covariance", (8, 8))
    width, height = int(number("image_width")), int(number("image_height"))
    if not (k[0, 0] > 0 and width > 0 and height > 0 and (np.diag(covariance) >= 0).all()):
        raise ValueError("size, focal length and variances must be positive")
    return LensProfile(
        camera=store.getNode("camera").string() or None,
        focal_mm=number("focal_mm") or None,
        focal_35mm_mm=number("focal_35mm_mm") or None,
        width_px=width,
        height_px=height,
        focal_px=float(k[0, 0]),
        centre_px=(float(k[0, 2]), float(k[1, 2])),
        dist=(k1, k2, p1, p2, k3),
        covariance=covariance,
        rms_px=number("avg_reprojection_error"),
        coverage_rel=number("coverage_rel"),
        photos=int(number("nr_of_frames")),
        distance_mm=number("distance_mm"),
        digital_zoom=number("digital_zoom") or None,
    )
