"""The annotated picture, looked at by numbers: what is where, and that it shows without colour."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from petitpied.domain.quantity import Quantity
from petitpied.figures.drawing import Drawing, Window
from petitpied.figures.raster import pixels
from petitpied.figures.tray import overlay
from petitpied.figures.tray.overlay import LONG_SIDE_PX, marked_jpeg, marked_picture, short_reason
from petitpied.statistics.tray_summary import summarise
from tests.records import a_record, a_shell, relative_record, unmeasured_shell

SIZE = (1200, 1600)  # of the photo in `a_record`
SCALE = LONG_SIDE_PX / 1600
PHOTO_ROWS = round(1200 * SCALE)


def flat(level, size=SIZE):
    return np.full((*size, 3), level, np.uint8)


def drawn(record, level=128):
    """The marked picture in grey, as printed in black and white."""
    picture = pixels(marked_picture(flat(level), record, summarise(record)))
    return cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY).astype(int)


def around(grey, centre_px, half):
    x, y = (round((v + 0.5) * SCALE - 0.5) for v in centre_px)
    return grey[max(0, y - half) : y + half + 1, max(0, x - half) : x + half + 1]


def test_the_photo_fills_the_width_and_a_footer_follows():
    grey = drawn(a_record())
    assert grey.shape[1] == LONG_SIDE_PX
    assert grey.shape[0] > PHOTO_ROWS + 100
    assert np.mean(grey[PHOTO_ROWS:] > 250) > 0.7  # dark letters on white paper


@pytest.mark.parametrize("level", [0, 60, 128, 200, 255])
def test_outlines_show_on_any_flavour_without_colour(level):
    """Beside every point of the outline both a light and a dark line lie, so that one of them
    differs from the ground by at least half the range."""
    record = a_record([a_shell()])
    grey = drawn(record, level)
    for point in record.shells[0].outline_px[::6]:
        patch = around(grey, point, 6)
        assert max(abs(patch.max() - level), abs(patch.min() - level)) >= 120
        assert np.ptp(patch) >= 150


def test_the_outline_lies_where_the_record_says():
    """The light line's middle, against the record: a pixel of the picture at most (its own
    width is four)."""
    record = a_record([a_shell(cap_outline_px=None)])
    grey = drawn(record)
    x, y = record.shells[0].centre_px
    row = grey[round((y + 0.5) * SCALE - 0.5)]
    light = np.flatnonzero(row[: round(x * SCALE)] > 240)
    left = light[light < round((x - 70) * SCALE)]  # letters begin further right
    wanted = (record.shells[0].outline_px[:, 0].min() + 0.5) * SCALE - 0.5
    assert left.mean() == pytest.approx(wanted, abs=1.0)


def test_a_shell_not_measured_is_dashed():
    whole = drawn(a_record([a_shell(cap_outline_px=None)]))
    dashed = drawn(a_record([unmeasured_shell()]))
    points = a_shell().outline_px
    light_whole = np.mean([around(whole, p, 2).max() > 240 for p in points])
    light_dashed = np.mean([around(dashed, p, 2).max() > 240 for p in points])
    assert light_whole == 1.0
    assert 0.35 < light_dashed < 0.85  # half of it dashes, each a little longer by its round ends


def test_odd_ones_have_a_bracket():
    sizes = [42.0, 42.1, 41.9, 42.2, 41.8, 47.0]
    shells = [a_shell(f"A{i + 1}", i // 3, i % 3, d) for i, d in enumerate(sizes)]
    record = a_record(shells)
    grey = drawn(record)
    for shell in shells:
        corner = shell.outline_px.min(axis=0) - 9 / SCALE
        assert (np.ptp(around(grey, corner, 4)) > 100) == (shell.id == "A6")


def test_cards_and_door_side_are_marked():
    record = a_record([a_shell("A1", 1, 1), a_shell("A2", 1, 2)])
    grey = drawn(record)
    for corner in record.cards[0].corners_px:
        assert np.ptp(around(grey, corner, 6)) > 150
    # the door's words stand below the shells (y of the tray frame points to the door)
    below = record.view.project([[(-45 + 10) / 2, -25 + 42 / 2 + 12]])[0]
    assert np.ptp(around(grey, below, 40)) > 200
    without = drawn(replace(record, tray=None))
    assert np.ptp(around(without, below, 40)) == 0


def test_a_door_outside_the_photo_is_marked_at_its_edge():
    record = a_record()
    far = replace(record, tray=replace(record.tray, width_mm=600.0, depth_mm=900.0))
    grey = drawn(far)
    assert np.ptp(grey[PHOTO_ROWS - 100 : PHOTO_ROWS, 1000:1400]) > 200


def test_relative_records_are_drawn_without_a_scale():
    record = relative_record()
    picture = pixels(marked_picture(flat(128), record, summarise(record)))
    assert picture.shape[1] == LONG_SIDE_PX


@pytest.mark.parametrize("size", [(300, 400), (1200, 1600), (1600, 1200), (700, 5000), (5000, 700)])
def test_any_size_of_photo(size):
    record = a_record(warnings=tuple(f"warning {i} " + "word " * 30 for i in range(9)))
    picture = pixels(marked_picture(flat(90, size), record, summarise(record)))
    scale = LONG_SIDE_PX / max(size)
    assert picture.shape[1] == round(size[1] * scale)
    assert picture.shape[0] > round(size[0] * scale)


def test_nothing_found_is_a_picture_too():
    record = a_record([], cards=(), view=None, px_per_mm=None, tray=None)
    assert pixels(marked_picture(flat(50), record, summarise(record))).shape[1] == LONG_SIDE_PX


def test_the_file_is_a_jpeg_and_the_photo_is_unchanged():
    photo = flat(77)
    record = a_record()
    data = marked_jpeg(photo, record, summarise(record))
    decoded = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    assert decoded.shape[1] == LONG_SIDE_PX
    assert b"Exif" not in data
    assert (photo == 77).all()


@pytest.mark.parametrize(
    ("reason", "short"),
    [
        ("cut by the edge of the photo", "cut by the edge"),
        ("covered by the card, not whole", "covered"),
        ("too blurred: 3 px", "too blurred"),
        ("x" * 40, "x" * 18),
    ],
)
def test_short_reasons(reason, short):
    assert short_reason(reason) == short


def test_labels_follow_the_uncertainty():
    """A shell known to 2 mm only is not labelled with tenths: less is written in it."""
    sure = drawn(a_record([a_shell(diameter_mm=Quantity(41.97, 0.1), cap_outline_px=None)]))
    vague = drawn(a_record([a_shell(diameter_mm=Quantity(41.97, 1.0), cap_outline_px=None)]))
    below = np.add(a_shell().centre_px, (0, 12))
    assert (around(vague, below, 60) != around(sure, below, 60)).any()


@pytest.mark.parametrize("turn_deg", [0.0, 90.0, 30.0])
@pytest.mark.parametrize("centre", [(-50, -50), (0, 40), (400, 300), (200, 900)])
def test_words_stay_inside_the_picture(centre, turn_deg):
    sheet = overlay._Sheet(1.0, (400, 300))
    sheet.text("B3 44.8", np.array(centre), 40, turn_deg=turn_deg)
    drawn = pixels(Drawing(400, 300, sheet.shapes))
    wide = pixels(Drawing(800, 600, [Window((200, 150), (500, 400), sheet.shapes)]))
    assert (drawn != 255).sum() == (wide != 255).sum() > 2000  # a wider picture shows no more


def test_words_beside_a_shell_keep_clear_of_other_words():
    sheet = overlay._Sheet(1.0, (800, 400))
    sheet.text("oven door", np.array([400.0, 200.0]), 62)
    place = sheet.clear_place("lumpy", 40.0, (400.0, 175.0), 180.0)
    # letters 62 and 40 px high do not meet where their middles are half of both apart
    assert abs(place[1] - 200.0) > (62 + 40) / 2
    assert abs(place[1] - 175.0) <= 40  # and no farther off than a letter
    alone = sheet.clear_place("lumpy", 40.0, (100.0, 60.0), 180.0)
    assert tuple(alone) == (100.0, 60.0)  # nothing in the way: where they were wanted
