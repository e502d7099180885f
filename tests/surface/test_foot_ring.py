"""The foot round a shell: spread, one side, presence, and what stands under a cap."""

import numpy as np
import pytest

from petitpied.domain.quantity import Quantity
from petitpied.domain.shell import Shell
from petitpied.domain.view import View
from petitpied.surface.foot_ring import RimHeights, feet_of, spread_round, under_the_rim

HEIGHTS = RimHeights(4.7, 1.2, 1.7)
RADIUS_MM = 21.0
LINER, BATTER, GREY = (120, 170, 200), (150, 140, 220), (90, 90, 90)


def straight_view():
    """A camera 700 mm above the liner's origin, 8 px a mm."""
    k = [[5600.0, 0, 1500], [0, 5600.0, 1200], [0, 0, 1]]
    return View.exact(k, [0.0], np.array([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 700.0]]))


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
    spread = spread_round(view, shell, HEIGHTS)
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


@pytest.mark.parametrize(("under", "state"), [(LINER, "none"), (BATTER, "hidden")])
def test_what_lies_beyond_the_rim_tells_a_hidden_foot_from_none(under, state):
    view = straight_view()
    centre = (150.0, 80.0)  # seen from the side by a slant of 0.24
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
