"""What an outline's contrast does to the stated uncertainty."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from petitpied.domain.quantity import Quantity
from petitpied.domain.uncertainty import OWN_CAUSES, SHARED_CAUSES, quantity_of
from petitpied.sizing.evidence import RUFFLES, WITNESSES, outline_contrasts, with_evidence
from tests.records import a_shell, circle, unmeasured_shell

NONE = ([0.0] * len(OWN_CAUSES), [0.0] * len(SHARED_CAUSES))
CENTRE, RADIUS_PX = (200.0, 200.0), 84.0  # 42 mm at 4 px a mm


def a_disc(shell_bgr, liner_bgr):
    """A picture (H, W, 3) of one plain disc on a plain liner."""
    picture = np.full((400, 400, 3), liner_bgr, np.uint8)
    cv2.circle(picture, (200, 200), round(RADIUS_PX), shell_bgr, -1, cv2.LINE_AA)
    return picture


def on_it(**changes):
    sizes = {
        name: quantity_of(value.value, *NONE)
        for name in WITNESSES
        if isinstance(value := getattr(a_shell(), name), Quantity)
    }
    return a_shell(
        "A1", centre_px=CENTRE, outline_px=circle(CENTRE, RADIUS_PX, 180), **(sizes | changes)
    )


def test_contrast_is_the_colour_difference():
    # greys of 8 bit: CIELAB lightness of 200 and 150 by the sRGB formula is 80.6 and 62.1
    # (IEC 61966-2-1, CIE 15); a and b are 0
    shell = on_it()
    found = outline_contrasts(a_disc((200, 200, 200), (150, 150, 150)), [shell])[0]
    assert found == pytest.approx(80.6 - 62.1, abs=0.3)  # rounding and resampling


def test_the_faintest_fifth_counts():
    picture = a_disc((200, 200, 200), (150, 150, 150))
    picture[:, :140] = 200  # liner as bright as the shell on a quarter of the outline
    assert outline_contrasts(picture, [on_it()])[0] < 2


def test_a_faint_outline_is_a_worse_witness():
    shell = on_it()
    strong = with_evidence(a_disc((200, 200, 200), (110, 110, 110)), [shell])[0]
    faint = with_evidence(a_disc((200, 200, 200), (178, 178, 178)), [shell])[0]
    for name, known in WITNESSES.items():
        if known.fading > 0:
            assert getattr(faint, name).u > getattr(strong, name).u


def test_a_blurred_photo_is_a_worse_witness_and_a_usual_one_no_worse():
    disc = a_disc((200, 200, 200), (110, 110, 110))
    sharp, usual, blurred = (with_evidence(disc, [on_it()], mm)[0] for mm in (0.05, 0.2, 0.5))
    for name in ("diameter_mm", "cap_diameter_mm", "feret_max_mm", "foot_spread_mm"):
        assert getattr(usual, name) == getattr(sharp, name)
        # a fifth of 0.46 mm on the radius, of the shell and of the scene
        more = getattr(blurred, name).u ** 2 - getattr(sharp, name).u ** 2
        by_radius = 1 if name == "foot_spread_mm" else 2
        assert more == pytest.approx(2 * (by_radius * 0.2) ** 2 * (0.5**2 - 0.2**2))


def test_every_size_gets_its_witness_and_widths_their_tips():
    shell = on_it()
    judged = with_evidence(a_disc((200, 200, 200), (110, 110, 110)), [shell])[0]
    for name in WITNESSES:
        assert getattr(judged, name).u > 0
    for name, more in RUFFLES.items():
        assert getattr(judged, name).value == pytest.approx(getattr(shell, name).value + more)
    ratio = judged.feret_min_mm.value / judged.feret_max_mm.value
    assert judged.aspect_ratio.value == pytest.approx(ratio)


def test_without_a_foot_there_are_no_ruffles():
    shell = on_it(foot_diameter_mm=None)
    judged = with_evidence(a_disc((200, 200, 200), (110, 110, 110)), [shell])[0]
    assert judged.feret_max_mm.value == shell.feret_max_mm.value


def test_what_was_not_measured_stays():
    shell = replace(unmeasured_shell(), diameter_mm=None)
    assert with_evidence(a_disc((0, 0, 0), (9, 9, 9)), [shell]) == (shell,)
