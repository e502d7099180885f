"""Dark lines on caps: where a picture of caps has narrow valleys of brightness.

A crack is darker than the cap beside it, on every flavour, whatever the light: light falls in and
hardly comes out. The picture is divided by its own surroundings, so that colour and slow shading
drop out, and what is left is looked at with the largest eigenvalue of the Hessian at two scales
(Steger, "An unbiased detector of curvilinear structures", IEEE TPAMI 20 (1998) 113-125; scales
normalised as in Lindeberg, IJCV 30 (1998) 117-154).
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.surface.caps.cap_patch import CapPatches

Map = NDArray[np.float32]

#: side of the box that a place is compared with: three times the widest crack looked for (2 mm)
SURROUNDINGS_MM = 6.0
#: the finer scale's sigma in patch px; the second is twice as wide. A bar of half width w answers
#: best to sigma = w / sqrt(3) (Steger 1998): 0.26 mm for 0.9 mm wide, 0.52 mm for 1.8 mm wide
SIGMA_PX = 1.3
#: nearer to the rim than this the shoulder falls away and the foot looks in: no line is believed
RIM_MM = 0.9
#: answers of a line that is looked at, as parts of the surroundings' brightness. A line of contrast
#: c answers with c / 2 at its best scale, so 0.07 is a line a seventh darker than the cap. The
#: weaker threshold follows a line to its ends (hysteresis, Canny 1986, who takes a half).
STRONG_REL, WEAK_REL = 0.07, 0.035
#: and as multiples of the cap's own median answer, which is its texture and noise: 5 in 10^4 of
#: Gaussian noise's places exceed 5 times it (by simulation), few of them joined to a line
STRONG_NOISE, WEAK_NOISE = 10.0, 5.0
#: a line's smoothed middle is darker than the surroundings by this part at least: half of what the
#: weaker threshold asks of the answer, since an answer of c / 2 needs a middle of c
LEAST_DARK_REL = 0.02
#: shorter specks are not lines
LEAST_EXTENT_MM = 2.0


@dataclass(frozen=True)
class Ridges:
    """What the filter says of a mosaic: ``valley`` (H, W) brightness against the surroundings, 0 as
    bright, -1 black; ``answer`` (H, W) of the filter, 0 outside the caps and at their rims;
    ``floor`` (S,) each cap's median answer; ``labels`` (H, W) joined places of a line, 0 none;
    ``windows`` the box (rows, columns) of each label from 1."""

    valley: Map
    answer: Map
    floor: NDArray[np.float64]
    labels: NDArray[np.int32]
    windows: tuple[tuple[slice, slice], ...]
    numbers: tuple[int, ...]  # label of each window


def strong_answer(floor: float) -> float:
    """Answer that a place needs to begin a line, on a cap with this median answer."""
    return max(STRONG_REL, STRONG_NOISE * floor)


def valley_of(patches: CapPatches) -> Map:
    """Brightness of each place over its surroundings on the same cap, less 1; 0 outside."""
    grey: Any = cv2.cvtColor(patches.mosaic_bgr, cv2.COLOR_BGR2GRAY)
    inside: Any = patches.inside
    side = 2 * round(SURROUNDINGS_MM / patches.mm_per_px / 2) + 1
    # in place where it can be: fresh memory of this size takes as long as the arithmetic
    mean: Any = cv2.boxFilter(cv2.bitwise_and(grey, inside), cv2.CV_32F, (side, side))
    share: Any = np.maximum(cv2.blur(inside, (side, side)), 1).astype(np.float32)
    cv2.divide(mean, share, dst=mean, scale=255.0)
    np.maximum(mean, np.float32(8), out=mean)
    valley: Any = cv2.divide(grey.astype(np.float32), mean, dst=mean)
    valley -= np.float32(1)
    valley *= inside != 0
    return np.asarray(valley, np.float32)


def line_answer(valley: Map, sigma_px: float) -> Map:
    """Scale-normalised largest eigenvalue of the Hessian: positive across dark lines; 0 where the
    smoothed place is no darker than its surroundings (beside a bright lip it bends likewise)."""
    smooth: Any = cv2.GaussianBlur(valley, (0, 0), sigma_px)
    k = sigma_px**2 / 4  # Sobel's 3 x 3 second derivatives weigh 4
    xx: Any = cv2.Sobel(smooth, cv2.CV_32F, 2, 0, ksize=3, scale=k / 2)
    yy: Any = cv2.Sobel(smooth, cv2.CV_32F, 0, 2, ksize=3, scale=k / 2)
    xy: Any = cv2.Sobel(smooth, cv2.CV_32F, 1, 1, ksize=3, scale=k)
    unlike = cv2.subtract(xx, yy)
    answer: Any = cv2.add(cv2.add(xx, yy, dst=xx), cv2.magnitude(unlike, xy, magnitude=xy), dst=xx)
    answer *= smooth <= -LEAST_DARK_REL
    return np.asarray(answer, np.float32)


def find_ridges(patches: CapPatches) -> Ridges:
    """Every dark line of a mosaic that is strong enough to be looked at."""
    valley = valley_of(patches)
    fine = line_answer(valley, SIGMA_PX)
    half: Any = cv2.resize(valley, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    size = (valley.shape[1], valley.shape[0])
    coarse: Any = cv2.resize(line_answer(half, SIGMA_PX), size, interpolation=cv2.INTER_LINEAR)
    answer = np.maximum(fine, coarse, out=fine)
    answer *= patches.inset_mm >= RIM_MM
    floor = np.zeros(len(patches.caps))
    mask = np.zeros(answer.shape, np.uint8)
    for index in range(len(floor)):
        window = patches.window(index)
        some = answer[window][::3, ::3]
        floor[index] = float(np.median(some[patches.inset_mm[window][::3, ::3] >= RIM_MM]))
        mask[window] = answer[window] > max(WEAK_REL, WEAK_NOISE * floor[index])
    return Ridges(valley, answer, floor, *_joined(patches, answer, mask, floor))


def _joined(
    patches: CapPatches, answer: Map, mask: NDArray[np.uint8], floor: NDArray[np.float64]
) -> tuple[NDArray[np.int32], tuple[tuple[slice, slice], ...], tuple[int, ...]]:
    """Connected places of ``mask`` that hold a strong one and reach far enough."""
    # OpenCV's own boxes count all places, these only the lines', of which there are few
    count, labels = cv2.connectedComponents(mask, connectivity=8)
    lines = cv2.findNonZero(mask)
    x, y = np.zeros((2, 0), np.intp) if lines is None else np.asarray(lines).reshape(-1, 2).T
    number = labels[y, x]
    low, high = np.full((2, count), max(mask.shape)), np.zeros((2, count), int)
    for axis, at in enumerate((x, y)):
        np.minimum.at(low[axis], number, at)
        np.maximum.at(high[axis], number, at + 1)
    begun = np.zeros(count, bool)
    cap = y // patches.side_px * patches.columns + x // patches.side_px
    strong = np.array([strong_answer(float(f)) for f in floor], np.float32)
    begun[number[answer[y, x] > strong[cap]]] = True
    reach = np.hypot(*(high - low)) * patches.mm_per_px
    numbers = np.flatnonzero(begun & (reach >= LEAST_EXTENT_MM))
    windows = []
    for x0, y0, x1, y1 in np.concatenate([low, high])[:, numbers].T.tolist():
        windows.append((slice(y0, y1), slice(x0, x1)))
    return np.asarray(labels, np.int32), tuple(windows), tuple(int(n) for n in numbers)
