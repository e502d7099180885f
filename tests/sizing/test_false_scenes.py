"""What gives away photos of photos, screens, and cards at another scale; truth is constructed."""

import cv2
import numpy as np
import pytest

from petitpied.contours.astray import astray
from petitpied.contours.ring_steps import Parallax
from petitpied.domain.measures import Sizes
from petitpied.domain.quantity import Quantity
from petitpied.domain.shell import Place, Ring, Seed, Shell
from petitpied.domain.view import View, rotation_matrix
from petitpied.finding.lost_parts import edge_widths_px, lost_parts, unsharp
from petitpied.finding.screen_grid import PEAK, grid_peak
from petitpied.sizing.false_scenes import flat_words, grid_words, size_words
from petitpied.sizing.unseen_parts import with_lost_parts

RADIUS_PX = 45
PLACES = [(100 + 130 * column, 100 + 130 * row) for row in range(3) for column in range(4)]


def circle(centre, radius, count=120):
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return np.array(centre) + radius * np.column_stack([np.cos(angle), np.sin(angle)])


def tray():
    """Grey discs with rounded tops on a light liner, with a little noise; and their seeds."""
    picture = np.full((460, 600, 3), 210, np.uint8)
    for place in PLACES:
        cv2.circle(picture, place, RADIUS_PX, (150, 140, 170), -1, cv2.LINE_AA)
    noise = np.random.default_rng(4).normal(0, 2, picture.shape)
    seeds = [Seed(place, circle(place, RADIUS_PX), 1.0) for place in PLACES]
    return np.clip(picture + noise, 0, 255).astype(np.uint8), seeds


def shell(name, seed, diameter_mm=45.0):
    place = Place(0, 0, seed.centre_px, None, seed.outline_px, None)
    return Shell(name, place, Sizes(diameter_mm=Quantity(diameter_mm, 0.1, 0.1)))


def shells(seeds, **options):
    return [shell(f"A{k + 1}", seed, **options) for k, seed in enumerate(seeds)]


def test_a_sound_photo_has_no_lost_part_and_no_grid():
    picture, seeds = tray()
    lost = lost_parts(picture, seeds)
    assert lost.parts == ()
    assert not unsharp(edge_widths_px(picture, [s.outline_px for s in seeds])).any()
    assert with_lost_parts(picture, shells(seeds), lost).warnings == ()
    assert grid_words(grid_peak(picture, seeds)) == []


@pytest.mark.parametrize(("level", "what"), [(255, "washed out"), (0, "black")])
def test_a_part_without_tones_is_named_with_its_place_and_the_shells_beside_it(level, what):
    picture, seeds = tray()
    cv2.circle(picture, (490, 360), 90, (level,) * 3, -1)
    seeds = seeds[:-1]  # the last one cannot be seen
    lost = lost_parts(picture, seeds)
    assert [(part.what, part.place) for part in lost.parts] == [(what, "at the lower right")]
    # the disc of 90 px reaches 5 px into its two nearest neighbours, 130 px away
    found = with_lost_parts(picture, shells(seeds), lost)
    doubted, words = found.shells, found.warnings
    assert what in words[0]
    assert "shells may be missing" in words[0]
    touched = [s.id for s in doubted if s.doubts]

    assert touched == ["A8", "A11"]


def test_an_unsharp_part_is_told_by_the_width_of_its_edges():
    picture, seeds = tray()
    soft = cv2.GaussianBlur(picture, (0, 0), 6)
    picture[:, :170] = soft[:, :170]
    found = unsharp(edge_widths_px(picture, [s.outline_px for s in seeds]))
    assert np.flatnonzero(found).tolist() == [0, 4, 8]
    words = with_lost_parts(picture, shells(seeds), lost_parts(picture, seeds)).warnings
    assert "A1, A5 and A9 are less sure" in words[0]


@pytest.mark.parametrize("period_px", [3.3, 9.1])
def test_a_grid_over_the_caps_is_seen(period_px):
    picture, seeds = tray()
    y, x = np.mgrid[: len(picture), : picture.shape[1]]
    wave = 1 + 0.05 * np.cos(2 * np.pi * (0.98 * x + 0.2 * y) / period_px)
    shown = np.clip(picture * wave[..., None], 0, 255).astype(np.uint8)
    assert grid_peak(shown, seeds) > PEAK
    assert "screen" in grid_words(grid_peak(shown, seeds))[0]


@pytest.mark.parametrize(("size_mm", "word"), [(75.0, "larger"), (45.0, None), (18.0, "smaller")])
def test_sizes_that_no_macaron_has_are_told(size_mm, word):
    told = size_words(shells(tray()[1], diameter_mm=size_mm))
    assert (word in told[0]) if word else told == []


@pytest.mark.parametrize(("lean_mm", "told"), [(1.1, True), (0.1, False), (-1.1, False)])
def test_shells_without_parallax_under_a_slant_are_told(lean_mm, told):
    # a camera 500 mm up and 150 mm beside the tray: a slant of 0.3
    pose = np.column_stack([rotation_matrix([0.0, 0.0, 0.0]), [150.0, 0.0, 500.0]])
    view = View.exact(np.diag([3000.0, 3000.0, 1.0]), [0.0], pose)
    parallax = Parallax(0.0, 0.2, np.array([lean_mm, 0.0]))
    assert bool(flat_words(view, np.zeros((5, 2)), parallax)) is told


def test_a_ring_larger_than_its_shell_has_run_off():
    none = np.zeros(0)
    sound = Ring((0.0, 0.0), 22.0, none, none, 4.0)
    huge = Ring((0.0, 0.0), 3.3e7, none, none, 4.0)
    lobed = Ring((0.0, 0.0), 22.0, np.array([30.0]), np.array([0.0]), 4.0)
    gone = astray([sound, huge, lobed, None], np.full(4, 45.0))
    assert gone.tolist() == [False, True, True, False]
