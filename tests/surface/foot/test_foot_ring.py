"""The foot round a shell: spread, one side, presence, and what stands under a cap."""

from dataclasses import replace

import numpy as np
import pytest

from petitpied.domain.quantity import Quantity
from petitpied.domain.shell import Shell
from petitpied.domain.view import View
from petitpied.surface.foot.foot_ring import RimHeights, feet_of, spreads_round, under_the_rim
from petitpied.surface.foot.foot_shade import states_by_shade

HEIGHTS = RimHeights(4.7, 1.2, 1.7)
RADIUS_MM = 21.0
LINER, BATTER, GREY = (120, 170, 200), (150, 140, 220), (90, 90, 90)


def straight_view(height_mm=700.0):
    """A camera straight above the liner's origin, 8 px a mm."""
    k = [[8 * height_mm, 0, 1500], [0, 8 * height_mm, 1200], [0, 0, 1]]
    return View.exact(k, [0.0], np.array([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, height_mm]]))


def shell_of(view, foot_mm, centre=(60.0, -40.0)):
    """A round cap, and a foot whose radius beyond the cap is a function of the angle."""
    t = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    way = np.column_stack([np.cos(t), np.sin(t)])
    cap = view.project(np.asarray(centre) + RADIUS_MM * way, HEIGHTS.cap_rim_mm)
    spread = foot_mm(t)
    foot = view.project(
        np.asarray(centre) + (RADIUS_MM + spread)[:, None] * way, HEIGHTS.foot_mm
    )
    outline = np.where(spread[:, None] > 0, foot, cap)
    has = Quantity(43.0, 0.1) if (spread > 0).any() else None
    return Shell("A1", 0, 0, (0.0, 0.0), centre, outline, cap, foot_diameter_mm=has)


def test_an_even_foot_shows_all_round_and_is_even():
    view = straight_view()
    shell = shell_of(view, lambda t: np.full_like(t, 1.2))
    (foot,) = feet_of(np.zeros((2400, 3000, 3), np.uint8), view, [shell], HEIGHTS)
    assert foot.state == "shows"
    assert foot.shows_rel.value == pytest.approx(1.0)
    assert foot.uneven_mm.value == pytest.approx(0.0, abs=0.01)  # vertices 0.7 mm apart: 3 um


def test_a_one_sided_foot_says_which_side_and_how_much():
    view = straight_view()
    shell = shell_of(view, lambda t: 1.2 + 0.6 * np.cos(t - 2.0) + 0.2 * np.cos(3 * t))
    (foot,) = feet_of(np.zeros((2400, 3000, 3), np.uint8), view, [shell], HEIGHTS)
    assert foot.one_sided_mm.value == pytest.approx(0.6, abs=0.01)
    assert foot.one_sided_dir_deg == pytest.approx(np.rad2deg(2.0), abs=1)
    assert foot.harmonics_mm[2] == pytest.approx(0.2, abs=0.01)
    # rms of the two waves: sqrt((0.6^2 + 0.2^2) / 2)
    assert foot.uneven_mm.value == pytest.approx(np.sqrt(0.2), abs=0.01)


def test_a_foot_on_half_the_shell_shows_on_half():
    view = straight_view()
    shell = shell_of(view, lambda t: np.where(np.cos(t) > 0, 1.0, -0.5))
    (spread,) = spreads_round(view, [shell], HEIGHTS)
    assert (spread > 0).mean() == pytest.approx(0.5, abs=0.02)  # a vertex is half a percent
    assert spread.max() == pytest.approx(1.0, abs=0.01)


def painted(view, under, centre):
    """Liner, under it all a disc of ``under`` beyond the rim, and the cap on top."""
    yy, xx = np.mgrid[0:2400, 0:3000].astype(float)
    middle = view.project([centre], HEIGHTS.bare_rim_mm)[0]
    reach = np.hypot(xx - middle[0], yy - middle[1]) / view.px_per_mm(centre)
    pixels = np.empty((2400, 3000, 3), np.uint8)
    pixels[:] = LINER
    pixels[reach < RADIUS_MM + 2.0] = under
    pixels[reach < RADIUS_MM] = BATTER
    return pixels


@pytest.mark.parametrize(
    ("under", "height_mm", "state"),
    # under a rim 4.7 mm up a slant of 0.24 looks 1.1 mm deep, one of 0.57 looks 2.7 mm
    [(LINER, 700.0, "unsure"), (BATTER, 700.0, "hidden"), (LINER, 300.0, "none")],
)
def test_what_lies_beyond_the_rim_tells_a_hidden_foot_from_none(under, height_mm, state):
    view = straight_view(height_mm)
    centre = (150.0, 80.0)
    shell = shell_of(view, lambda t: np.full_like(t, -0.5), centre)
    t = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    rim = np.asarray(centre) + RADIUS_MM * np.column_stack([np.cos(t), np.sin(t)])
    bare = view.project(rim, HEIGHTS.bare_rim_mm)
    shell = Shell("A1", 0, 0, (0.0, 0.0), centre, bare, bare)
    assert under_the_rim(painted(view, under, centre), view, shell, HEIGHTS) == state


def test_from_straight_above_nobody_can_tell():
    view = straight_view()
    centre = (5.0, 5.0)
    shell = shell_of(view, lambda t: np.full_like(t, -0.5), centre)
    pixels = painted(view, LINER, centre)
    assert under_the_rim(pixels, view, shell, HEIGHTS) == "unsure"


def test_a_batter_of_the_liners_colour_cannot_be_told():
    view = straight_view()
    centre = (150.0, 80.0)
    shell = shell_of(view, lambda t: np.full_like(t, -0.5), centre)
    pixels = np.empty((2400, 3000, 3), np.uint8)
    pixels[:] = GREY
    assert under_the_rim(pixels, view, shell, HEIGHTS) == "unsure"


def shaded_tray(lengths_mm, dark=0.4):
    """Round shells in a row and what light from the left leaves of the liner: each throws a
    shade of its own length to the right."""
    view = straight_view()
    places = [(-160.0 + 62.0 * (i % 6), -60.0 + 62.0 * (i // 6)) for i in range(len(lengths_mm))]
    shells = []
    yy, xx = np.mgrid[0:2400, 0:3000].astype(float)
    pixels = np.empty((2400, 3000, 3), np.uint8)
    pixels[:] = LINER
    for number, (place, length) in enumerate(zip(places, lengths_mm, strict=True)):
        shell = shell_of(view, lambda t: np.full_like(t, -0.5), place)
        shells.append(replace(shell, id=f"A{number}", diameter_mm=Quantity(2 * RADIUS_MM, 0.1)))
        middle, px = view.project([place], 0.0)[0], view.px_per_mm(place)
        for shift in np.arange(0.0, length, 0.25):
            away = np.hypot(xx - middle[0] - shift * px, yy - middle[1]) / px
            pixels[away < RADIUS_MM] = np.multiply(LINER, 1 - dark).astype(np.uint8)
    for place in places:
        middle, px = view.project([place], HEIGHTS.cap_rim_mm)[0], view.px_per_mm(place)
        pixels[np.hypot(xx - middle[0], yy - middle[1]) / px < RADIUS_MM] = BATTER
    return pixels, view, shells


def test_a_shell_with_a_short_shade_stands_on_the_liner():
    lengths = [5.5, 5.3, 5.6, 5.4, 5.5, 5.2, 2.4, 5.4]
    pixels, view, shells = shaded_tray(lengths)
    states = states_by_shade(pixels, view, shells, [True] * 6 + [False, False])
    assert states[6:] == ("none", "hidden")


@pytest.mark.parametrize(("dark", "feet"), [(0.03, 6), (0.4, 3)])
def test_soft_light_or_too_few_feet_say_nothing(dark, feet):
    pixels, view, shells = shaded_tray([5.5, 5.3, 5.6, 5.4, 5.5, 5.2, 2.4, 5.4], dark)
    states = states_by_shade(pixels, view, shells, [True] * feet + [False] * (8 - feet))
    assert set(states) == {"unsure"}
