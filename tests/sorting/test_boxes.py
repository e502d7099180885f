"""Boxes: count and evenness against every possible filling; what fits and what is left over."""

from dataclasses import replace

import numpy as np
import pytest

from petitpied.domain.quantity import Quantity
from petitpied.sorting.box_file import BoxKind
from petitpied.sorting.boxes import fill_boxes
from tests.sorting.fillings import every_filling, macarons

KIND = BoxKind("box", 3, 3, 60.0)


@pytest.mark.parametrize("seed", range(24))
def test_as_many_and_as_even_as_every_filling_tried(seed):
    random = np.random.default_rng(seed)
    count = int(random.integers(3, 9))
    slots = int(random.integers(2, 4))
    sizes = random.normal(45, 1, count)
    flavours = list(random.choice(["lemon", "rose"], count))
    labs = random.normal([60, 20, 10], 1.5, (count, 3))
    mixed = {"lemon": 1, "rose": slots - 1}
    kind = BoxKind(
        "box", slots, slots, 60.0,
        flavours=("one", "any", mixed)[seed % 3],
        even_range_mm=(None, 1.2)[seed // 3 % 2],
    )  # fmt: skip
    found = fill_boxes(macarons(sizes, flavours, labs), kind, 20.0)
    wanted, worst, colour = every_filling(sizes, flavours, labs, kind)
    assert len(found.boxes) == wanted
    if wanted:
        assert found.worst_range_mm == pytest.approx(worst, abs=1e-9)
        assert found.worst_colour == pytest.approx(colour, abs=1e-9)
        assert found.colour_bound == pytest.approx(colour, abs=1e-9)
    in_boxes = [m.number for box in found.boxes for m in box.macarons]
    told = in_boxes + [x.macaron.number for x in found.left_over]
    assert sorted(told) == list(range(1, count + 1))


def test_a_box_that_no_shell_fits():
    found = fill_boxes(macarons([45, 45.2, 45.1]), replace(KIND, slot_pitch_mm=45.0), 5.0)
    assert found.boxes == ()
    assert found.worst_range_mm is None
    assert all("does not surely fit the 44 mm" in x.why for x in found.left_over)


def test_room_is_kept_for_the_uncertainty():
    """u = hypot(0.08, 0.15) = 0.17: the largest that surely fits 59 mm is 59 - 1.645 * 0.17."""
    edge = 59 - 1.645 * 0.17
    found = fill_boxes(macarons([edge - 0.01] * 3 + [edge + 0.01] * 3), KIND, 5.0)
    assert len(found.boxes) == 1
    assert [x.macaron.number for x in found.left_over] == [4, 5, 6]


def test_thickness_is_checked_where_heights_are_known():
    heights = Quantity(12.0, 0.3, 0.2)  # 12 + 12 + 4 = 28 mm, u = hypot(0.42, 0.4)
    thin = replace(KIND, slot_depth_mm=28.5, filling_height_mm=4.0)
    found = fill_boxes(macarons([45, 45, 45], heights=heights), thin, 5.0)
    assert found.boxes == ()
    assert "its thickness 28.0 mm ± 1.1 mm" in found.left_over[0].why
    deep = replace(thin, slot_depth_mm=29.5)
    assert len(fill_boxes(macarons([45, 45, 45], heights=heights), deep, 5.0).boxes) == 1
    unknown = fill_boxes(macarons([45, 45, 45]), thin, 5.0)
    assert len(unknown.boxes) == 1
    assert any("thickness was not checked" in note for note in unknown.notes)


def test_why_each_is_left_over():
    kind = replace(KIND, slots=2, flavours={"rose": 1, "lemon": 1}, even_range_mm=0.5)
    found = fill_boxes(macarons([45, 45.1, 45.2, 52], ["rose", "lemon", "rose", "mint"]), kind, 5.0)
    why = {x.macaron.number: x.why for x in found.left_over}
    assert why[4] == 'the box holds no "mint"'
    assert len(found.boxes) == 1
    assert "it would need 1 lemon (0 left)" in why.get(1, why.get(3))
    wide = fill_boxes(macarons([45, 46]), replace(KIND, slots=2, even_range_mm=0.5), 5.0)
    assert "more than the 0.5 mm allowed" in wide.left_over[0].why


def test_an_empty_lot_fills_nothing():
    found = fill_boxes([], KIND, 5.0)
    assert (found.boxes, found.left_over, found.worst_range_mm) == ((), (), None)


def test_many_alike_are_quick_and_even():
    sizes = np.random.default_rng(8).normal(45, 1, 60)
    labs = np.random.default_rng(9).normal([60, 20, 10], 1.5, (60, 3))
    found = fill_boxes(macarons(sizes, labs=labs), replace(KIND, slots=6), 5.0)
    assert len(found.boxes) == 10
    # sorted by size, ten boxes of six in a row: no filling of all sixty is more even
    in_order = np.sort(sizes).reshape(10, 6)
    assert found.worst_range_mm == pytest.approx(np.ptp(in_order, axis=1).max(), abs=1e-9)
    assert found.colour_bound <= found.worst_colour
