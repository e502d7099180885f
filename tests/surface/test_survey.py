"""Colour and marks end to end, on a path-traced sample whose truth lies beside it."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from petitpied.domain.photo import Photo
from petitpied.domain.settings import Settings
from petitpied.domain.surface import Reference
from petitpied.inspection.one_photo import inspect_photo
from petitpied.photo.colour_space import delta_e00, lab_of, linear_of
from petitpied.photo.decode import decode_photo
from tests.benchmarks.surface_colour import COOL, WARM, rephotographed

SAMPLE = Path(__file__).parents[2] / "sample_images" / "rose_white_parchment.jpg"


@pytest.fixture(scope="module")
def photo():
    return decode_photo(SAMPLE.read_bytes(), SAMPLE.name)


@pytest.fixture(scope="module")
def truth():
    return json.loads(SAMPLE.with_suffix(".json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def record(photo):
    return inspect_photo(photo, Settings())


def looked_like(photo, pixels_bgr):
    return Photo(
        **{name: getattr(photo, name) for name in photo.__dataclass_fields__}
        | {"pixels_bgr": pixels_bgr}
    )


def test_the_one_dimpled_shell_is_found(record, truth):
    dimpled = [s for s in truth["shells"] if s["dimples"]]
    found = [s for s in record.shells if s.surface.dimples]
    assert len(found) == len(dimpled) == 1
    (mark,), (true,) = found[0].surface.dimples, dimpled[0]["dimples"]
    assert abs(mark.diameter_mm.value - true["diameter_mm"]) < 2
    assert mark.depth_mm.value == pytest.approx(true["depth_mm"], rel=0.4)


def test_no_shell_is_peaked_or_lumpy(record):
    assert all(s.surface.peak is None for s in record.shells)
    assert all(s.surface.lumpiness_mm.value < 0.05 for s in record.shells)


def test_caps_have_the_colour_that_the_scene_paints(record, truth):
    """Mottling and gloss of the scene's shells are no part of the paint: about 2 in lightness."""
    painted = np.median([s["cap_albedo_srgb"] for s in truth["shells"]], axis=0)
    seen = np.median([s.surface.colour.lab for s in record.shells], axis=0)
    assert delta_e00(lab_of(linear_of(painted)), seen) < 3
    assert record.colour.absolute
    assert record.colour.reference == "tray median"


def test_the_light_comes_from_the_scenes_window(record, truth):
    """The card's strip is at the lower edge of this picture: both frames have one x axis."""
    apart = (record.colour.light_dir_deg - truth["light"]["azimuth_deg"] + 180) % 360 - 180
    assert abs(apart) < 8  # the tray's frame is turned by the door's side, the view by some degrees


def test_warm_and_cool_pictures_of_one_tray_agree(photo):
    labs = []
    for gain, contrast in (WARM, COOL):
        again = looked_like(photo, rephotographed(photo.pixels_bgr, gain, contrast))
        shells = inspect_photo(again, Settings()).shells
        labs.append({s.id: s.surface.colour.lab for s in shells if s.surface.colour is not None})
    both = sorted(set(labs[0]) & set(labs[1]))
    assert len(both) >= 25
    apart = delta_e00(*(np.array([side[i] for i in both]) for side in labs))
    assert np.median(apart) < 1.5  # what must be reached


def test_browning_from_a_flavour_needs_the_strip(photo, record):
    pixels = photo.pixels_bgr.copy()
    corners = record.cards[0].corners_px
    strip = np.array(
        [
            corners[3],
            corners[2],
            corners[2] + 0.14 * (corners[1] - corners[2]),
            corners[3] + 0.14 * (corners[0] - corners[3]),
        ]
    )
    cv2.fillPoly(pixels, [np.round(strip).astype(np.int32)], (120, 60, 90))  # jam on it
    reference = Reference("rose", (76.0, 27.0, 6.0))
    soiled = inspect_photo(looked_like(photo, pixels), Settings(reference=reference))
    assert not soiled.colour.absolute
    assert soiled.colour.reference == "tray median"
    assert all(s.surface.colour is None for s in soiled.shells)
    assert all("grey strip" in dict(s.missing)["colour"] for s in soiled.shells)
    assert any("not from flavour rose" in w for w in soiled.warnings)
    assert any("card A" in w for w in soiled.warnings)
    browning = np.array([[s.surface.browning.value for s in r.shells] for r in (soiled, record)])
    assert np.corrcoef(browning)[0, 1] > 0.9  # differences within the tray stay


def test_browning_is_counted_from_the_flavour(photo, record):
    median = np.median([s.surface.colour.lab for s in record.shells], axis=0)
    pale = Reference("rose", tuple(median + np.array([4.0, -1.0, -3.0])))
    against = inspect_photo(photo, Settings(reference=pale))
    assert against.colour.reference == "flavour rose"
    # shell by shell, against their browning from the tray's own median; not all of the difference
    # lies along browning's way
    each = zip(against.shells, record.shells, strict=True)
    found = np.median([a.surface.browning.value - b.surface.browning.value for a, b in each])
    assert 1.5 < found < float(delta_e00(median, np.array(pale.lab)))
    assert all(s.surface.browning.u_shared > 0 for s in against.shells)


def test_a_card_in_shade_alone_gives_no_colours(photo, record):
    """Under an arm's shadow the card gets a sixth of the light: the caps would be lighter than a
    perfect white."""
    shade = np.zeros(photo.pixels_bgr.shape[:2], np.uint8)
    corners = record.cards[0].corners_px
    wide = corners.mean(axis=0) + 1.15 * (corners - corners.mean(axis=0))
    cv2.fillPoly(shade, [np.round(wide).astype(np.int32)], 255)
    darker = np.round(255 * (np.arange(256) / 255 * (1 / 6) ** (1 / 2.2)))[photo.pixels_bgr]
    pixels = np.where(shade[..., None] > 0, darker, photo.pixels_bgr).astype(np.uint8)
    shaded = inspect_photo(looked_like(photo, pixels), Settings())
    assert not shaded.colour.absolute
    assert all(s.surface.colour is None for s in shaded.shells)
    assert any("lighter than white" in w for w in shaded.warnings)
    # jam or shade: what differs within the tray stays
    browning = np.array([[s.surface.browning.value for s in r.shells] for r in (shaded, record)])
    assert np.corrcoef(browning)[0, 1] > 0.9
