"""What looks as round as a shell and is none: an empty printed ring, a metal bowl."""

from dataclasses import replace

import cv2
import numpy as np

from petitpied.domain.shell import Seed
from petitpied.finding.bare_liner import bare_liner, look_at, without
from petitpied.finding.finder_network import FinderMaps
from petitpied.finding.liner import learn_light
from petitpied.finding.odd_things import odd_things

ROWS, COLUMNS, CELL_PX, RADIUS = 150, 220, 8.0, 14
#: how much brighter a dome's lit side is than its middle, and its other side darker: what lies in
#: the middle eighty in a hundred of it then runs by half, as on the traced trays (median 0.57)
DOME = 0.45
LINER, SHELL, OTHER = (150, 185, 215), (120, 200, 190), (70, 80, 110)
PLACES = [(30 + 40 * (i % 5), 28 + 46 * (i // 5)) for i in range(15)]


def tray(empty=(), bowls=(), other=(), pale=()):
    """A mat under light that falls off in one corner, with domes on it, ``pale`` ones of the mat's
    own colour; the finder took the ``empty`` rings and the metal ``bowls`` for shells. Seeds in the
    places' order."""
    y, x = np.mgrid[0:ROWS, 0:COLUMNS].astype(float)
    picture = np.empty((ROWS, COLUMNS, 3))
    picture[:] = LINER
    around = np.ones((ROWS, COLUMNS), bool)
    seeds = []
    turn = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    for number, (cx, cy) in enumerate(PLACES):
        away = np.hypot(x - cx, y - cy)
        around &= away > 1.05 * RADIUS
        if number in bowls:
            gleam = 15 + 90 * (0.5 + 0.5 * np.sin(0.5 * (x - cx) + 0.9 * (y - cy)))
            picture[away < RADIUS] = gleam[away < RADIUS, None]
        elif number in empty:
            picture[np.abs(away - RADIUS) < 1] = (60, 80, 130)
        else:
            own = OTHER if number in other else LINER if number in pale else SHELL
            lit = 1 + DOME * (0.8 * (x - cx) - 0.6 * (y - cy)) / RADIUS
            picture[away < RADIUS] = lit[away < RADIUS, None] * own
        ring = np.column_stack([cx + RADIUS * np.cos(turn), cy + RADIUS * np.sin(turn)])
        middle = ((cx + 0.5) * CELL_PX - 0.5, (cy + 0.5) * CELL_PX - 0.5)
        seeds.append(Seed(middle, (ring + 0.5) * CELL_PX - 0.5, 1.0, True, (), None))
    # a lamp in one corner: what a smooth model of the liner's light does not follow
    picture *= (0.55 + 0.6 * np.exp(-np.hypot(x, y) / 60))[..., None]
    noise = np.random.default_rng(3).normal(0, 1.5, picture.shape)
    small = np.clip(picture + noise, 0, 255).astype(np.uint8)
    maps = FinderMaps(
        np.zeros((ROWS, COLUMNS), np.float32),
        np.zeros((ROWS, COLUMNS), np.float32),
        np.zeros((ROWS, COLUMNS, 2), np.float32),
        CELL_PX,
        cv2.GaussianBlur(small, (0, 0), 0.6),
    )
    return maps, tuple(seeds), learn_light(maps.picture_bgr, around), around


def kept(seeds, left):
    centres = [s.centre_px for s in left]
    return [i for i, s in enumerate(seeds) if s.centre_px in centres]


def without_bare_liner(maps, seeds, light, around):
    return without(seeds, bare_liner(maps, look_at(maps, seeds), light, around))


def without_odd_things(maps, seeds, light):
    return without(seeds, odd_things(maps, look_at(maps, seeds), light))


def test_empty_rings_are_dropped_wherever_they_lie_and_nothing_else():
    maps, seeds, light, around = tray(empty=(0, 6, 14))
    left = without_bare_liner(maps, seeds, light, around)
    assert kept(seeds, left) == [i for i in range(15) if i not in (0, 6, 14)]


def test_shells_of_the_liners_colour_among_others_are_no_empty_rings():
    pale = (1, 5, 8, 12)
    maps, seeds, light, around = tray(empty=(6, 10), pale=pale)
    left = without_bare_liner(maps, seeds, light, around)
    assert kept(seeds, left) == [i for i in range(15) if i not in (6, 10)]


def test_a_metal_bowl_is_no_shell_and_a_shell_of_another_flavour_is_one():
    maps, seeds, light, _ = tray(bowls=(7,), other=(3,))
    assert kept(seeds, without_odd_things(maps, seeds, light)) == [i for i in range(15) if i != 7]


def of_radius(seed, times):
    middle = np.array(seed.centre_px)
    return replace(seed, outline_px=middle + times * (seed.outline_px - middle))


def test_a_small_thing_of_a_colour_of_its_own_is_no_shell():
    maps, seeds, light, _ = tray(other=(3, 9))
    # one of two of another flavour is small; and one of the many
    two = [of_radius(s, 0.7) if i in (3, 4) else s for i, s in enumerate(seeds)]
    assert kept(two, without_odd_things(maps, tuple(two), light)) == list(range(15))
    maps, seeds, light, _ = tray(other=(3,))
    # alone in its flavour, of the others' size
    assert kept(seeds, without_odd_things(maps, seeds, light)) == list(range(15))
    thing = [of_radius(s, 0.7) if i == 3 else s for i, s in enumerate(seeds)]
    left = without_odd_things(maps, tuple(thing), light)
    assert kept(thing, left) == [i for i in range(15) if i != 3]


def test_few_finds_are_no_measure():
    maps, seeds, light, _ = tray(bowls=(1,))
    assert without_odd_things(maps, seeds[:5], light) == seeds[:5]


def test_neighbours_are_numbered_anew():
    maps, seeds, light, around = tray(empty=(0,))
    joined = [Seed(s.centre_px, s.outline_px, 1.0, True, (), None) for s in seeds]
    joined[1] = Seed(joined[1].centre_px, joined[1].outline_px, 1.0, True, (0, 2), None)
    left = without_bare_liner(maps, joined, light, around)
    assert left[0].touching == (1,)
