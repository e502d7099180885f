"""Is this photo taken with that lens? Then what the profile says of its picture: crop, scale and
turn allowed for, and how far focusing may have moved it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from petitpied.camera.lens.turns import stored_size, turn_matrix
from petitpied.domain.lens import CameraGuess, LensProfile
from petitpied.domain.photo import Photo

Floats = NDArray[np.float64]

#: same shape of picture: sizes are rounded to whole pixels, often to multiples of 16
SHAPE_REL = 0.01
#: a camera cuts its field to 16:9 or to a square, or little more (21:9): a panorama is no cut
MOST_CUT = 1.8
#: the lens's own focal length is written to 1 or 2 decimals of some 5 mm
FOCAL_REL = 0.02
#: the 35-mm-equivalent focal length is a whole number of millimetres (EXIF 2.32)
ROUNDING_MM = 0.5
#: focusing nearer or farther changes the focal length: 5.6 mm between 0.4 and 0.7 m by 0.6 %
#: (thin lens), about half of which phones take out (common practice, no source)
BREATHING_REL = 0.003
#: a stabiliser moves the principal point from photo to photo, relative to the diagonal
#: (common practice, no source)
STABILISER_REL = 0.001
#: a zoom that is not a whole number is known from the rounded focal lengths alone
ZOOM_U_REL = 0.001


@dataclass(frozen=True)
class _Crop:
    """How much of the profile's field the photo shows: zoom, and its relative uncertainty."""

    zoom: float
    u_rel: float


def _other_lens(profile: LensProfile, photo: Photo) -> str | None:
    """In a few words why the photo's header speaks against this lens."""
    if None not in (photo.camera, profile.camera) and photo.camera != profile.camera:
        return f"the photo was taken by {photo.camera}"
    mine, other = photo.focal_mm, profile.focal_mm
    if mine is not None and other is not None and abs(mine / other - 1) > FOCAL_REL:
        return (
            f"the photo was taken with the camera's lens of {mine:g} mm, the profile with that "
            f"of {other:g} mm"
        )
    return None


def _pixel_scale(profile: LensProfile, photo: Photo) -> tuple[float, float]:
    """Photo's pixels a pixel of the profile before any zoom, and the photo's diagonal relative
    to the whole field's: 1, or less where the camera cut the sensor's field to another shape
    (16:9 of 4:3: whole width; 1:1: whole height)."""
    width, height = stored_size(photo.width_px, photo.height_px, photo.orientation)
    whole = float(np.hypot(profile.width_px, profile.height_px))
    across, down = width / profile.width_px, height / profile.height_px
    if abs(across / down - 1) <= SHAPE_REL:
        return float(np.hypot(width, height)) / whole, 1.0
    scale = max(across, down)
    return scale, float(np.hypot(width, height)) / (whole * scale)


def _crop_of_other_shape(profile: LensProfile, photo: Photo, shown_rel: float) -> _Crop | str:
    """A photo of another shape is taken for the whole width or height of the profile's field.

    Cameras differ in whether the 35-mm-equivalent focal length follows such a cut (it is by the
    picture's diagonal); one of both readings needs to fit, and no digital zoom be told.
    """
    mine, other = photo.focal_35mm_mm, profile.focal_35mm_mm
    width, height = stored_size(photo.width_px, photo.height_px, photo.orientation)
    difference = (
        f"the picture, {width} x {height} pixels, has another shape than the profile's, "
        f"{profile.width_px} x {profile.height_px}"
    )
    lying = (width - height) * (profile.width_px - profile.height_px) >= 0
    shape = width / height * profile.height_px / profile.width_px
    if not lying or max(shape, 1 / shape) > MOST_CUT:
        return difference
    if mine is None or other is None:
        return f"{difference}, and the header does not tell the zoom"
    if abs((photo.digital_zoom or 1.0) / (profile.digital_zoom or 1.0) - 1) > ZOOM_U_REL:
        return f"{difference}, and was zoomed into"
    # both focal lengths are rounded
    if min(abs(mine - other), abs(mine - other / shown_rel)) > 2 * ROUNDING_MM:
        return f"{difference}, and its focal length of {mine:g} mm does not explain the cut"
    return _Crop(1.0, 0.0)


def _crop(profile: LensProfile, photo: Photo, named: bool) -> _Crop | str:
    """Zoom of the photo against the profile; or why it is another lens."""
    mine, other = photo.focal_35mm_mm, profile.focal_35mm_mm
    if mine is None or other is None:
        return _Crop(1.0, 0.0) if named else "the header does not tell the zoom"
    zoom = mine / other
    u_rel = ROUNDING_MM / np.sqrt(3) * float(np.hypot(1 / mine, 1 / other))
    if abs(mine - other) <= ROUNDING_MM:
        return _Crop(1.0, 0.0)
    difference = f"the photo's focal length is {mine:g} mm and the profile's {other:g} mm"
    if photo.focal_mm is None or profile.focal_mm is None:
        return difference
    if zoom < 1:
        return f"{difference}: its field is wider than the one that was measured"
    within = 2 * u_rel
    if photo.digital_zoom is not None:
        told = photo.digital_zoom / (profile.digital_zoom or 1.0)
        if abs(told / zoom - 1) <= within:
            return _Crop(told, ZOOM_U_REL)
    if abs(round(zoom) / zoom - 1) <= within:  # the middle of a sensor of four times the pixels
        return _Crop(float(round(zoom)), ZOOM_U_REL)
    return _Crop(zoom, u_rel)


def camera_guess(profile: LensProfile, photo: Photo, *, named: bool = False) -> CameraGuess | str:
    """What the profile says of the photo's camera, upright picture; or, in a few words, why it
    is of another lens.

    Parameters
    ----------
    named : bool
        The baker named this profile: facts that the photo's header lacks are taken on trust,
        facts that contradict it are not.
    """
    if not named and (photo.camera is None or profile.camera is None):
        return "the header does not name the camera"
    fault = _other_lens(profile, photo)
    if fault is not None:
        return fault
    unzoomed, shown_rel = _pixel_scale(profile, photo)
    whole_field = shown_rel == 1.0
    crop = (
        _crop(profile, photo, named)
        if whole_field
        else _crop_of_other_shape(profile, photo, shown_rel)
    )
    if isinstance(crop, str):
        return crop
    diagonal = float(np.hypot(photo.width_px, photo.height_px))
    scale = unzoomed * crop.zoom
    turn = turn_matrix(photo.orientation)
    middle = (np.array([profile.width_px, profile.height_px]) - 1) / 2
    off = turn @ (np.array(profile.centre_px) - middle) * scale
    centre = (np.array([photo.width_px, photo.height_px]) - 1) / 2 + off
    k1, k2, p1, p2, k3 = profile.dist
    bend_x, bend_y = turn @ [p2, p1]  # (p2, p1) turns like a vector
    return replace(
        CameraGuess(profile.focal_px * scale, 0.0, (float(centre[0]), float(centre[1])), 0.0),
        dist=(k1, k2, float(bend_y), float(bend_x), k3),
        covariance=_covariance(profile.covariance, turn, scale, (crop.u_rel, diagonal)),
        profile=profile.title,
    )


def _covariance(given: Floats, turn: Floats, scale: float, doubts: tuple[float, float]) -> Floats:
    """The profile's covariance for the turned, scaled picture, with what may have moved since;
    ``doubts``: the zoom's relative uncertainty, and the picture's diagonal, px."""
    change = np.eye(8)
    change[3:5, 3:5] = turn * scale
    change[5:7, 5:7] = turn[::-1, ::-1]
    covariance = change @ given @ change.T
    zoom_u_rel, diagonal_px = doubts
    covariance[0, 0] += BREATHING_REL**2 + zoom_u_rel**2
    covariance[[3, 4], [3, 4]] += (STABILISER_REL * diagonal_px) ** 2
    return np.asarray(covariance, float)


def choose(profiles: Sequence[LensProfile], photo: Photo) -> CameraGuess | None:
    """The stored lens that took the photo, nearest in zoom and size; None where none did."""
    fitting = [(p, g) for p in profiles if not isinstance(g := camera_guess(p, photo), str)]
    if not fitting:
        return None
    return min(fitting, key=lambda pair: abs(np.log(pair[1].focal_px / pair[0].focal_px)))[1]
