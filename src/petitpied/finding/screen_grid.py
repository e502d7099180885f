"""Is this a photo of a screen or of a print? Its grid, or the moire of two grids, lies over the
caps too, which have no pattern of their own: one sharp peak in the spectrum that all of them share.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Seed

Floats = NDArray[np.float64]

#: at most so many caps are looked at, in squares of one of these sides, px
CAPS, FEWEST_CAPS, SIDES_PX = 9, 4, (64, 32)
#: waves longer than so many px may be a cap's own shading
LONGEST_PX = 14.0
#: blocks of a JPEG give peaks at multiples of this frequency, per px (ITU-T T.81)
BLOCK = 1 / 8
#: a peak is a grid's if it is so many times the median at that distance from the origin: photos had
#: up to 34 (32 traced and real ones), with grids of 4 to 12 % over them 970 and more
PEAK = 150.0


def grid_peak(pixels_bgr: NDArray[np.uint8], seeds: Sequence[Seed]) -> float:
    """The highest peak of the spectrum that the caps of a photo (H, W, 3) share, over the median of
    its ring; 0 where too few caps can be looked at."""
    whole = [seed for seed in seeds if seed.whole]
    if len(whole) < FEWEST_CAPS:
        return 0.0
    reach = np.median([np.abs(s.outline_px - s.centre_px).max(axis=0).min() for s in whole])
    side = next((s for s in SIDES_PX if s <= 1.2 * reach), None)
    if side is None:
        return 0.0
    hann = np.hanning(side)
    window = np.outer(hann, hann)
    powers = []
    for seed in whole[:: max(1, len(whole) // CAPS)]:
        left, top = np.rint(np.array(seed.centre_px) - side / 2).astype(int).tolist()
        patch = pixels_bgr[max(top, 0) : top + side, max(left, 0) : left + side, 1]
        if patch.shape == (side, side):
            level = patch - patch.mean()
            powers.append(np.abs(np.fft.fft2(level * window)) ** 2)
    if len(powers) < FEWEST_CAPS:
        return 0.0
    # what one cap alone has (a crack, a thread) is none of a grid: the lower quartile of all
    shared = np.percentile(powers, 25, axis=0)
    return _highest(shared, side)


def _highest(power: Floats, side: int) -> float:
    frequency = np.fft.fftfreq(side)
    across, down = np.meshgrid(frequency, frequency)
    distance = np.hypot(across, down)
    ring = np.rint(distance * side).astype(int)
    order = np.argsort(ring, axis=None)
    parts = np.split(power.ravel()[order], np.flatnonzero(np.diff(ring.ravel()[order])) + 1)
    median = np.array([np.median(part) for part in parts])[ring]
    block = [np.abs(f - np.rint(f / BLOCK) * BLOCK) < 1.6 / side for f in (across, down)]
    asked = (distance > 1 / LONGEST_PX) & (distance < 0.5) & ~(block[0] & block[1])
    return float((power / np.maximum(median, 1e-9))[asked].max())
