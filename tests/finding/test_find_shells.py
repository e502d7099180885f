"""Finding: real coins, and touching discs in maps made by hand."""

import cv2
import numpy as np
from skimage import data

from petitpied.domain.photo import Photo
from petitpied.domain.settings import Settings
from petitpied.finding.find_shells import find_shells, seeds_from_maps
from petitpied.finding.finder_network import FinderMaps
from petitpied.inspection.one_photo import inspect_photo


def maps_of(discs, shape=(120, 160)):
    """Perfect maps of discs (x, y, radius), cells."""
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    shell, middle = np.zeros(shape, np.float32), np.dstack([x, y])
    for cx, cy, radius in discs:
        inside = np.hypot(x - cx, y - cy) < radius
        shell[inside] = 1
        middle[inside] = (cx, cy)
    picture = np.full((*shape, 3), 200, np.uint8)
    return FinderMaps(shell, 0.9 * shell, middle, 4.0, picture)


def test_all_24_coins_and_nothing_else():
    """scikit-image's photo of Greek coins from Pompeii, Brooklyn Museum: 24 coins."""
    grey = data.coins()
    seeds = find_shells(cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR)).seeds
    assert len(seeds) == 24
    assert all(seed.whole for seed in seeds)
    centres = np.array([s.centre_px for s in seeds])
    gap = np.hypot(*np.moveaxis(centres[:, None] - centres[None], 2, 0))
    assert gap[~np.eye(24, dtype=bool)].min() > 35  # coins are 40 to 70 px wide


def test_coins_in_relative_mode_have_no_millimetres():
    photo = Photo("coins.png", "0" * 64, cv2.cvtColor(data.coins(), cv2.COLOR_GRAY2BGR))
    record = inspect_photo(photo, Settings(relative=True))
    assert len(record.shells) == 24
    assert record.view is None
    assert all(s.diameter_mm is None and s.diameter_rel is not None for s in record.shells)
    assert {s.row for s in record.shells} == {0, 1, 2, 3}  # four rows of six


def test_touching_discs_are_parted_and_say_so():
    seeds = seeds_from_maps(maps_of([(40, 60, 15), (69, 60, 15), (120, 40, 12)]))
    assert len(seeds) == 3
    touching = {tuple(np.round((np.array(s.centre_px) + 0.5) / 4 - 0.5)): s for s in seeds}
    left, right, alone = touching[40, 60], touching[69, 60], touching[120, 40]
    assert left.touching == (seeds.index(right),)
    assert right.touching == (seeds.index(left),)
    assert alone.touching == ()


def test_a_disc_at_the_border_is_not_whole():
    (cut,) = seeds_from_maps(maps_of([(3, 60, 14)]))
    assert not cut.whole


def test_nothing_is_an_answer():
    assert seeds_from_maps(maps_of([])) == ()
