"""Caps in plan view: a pattern drawn on a known dome comes back where it was drawn."""

import numpy as np
import pytest

from petitpied.domain.view import View
from petitpied.surface.caps.cap_patch import DOME_REL, Cap, cap_patches

RIM_MM, RADIUS_MM = 5.0, 20.0


def circle(centre_mm):
    t = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    return np.asarray(centre_mm) + RADIUS_MM * np.column_stack([np.cos(t), np.sin(t)])


def tilted_view(px_per_mm=8.0):
    """A camera 700 mm above the liner, tilted by 8 degrees."""
    f = 700.0 * px_per_mm
    k = [[f, 0, 1000], [0, f, 800], [0, 0, 1]]
    c, s = np.cos(np.radians(8)), np.sin(np.radians(8))
    pose = np.array([[1, 0, 0, 5.0], [0, c, -s, -3.0], [0, s, c, 700.0]])
    return View.exact(k, [0.05, -0.02], pose)


def dome_height(points_mm, centre_mm):
    """Written again from the definition: a paraboloid over a flat rim."""
    q = ((points_mm - np.asarray(centre_mm)) ** 2).sum(axis=1) / RADIUS_MM**2
    return RIM_MM + 2 * DOME_REL * RADIUS_MM * np.maximum(1 - q, 0)


def photo_with_dots(view, places_mm, centre_mm):
    """A dark photo with a bright square of 3 x 3 px around each projected place."""
    pixels = np.zeros((1600, 2000, 3), np.uint8)
    for x, y in np.round(view.project(places_mm, dome_height(places_mm, centre_mm))).astype(int):
        pixels[y - 1 : y + 2, x - 1 : x + 2] = 255
    return pixels


def test_a_dot_on_the_dome_is_found_at_its_plan_place():
    view = tilted_view()
    centres = [(-80.0, -50.0), (70.0, 55.0)]
    for index, centre in enumerate(centres):
        places = np.asarray(centre) + np.array([[0.0, 0.0], [10.0, 4.0], [-3.0, -15.0]])
        pixels = photo_with_dots(view, places, centre)
        patches = cap_patches(pixels, view, [Cap(circle(c), RIM_MM) for c in centres])
        tile = patches.mosaic_bgr[patches.window(index)][..., 0].astype(float)
        for place in places:
            col, row = patches.to_tile_px(index, place[None])[0]
            rows, cols = (slice(round(v) - 4, round(v) + 5) for v in (row, col))
            weight = tile[rows, cols]
            y, x = np.mgrid[rows, cols]
            found = np.array([(weight * x).sum(), (weight * y).sum()]) / weight.sum()
            # half a photo pixel of rounding, 0.06 mm, and the dome between nodes: 0.02 mm
            off_mm = patches.to_mm(index, found[None])[0] - place
            assert np.hypot(*off_mm) < 0.1


def test_the_way_back_to_the_photo_is_the_projection():
    view = tilted_view()
    pixels = np.zeros((1600, 2000, 3), np.uint8)
    patches = cap_patches(pixels, view, [Cap(circle((30, 20)), RIM_MM)])
    places = np.array([[30.0, 20.0], [38.0, 11.0]])
    back = patches.to_photo_px(0, patches.to_tile_px(0, places))
    truth = view.project(places, dome_height(places, (30, 20)))
    assert back == pytest.approx(truth, abs=0.02)  # the polygon's box is 1e-3 of its circle


def test_inside_covers_the_cap_and_the_inset_is_the_way_to_its_rim():
    patches = cap_patches(
        np.zeros((1600, 2000, 3), np.uint8), tilted_view(), [Cap(circle((0, 0)), RIM_MM)]
    )
    area_mm2 = (patches.inside > 0).sum() * patches.mm_per_px**2
    assert area_mm2 == pytest.approx(np.pi * RADIUS_MM**2, rel=0.02)  # a pixel of rim is 2 %
    assert patches.inset_mm.max() == pytest.approx(RADIUS_MM, rel=0.02)  # 5 x 5 weights


def test_a_fine_photo_is_averaged_not_skipped():
    """Stripes of one photo pixel come out grey where a patch pixel covers several."""
    view = tilted_view(px_per_mm=14.0)
    pixels = np.zeros((1600, 2000, 3), np.uint8)
    pixels[:, ::2] = 255
    patches = cap_patches(pixels, view, [Cap(circle((0, 0)), RIM_MM)])
    middle = patches.mosaic_bgr[90:130, 90:130].astype(float)
    assert middle.std() < 15
