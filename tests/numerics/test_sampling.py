"""A picture is read at any number of places, and at each as if it were the only one."""

import cv2
import numpy as np
import pytest

from petitpied.numerics.sampling import sampled


@pytest.mark.parametrize("shape", [(40_000, 2), (2, 40_001), (3, 7), (33_000, 1)])
@pytest.mark.parametrize("channels", [1, 3])
def test_more_places_than_opencv_takes_at_once(shape, channels):
    """A ramp's value between pixels is the place itself: no truth from OpenCV is needed."""
    random = np.random.default_rng(4)
    x = random.uniform(0, 99, shape).astype(np.float32)
    y = random.uniform(0, 49, shape).astype(np.float32)
    ramp = np.add.outer(2 * np.arange(50), np.arange(100)).astype(np.float32)
    picture = ramp if channels == 1 else np.dstack([ramp] * channels)
    found = sampled(picture, x, y, cv2.INTER_LINEAR)
    wanted = 2 * y + x
    if channels > 1:
        wanted = wanted[..., None]
    assert found.shape == (*shape, *picture.shape[2:])
    # OpenCV tells places to a 32nd of a pixel, by slopes of 1 and 2 along each axis
    assert np.abs(found - wanted).max() < 3 / 32
