"""A shell cut out of its photo: the right pixels, to scale, white around."""

import numpy as np

from petitpied.figures.tray.shell_cutouts import _places_px, cutout
from tests.records import a_shell, a_view


def test_places_between_known_ones_are_those_of_the_camera():
    view, middle, half, side = a_view(400.0), np.array([90.0, -70.0]), 25.0, 400
    at = _places_px(view, middle, half, side)
    places = (np.arange(side) + 0.5) * 2 * half / side - half
    grid = np.stack(np.meshgrid(places, places), axis=-1).reshape(-1, 2) + middle
    assert np.abs(view.project(grid).reshape(side, side, 2) - at).max() < 0.05  # px


def test_the_disc_is_the_shells_and_the_rest_white():
    view = a_view()
    shell = a_shell("A1", 1, 1, 40.0)
    photo = np.full((1200, 1600, 3), (40, 80, 120), np.uint8)
    px_per_mm = 6.0
    cut = cutout(photo, view, shell, px_per_mm, 25.0)
    assert cut.shape == (300, 300, 3)
    assert (cut[150, 150] == (40, 80, 120)).all()
    assert (cut[3, 3] == 255).all()
    # area of the drawn disc against that of the outline on the liner, mm2: edge pixels are mixed
    inside = (255 - cut[..., 0].astype(float)) / (255 - 40)
    x, y = view.to_plane(shell.place.outline_px).T
    area = abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2
    assert abs(inside.sum() / px_per_mm**2 - area) < 0.01 * area
