"""Gloss on dark caps, by dichromatic reflection (Shafer 1985): a body's colour, white on top."""

import numpy as np
import pytest

from petitpied.photo.colour_space import delta_e00, lab_of
from petitpied.surface.caps.domes import Domes, X, Y, shading_of
from petitpied.surface.colour.cap_colour import cap_colours
from tests.surface.lit_domes import domes

SHELLS = 12
CHOCOLATE = np.array([0.03, 0.06, 0.15])  # blue, green, red: light sent back
ROSE = np.array([0.40, 0.42, 0.85])


def mirroring(tray, size, random):
    """The same caps with a wide white patch on each, all but in one place."""
    log = np.empty_like(tray.log)
    for number, own in enumerate(tray.log):
        x, y = 0.25 + 0.02 * random.standard_normal(2)
        patch = size * np.exp(-((X - x) ** 2 + (Y - y) ** 2) / (2 * 0.35**2))
        log[number] = np.log(np.exp(own) + patch[..., None])
    return Domes(log, tray.cut, tray.radius_mm)


def apart_from(body, tray):
    colours = cap_colours(tray, shading_of(tray))
    return float(np.median(delta_e00(colours.lab, lab_of(body[::-1]))))


def test_a_dark_cap_keeps_its_colour_under_a_lamp_that_it_mirrors():
    random = np.random.default_rng(1)
    tray = domes(random, SHELLS, 30.0, colour=CHOCOLATE)
    # 0.04 of a white on 0.03 to 0.15: 3.7 Delta E00 if nothing is done
    assert apart_from(CHOCOLATE, mirroring(tray, 0.04, random)) < 1.5


@pytest.mark.parametrize("body", [CHOCOLATE, ROSE])
def test_what_mirrors_nothing_keeps_its_colour(body):
    tray = domes(np.random.default_rng(2), SHELLS, 120.0, colour=body)
    assert apart_from(body, tray) < 1.0  # as in test_browning: the dome's middle is not level


def test_two_flavours_on_one_tray_each_keep_their_colour():
    random = np.random.default_rng(4)
    dark = domes(random, SHELLS, 30.0, colour=CHOCOLATE)
    pale = domes(random, SHELLS // 2, 30.0, colour=ROSE)
    log = np.concatenate([dark.log, pale.log])
    tray = Domes(log, np.zeros(len(log)), np.full(len(log), dark.radius_mm[0]))
    colours = cap_colours(tray, shading_of(tray))
    bodies = np.repeat([CHOCOLATE[::-1], ROSE[::-1]], [SHELLS, SHELLS // 2], axis=0)
    assert delta_e00(colours.lab, lab_of(bodies)).max() < 1.5  # a cap's own dome, see lit_domes


def test_differences_between_caps_stay():
    random = np.random.default_rng(3)
    tray = domes(random, SHELLS, 30.0, colour=CHOCOLATE)
    log = tray.log.copy()
    log[::2] -= np.float32(0.1) * np.array([1.0, 0.55, 0.3], np.float32)
    colours = cap_colours(
        mirrored := mirroring(Domes(log, tray.cut, tray.radius_mm), 0.04, random),
        shading_of(mirrored),
    )
    blue = np.log(colours.linear_rgb[:, 2])
    # a tenth, less what is lost in the noise of the darkest channel
    assert np.median(blue[1::2]) - np.median(blue[::2]) == pytest.approx(0.1, abs=0.03)
