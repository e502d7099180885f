"""Light direction, dimples, peaks and lumps on domes whose shape and lamp are known."""

import numpy as np
import pytest

from petitpied.surface.caps.domes import Domes, shading_of
from petitpied.surface.caps.light_direction import light_direction
from petitpied.surface.relief.dimples import find_relief, without_cracked
from petitpied.surface.relief.lumps import find_pinholes, lumpiness
from tests.surface.lit_domes import RADIUS_MM, axis_mm, dimple, domes

SHELLS = 14


def looked_at(tray):
    shading = shading_of(tray)
    light = light_direction(shading)
    return shading, light, *find_relief(shading, light, tray.radius_mm, tray.mm_per_cell)


@pytest.mark.parametrize("azimuth_deg", [-150.0, -20.0, 75.0])
def test_the_domes_show_where_the_light_comes_from(azimuth_deg):
    tray = domes(np.random.default_rng(1), SHELLS, azimuth_deg)
    light = light_direction(shading_of(tray))
    apart = (light.dir_deg - azimuth_deg + 180) % 360 - 180
    assert abs(apart) < 2  # noise of 1 % over 14 domes moves it by far less
    assert light.shows_relief


def test_light_from_straight_above_shows_no_relief():
    tray = domes(np.random.default_rng(2), SHELLS, 0.0, elevation_deg=89.0)
    _, light, found, peaks = looked_at(tray)
    assert not light.shows_relief
    assert found == peaks == ()


@pytest.mark.parametrize(
    ("place_mm", "diameter_mm", "depth_mm"),
    [((3.0, -5.0), 7.0, 1.2), ((-6.0, 2.0), 8.5, 1.6), ((0.0, 8.0), 6.5, 1.8)],
)
def test_a_dimple_is_found_with_its_place_width_and_depth(place_mm, diameter_mm, depth_mm):
    change = {4: dimple(place_mm, diameter_mm, depth_mm)}
    tray = domes(np.random.default_rng(3), SHELLS, 30.0, change)
    _, _, found, _ = looked_at(tray)
    (mark,) = found
    assert mark.cap == 4
    assert mark.place * RADIUS_MM == pytest.approx(place_mm, abs=1.0)  # a cell is 0.66 mm
    assert abs(mark.diameter_mm.value - diameter_mm) < 2 * mark.diameter_mm.u + 0.5
    # how steep a usual cap is, is known to 20 %
    assert mark.depth_mm.value == pytest.approx(depth_mm, rel=0.4)
    assert 0.5 <= mark.confidence <= 1


def lying_bar(middle_mm, long_mm, thick_mm):
    """A round bar half sunk into the dome, along x: its height, and the places that it covers."""

    def beside(x, y):
        along = np.maximum(np.abs(x - middle_mm[0]) - (long_mm - thick_mm) / 2, 0)
        return np.hypot(along, y - middle_mm[1])

    def change(x, y):
        return np.sqrt(np.maximum((thick_mm / 2) ** 2 - beside(x, y) ** 2, 0))

    return change, beside


@pytest.mark.parametrize("long_mm", [1.5, 4.0, 7.0])
@pytest.mark.parametrize("tint", [(-0.8, 0.1, 0.2), (0.4, -0.5, -0.9)])
def test_a_small_thing_of_another_colour_is_no_dimple(long_mm, tint):
    """A bead or a sprinkle, 1.3 mm thick, with its own lit and its own shaded side, and a shadow
    half as bright as the cap beyond it."""
    hollow = {4: dimple((3.0, -5.0), 7.0, 1.2)}
    assert len(looked_at(domes(np.random.default_rng(3), SHELLS, 30.0, hollow))[2]) == 1
    change, beside = lying_bar((3.0, -5.0), long_mm, 1.3)
    tray = domes(np.random.default_rng(3), SHELLS, 30.0, {4: change})
    log = tray.log.copy()
    x, y = np.meshgrid(axis_mm(log.shape[1]), axis_mm(log.shape[1]))
    away = np.array([np.cos(np.deg2rad(30.0)), np.sin(np.deg2rad(30.0))])  # from the lamp
    log[4][beside(x + away[0], y + away[1]) < 0.65] -= 0.7
    log[4][beside(x, y) < 0.65] += np.array(tint, np.float32)
    assert looked_at(Domes(log, tray.cut, tray.radius_mm))[2] == ()


def test_a_bump_is_no_dimple():
    tray = domes(np.random.default_rng(4), SHELLS, 30.0, {4: dimple((3.0, -5.0), 8.0, -1.5)})
    assert looked_at(tray)[2] == ()


def test_specks_are_no_dimples_but_dark_spots():
    random = np.random.default_rng(5)
    plain = domes(random, SHELLS, 30.0)
    log = plain.log.copy()
    x, y = np.meshgrid(axis_mm(log.shape[1]), axis_mm(log.shape[1]))
    for place in ((2.0, 3.0), (-6.0, 1.0)):
        log[6] -= 1.2 * (np.hypot(x - place[0], y - place[1]) < 0.8)[..., None]
    tray = Domes(log, plain.cut, plain.radius_mm)
    shading, _, found, _ = looked_at(tray)
    assert found == ()
    spots = find_pinholes(shading, tray.mm_per_cell)
    assert not spots.speckled
    assert [spot.cap for spot in spots.holes] == [6, 6]


def test_a_flavour_with_specks_has_no_pinholes():
    random = np.random.default_rng(6)
    plain = domes(random, SHELLS, 30.0)
    log = plain.log.copy()
    x, y = np.meshgrid(axis_mm(log.shape[1]), axis_mm(log.shape[1]))
    for shell in log:
        for place in random.uniform(-10, 10, (5, 2)):
            shell -= 1.0 * (np.hypot(x - place[0], y - place[1]) < 0.7)[..., None]
    spots = find_pinholes(shading_of(Domes(log, plain.cut, plain.radius_mm)), plain.mm_per_cell)
    assert spots.speckled
    assert spots.holes == ()


def swirled(random, changes=None):
    """Two colours in three arms, another turn on every shell."""
    plain = domes(random, SHELLS, 30.0, changes)
    log = plain.log.copy()
    x, y = np.meshgrid(axis_mm(log.shape[1]), axis_mm(log.shape[1]))
    for shell in log:
        arm = np.sin(2 * np.arctan2(y, x) + np.hypot(x, y) / 6 + random.uniform(0, 6))
        part = 1 / (1 + np.exp(-arm / 0.1))[..., None]
        shell += part * np.log(np.array([0.55, 0.6, 0.9]))
    return Domes(log, plain.cut, plain.radius_mm)


def test_a_swirl_has_no_dimples():
    shading, _, found, _ = looked_at(swirled(np.random.default_rng(7)))
    assert shading.swirled
    assert found == ()


def test_a_dimple_under_a_swirl_is_found():
    change = {2: dimple((5.0, 4.0), 8.5, 1.7)}
    _, _, found, _ = looked_at(swirled(np.random.default_rng(8), change))
    assert {mark.cap for mark in found} == {2}


def test_a_peak_is_a_peak():
    def needle(x, y):
        r = np.hypot(x, y)
        return 1.3 * (0.6 * np.exp(-((r / 0.9) ** 2)) + 0.4 * np.exp(-((r / 2.6) ** 2)))

    tray = domes(np.random.default_rng(9), SHELLS, 30.0, {5: needle})
    _, _, found, peaks = looked_at(tray)
    assert [mark.cap for mark in peaks] == [5]
    assert found == ()


def test_a_long_crack_through_a_mark_is_no_dimple():
    tray = domes(np.random.default_rng(3), SHELLS, 30.0, {4: dimple((3.0, -5.0), 7.0, 1.4)})
    _, _, found, _ = looked_at(tray)
    across = np.column_stack([np.linspace(-0.3, 0.6, 20), np.full(20, -0.24)])  # 19 mm
    short = across[8:12]
    none = [[] for _ in range(SHELLS)]
    cracked = [[across] if cap == 4 else [] for cap in range(SHELLS)]
    walled = [[short] if cap == 4 else [] for cap in range(SHELLS)]
    assert without_cracked(found, none, tray.radius_mm) == found
    assert without_cracked(found, walled, tray.radius_mm) == found
    assert without_cracked(found, cracked, tray.radius_mm) == ()


def test_lumps_are_higher_the_higher_they_are():
    random = np.random.default_rng(10)

    def waves(height_mm):
        phase = random.uniform(0, 6, 3)

        def change(x, y):
            k = 2 * np.pi / 5.0
            parts = [np.sin(k * (x * c + y * s) + p) for (c, s), p in zip(WAYS, phase, strict=True)]
            return height_mm * sum(parts) / np.sqrt(1.5)

        return change

    tray = domes(random, SHELLS, 30.0, {1: waves(0.1), 2: waves(0.2)})
    shading = shading_of(tray)
    heights, _ = lumpiness(shading, light_direction(shading), tray.mm_per_cell)
    plain = np.median(heights)
    assert heights[1] == pytest.approx(0.1, rel=0.5)  # shape of a cap 20 %, waves' own width
    assert heights[2] == pytest.approx(2 * heights[1], rel=0.25)
    assert heights[1] > 3 * plain


WAYS = ((1.0, 0.0), (0.5, 0.866), (-0.5, 0.866))
