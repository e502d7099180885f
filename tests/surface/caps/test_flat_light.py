"""The light over a tray: from a liner that caps agree with, else from the caps themselves."""

import numpy as np

from petitpied.camera.grey_strip import PLAIN_TONE
from petitpied.domain.shell import Shell
from petitpied.domain.view import View
from petitpied.surface.caps.flat_light import CardLight, flat_light

PX_PER_MM, SIZE = 3.0, (1260, 900)  # width, height
PITCH_MM, RADIUS_MM = 52.0, 21.0
NO_CARD = CardLight(np.zeros((0, 2)), np.zeros((0, 3)))
#: a light that falls off from left to right, logarithm per mm, as beside a window
SLOPE = -0.0015


def view():
    """Straight down, so that plan millimetres are pixels by `PX_PER_MM`."""
    focal = 2000.0
    camera = [[focal, 0, SIZE[0] / 2], [0, focal, SIZE[1] / 2], [0, 0, 1]]
    away = focal / PX_PER_MM
    return View.exact(camera, [], [[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, away]])


def photographed(on_liner, on_caps, pale_rows=0):
    """Picture and shells; the slopes of light (logarithm per mm) that liner and caps show; in the
    first rows shells of a flavour twice as bright."""
    x = (np.arange(SIZE[0]) - SIZE[0] / 2) / PX_PER_MM
    y = (np.arange(SIZE[1]) - SIZE[1] / 2) / PX_PER_MM
    light = np.tile(0.5 * np.exp(on_liner * x), (SIZE[1], 1))
    outlines = []
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    for row in range(5):
        for column in range(7):
            middle = np.array([column - 3, row - 2]) * PITCH_MM
            inside = np.hypot(*np.meshgrid(x - middle[0], y - middle[1])) < RADIUS_MM
            light[inside] = 0.3 * (1 + (row < pale_rows)) * np.exp(on_caps * middle[0])
            circle = middle + RADIUS_MM * np.column_stack([np.cos(turn), np.sin(turn)])
            outlines.append(circle * PX_PER_MM + np.array(SIZE) / 2)
    codes = 1.055 * light ** (1 / 2.4) - 0.055
    picture = np.repeat(np.round(255 * codes).astype(np.uint8)[..., None], 3, axis=2)
    shells = tuple(
        Shell(f"A{n}", 0, n, tuple(o.mean(axis=0)), None, o, None) for n, o in enumerate(outlines)
    )
    return picture, shells


def light_of(*scene):
    picture, shells = photographed(*scene)
    return flat_light(picture, view(), shells, (), PLAIN_TONE, NO_CARD)


def slope_found(on_liner, on_caps):
    light = light_of(on_liner, on_caps)
    left, right = light.at(np.array([[-100.0, 0.0], [100.0, 0.0]])).mean(axis=1)
    return (right - left) / 200, light.source


def test_a_liner_that_the_caps_follow_shows_the_light():
    slope, source = slope_found(SLOPE, SLOPE)
    assert source == "the liner's shade"
    assert abs(slope - SLOPE) < 0.05 * abs(SLOPE)  # 8-bit steps, and a small ridge


def test_a_liner_that_mirrors_the_room_is_not_believed():
    slope, source = slope_found(4 * SLOPE, SLOPE / 2)
    assert "caps" in source
    # drawn towards none by the caps' own spread, see CAPS_DIFFER
    assert abs(slope - SLOPE / 2) < 0.2 * abs(SLOPE / 2)


def test_two_flavours_are_no_light():
    """A mirror under them: the light is taken for even, and its doubt is the largest."""
    light = light_of(4 * SLOPE, 0.0, 2)
    above, below = light.at(np.array([[0.0, -80.0], [0.0, 80.0]])).mean(axis=1)
    assert above == below
    assert "taken for even" in light.source
    assert light.u > light_of(4 * SLOPE, SLOPE / 2).u > light_of(SLOPE, SLOPE).u


def test_an_even_light_is_an_even_light():
    slope, _ = slope_found(0.0, 0.0)
    assert abs(slope) < 0.02 * abs(SLOPE)
