"""Dark lines of constructed profiles: where the filter sees their middle, and how wide they are.

C. Steger, "An unbiased detector of curvilinear structures", IEEE TPAMI 20 (1998) 113-125.
"""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import erf

from petitpied.surface.cracks.profile import level_widths
from petitpied.surface.cracks.ridges import line_answer
from petitpied.surface.cracks.width import LEVEL, seen_width, true_width


def bar(x, half_width, contrast_left=1.0, contrast_right=1.0, sigma=0.0):
    """A dark bar at 0 with other levels to its left and right, after a Gaussian blur."""
    if sigma == 0:
        return np.where(x < -half_width, contrast_left, np.where(x > half_width, contrast_right, 0))
    step_left = 0.5 * (1 - erf((x + half_width) / (np.sqrt(2) * sigma)))
    step_right = 0.5 * (1 + erf((x - half_width) / (np.sqrt(2) * sigma)))
    return contrast_left * step_left + contrast_right * step_right


def peak(values, x):
    """Place of the greatest value, by its parabola."""
    k = int(values.argmax())
    a, b, c = values[k - 1 : k + 2]
    return x[k] + 0.5 * (a - c) / (a - 2 * b + c) * (x[1] - x[0])


def bottom_of(profile, x):
    """Zero of the slope near 0."""
    slope = np.gradient(profile, x)
    return brentq(lambda at: np.interp(at, x, slope), -1.5, 1.5)


@pytest.mark.parametrize("half_width", [1.0, 1.5, 2.0])
@pytest.mark.parametrize("shift", [0.0, 0.3])
def test_a_symmetric_bar_is_found_in_its_middle(half_width, shift):
    # sigma >= w / sqrt(3): one clear extremum at the bar's middle (Steger, section 2.1)
    sigma = 1.3
    assert sigma > half_width / np.sqrt(3)
    columns = np.arange(-20.0, 21.0)
    row = -0.4 * (1 - bar(columns - shift, half_width, sigma=0.5))
    picture = np.tile(row, (41, 1)).astype(np.float32)
    answer = line_answer(picture, sigma)[20].astype(float)
    assert answer[0] == answer[-1] == 0
    # pixels of a 3 x 3 Sobel filter: the parabola through them is good to a twentieth
    assert peak(answer, columns) == pytest.approx(shift, abs=0.06)


@pytest.mark.parametrize("asymmetry", [0.1, 0.3, 0.5])
def test_an_asymmetric_bar_is_off_by_what_was_published(asymmetry):
    """The bottom of the smoothed valley lies off the middle by sigma^2 ln(1 - a) / (2 w), where one
    side stands 1 - a times as high as the other (Steger, the asymmetrical bar profile)."""
    half_width, sigma = 1.5, 1.3
    x = np.linspace(-8, 8, 16001)
    profile = bar(x, half_width, contrast_left=1.0, contrast_right=1 - asymmetry, sigma=sigma)
    published = -(sigma**2) / (2 * half_width) * np.log(1 - asymmetry)
    assert bottom_of(profile, x) == pytest.approx(published, abs=2e-3)  # the grid's step


@pytest.mark.parametrize("width", [0.3, 0.5, 1.0, 2.0])
def test_a_blurred_bar_has_its_width_back(width):
    """Widths in units of the blur: narrow bars look wider (Steger, bias of the width)."""
    sigma = 0.15
    x = np.arange(-2.4, 2.4001, 0.01)
    grey = 200 - 120 * (1 - bar(x, width / 2, sigma=sigma))
    seen = level_widths(grey[None], x, LEVEL)
    assert seen[0] == pytest.approx(seen_width(np.array([width]), sigma)[0], abs=0.01)
    # the profile's samples are 0.01 apart; a thin bar's seen width hardly changes with its own
    assert true_width(seen, sigma)[0] == pytest.approx(width, abs=0.02 if width > 0.3 else 0.04)


def test_a_line_thinner_than_the_blur_looks_as_wide_as_the_blur():
    sigma = 0.2
    # the blur itself: exp(-x^2 / 2 sigma^2) falls to LEVEL at sigma sqrt(-2 ln LEVEL)
    limit = 2 * sigma * np.sqrt(-2 * np.log(LEVEL))
    assert seen_width(np.array([1e-3]), sigma)[0] == pytest.approx(limit, rel=1e-3)
