"""Is a picture a part cut out of what the camera took? Then its middle is not where the lens
looked, and its 35-mm-equivalent focal length is that of another frame."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from petitpied.camera.view import CENTRE_SIGMA_REL, guess_camera
from petitpied.domain.lens import CameraGuess
from petitpied.domain.photo import Photo
from petitpied.domain.view import View

Floats = NDArray[np.float64]

#: sides in one ratio, to this, are of one frame made smaller; rounding to whole pixels moves it by
#: less, rounding to multiples of 16 by little more
SAME_SHAPE_REL = 0.006
#: shapes of sensors, and those that cameras cut from them themselves (longer over shorter side):
#: 4:3, 3:2, 16:9, 16:10, 1:1, and the long ones of phones
CAMERA_SHAPES = (4 / 3, 3 / 2, 16 / 9, 16 / 10, 1.0, 18 / 9, 18.5 / 9, 19.5 / 9, 20 / 9, 21 / 9)
#: sides of a sensor's pictures are multiples of this, px, and most of the larger (from memory)
CAMERA_STEP_PX, EDITED_STEP_PX = 4, 8
#: longer sides that programs make pictures smaller to are multiples of these: 1024, 1600, 2000,
#: 1080 and so on; one hand-cut side in 25 is, too
ROUND_STEPS_PX = (64, 100, 360)
#: a part of unknown size: logarithm of the frame over it, mean and standard deviation (95 % of
#: parts have 0.45 to 1 of the frame's width; common practice, no source); and where the frame's
#: middle lies, relative to the part's diagonal (standard deviation)
PART_LOG, PART_SIGMA_LOG, PART_CENTRE_REL = 0.3, 0.25, 0.15
#: the question "where do cards and edges alone see the lens's middle?" is put with this, and the
#: answer differs from the picture's middle if it lies so many standard uncertainties off, and so
#: far from it, relative to the diagonal
ASKED_CENTRE_REL, ASKED_FOCAL_REL, ELSEWHERE, ELSEWHERE_REL = 0.3, 0.25, 5.0, 0.04


#: or so many, however near: 13 photos had up to 2.7, with a focal length told wrong by a factor of
#: two or more up to 74
PLAINLY_ELSEWHERE = 8.0
#: a header that tells of a frame so many times as large is damaged
LARGEST_FRAME_REL = 6.0
#: columns of focal length and principal point in a view's covariance
MIDDLE = (0, 9, 10)


@dataclass(frozen=True)
class Crop:
    """A picture that is, or may be, a part of a frame: what is known of its camera, and how it
    shows, in a few words."""

    guess: CameraGuess
    why: str


def crop_by_header(photo: Photo, focal_35mm_mm: float | None) -> Crop | None:
    """What the header, or the picture's sides, tell of a crop; None where they tell of none."""
    frame, size = _frame(photo), (photo.width_px, photo.height_px)
    likely = frame is not None and max(frame) < LARGEST_FRAME_REL * max(size)
    if frame is not None and likely and frame != size:
        across, down = size[0] / frame[0], size[1] / frame[1]
        reshaped = abs(across / down - 1) > SAME_SHAPE_REL or photo.edited == "cropped"
        if reshaped or (max(across, down) < 1 and not _round_number(max(size))):
            # made larger too, if it does not fit into the frame as it is
            frame_px = np.array(frame) * max(1.0, across, down)
            why = (
                f"its header tells of {frame[0]} x {frame[1]} pixels and it has "
                f"{size[0]} x {size[1]}"
            )
            return Crop(part_of(size, frame_px, focal_35mm_mm), why)
    unknown = some_part(size, guess_camera(*size, focal_35mm_mm))
    if photo.edited == "cropped":
        return Crop(unknown, "its header says so")
    if frame is None and not _sides_of_a_camera(size):
        return Crop(unknown, f"no camera gives {size[0]} x {size[1]} pixels")
    if photo.edited is not None and any(side % EDITED_STEP_PX for side in size):
        return Crop(unknown, f"it was edited with {photo.edited}")
    return None


def _frame(photo: Photo) -> tuple[int, int] | None:
    """The frame's width and height in the header, as the upright picture has them."""
    if photo.frame_px is None:
        return None
    width, height = photo.frame_px
    return (height, width) if photo.orientation in (5, 6, 7, 8) else (width, height)


def _round_number(side_px: int) -> bool:
    """Whether programs that make pictures smaller ask for such sides; a hand that cuts does not."""
    return any(side_px % step == 0 for step in ROUND_STEPS_PX)


def _sides_of_a_camera(size_px: tuple[int, int]) -> bool:
    """Whether a camera, or a program that makes its pictures smaller, may give such sides."""
    if any(side % CAMERA_STEP_PX for side in size_px) and not _round_number(max(size_px)):
        return False
    shape = max(size_px) / min(size_px)
    # a side may be rounded to a multiple of 16
    slack = SAME_SHAPE_REL + 8 / min(size_px)
    return any(abs(shape / known - 1) < slack for known in CAMERA_SHAPES)


def part_of(size_px: tuple[int, int], frame_px: Floats, focal_35mm_mm: float | None) -> CameraGuess:
    """The camera of a part of ``size_px`` out of a frame of ``frame_px``, wherever it lay."""
    whole = guess_camera(round(frame_px[0]), round(frame_px[1]), focal_35mm_mm)
    spare = np.maximum(frame_px - np.array(size_px), 0.0)
    # anywhere in it: a uniform distribution's standard deviation, mean of both sides
    anywhere = float(np.sqrt((spare**2).mean() / 12))
    return replace(
        whole,
        centre_px=((size_px[0] - 1) / 2, (size_px[1] - 1) / 2),
        centre_sigma_px=float(np.hypot(anywhere, whole.centre_sigma_px)),
    )


def some_part(size_px: tuple[int, int], plain: CameraGuess) -> CameraGuess:
    """The camera of a part of a frame of unknown size, of the camera that would have taken
    ``plain`` as a whole."""
    diagonal_px = float(np.hypot(*size_px))
    return replace(
        plain,
        focal_px=plain.focal_px * float(np.exp(PART_LOG)),
        focal_sigma_rel=float(np.hypot(plain.focal_sigma_rel, PART_SIGMA_LOG)),
        centre_sigma_px=float(np.hypot(PART_CENTRE_REL, CENTRE_SIGMA_REL)) * diagonal_px,
    )


def asking(guess: CameraGuess, size_px: tuple[int, int]) -> CameraGuess:
    """The same camera, its middle and focal length left to cards and edges."""
    return replace(
        guess,
        centre_sigma_px=ASKED_CENTRE_REL * float(np.hypot(*size_px)),
        focal_sigma_rel=ASKED_FOCAL_REL,
    )


def lies_elsewhere(view: View, guess: CameraGuess, size_px: tuple[int, int]) -> float | None:
    """How far from the guessed middle, relative to the diagonal, the lens's middle lies in a view
    that was solved by `asking`; None where it may be the guessed one."""
    off = np.array(
        [
            np.log(view.camera_matrix[0, 0] / guess.focal_px),
            *(view.camera_matrix[:2, 2] - guess.centre_px),
        ]
    )
    covariance = view.covariance[np.ix_(MIDDLE, MIDDLE)] + np.diag(
        [guess.focal_sigma_rel**2, guess.centre_sigma_px**2, guess.centre_sigma_px**2]
    )
    sigmas = float(np.sqrt(off @ np.linalg.solve(covariance, off)))
    away = float(np.hypot(*off[1:]) / np.hypot(*size_px))
    # plainly another lens: a header may be damaged, or be that of another photo
    plainly = sigmas > PLAINLY_ELSEWHERE
    return away if plainly or (sigmas > ELSEWHERE and away > ELSEWHERE_REL) else None
