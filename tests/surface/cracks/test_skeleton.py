"""Thinning keeps what is joined and runs in the middle; longest ways are known by construction."""

import cv2
import numpy as np
import pytest

from petitpied.surface.cracks.skeleton import longest_way, thinned


def drawn(points, width, shape=(60, 80)):
    picture = np.zeros(shape, np.uint8)
    cv2.polylines(picture, [np.array(points, np.int32)], False, 1, width)
    return picture.astype(bool)


def parts_and_holes(mask):
    parts = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)[0] - 1
    # what is not the mask is joined by sides alone, as the mask is by corners too
    holes = cv2.connectedComponents(
        np.pad(~mask, 1, constant_values=True).astype(np.uint8), None, 4
    )
    return parts, holes[0] - 2


@pytest.mark.parametrize("seed", range(8))
def test_thinning_keeps_parts_and_holes(seed):
    noise = np.random.default_rng(seed).standard_normal((60, 80)).astype(np.float32)
    mask = np.pad(cv2.GaussianBlur(noise, (0, 0), 1 + 0.4 * seed) > 0, 1)
    line = thinned(mask)
    assert not (line & ~mask).any()
    assert parts_and_holes(line) == parts_and_holes(mask)
    # thinned again nothing more goes, and no place has all four neighbours beside it left
    assert (thinned(line) == line).all()
    inner = line[1:-1, 1:-1] & line[:-2, 1:-1] & line[2:, 1:-1] & line[1:-1, :-2] & line[1:-1, 2:]
    assert inner.sum() <= 0.01 * line.sum()


@pytest.mark.parametrize("end", [(70, 30), (65, 50), (40, 55), (10, 55), (70, 5)])
@pytest.mark.parametrize("width", [2, 3, 5])
def test_a_bar_is_thinned_to_its_middle(end, width):
    start = np.array([10, 30])
    way = longest_way(thinned(drawn([start, end], width)))
    along = (end - start) / np.hypot(*(end - start))
    off = np.abs((way - start) @ np.array([-along[1], along[0]]))
    # thinning goes by whole places; a line of even width has no middle place: half a place more
    assert off.max() <= 1.5
    # and takes half the width off either end
    assert np.hypot(*(way[-1] - way[0])) >= np.hypot(*(end - start)) - width - 1


def test_the_longest_way_leaves_side_branches_out():
    line = drawn([(5, 30), (40, 30), (60, 10)], 1) | drawn([(30, 30), (30, 42)], 1)
    way = longest_way(line)
    assert {tuple(way[0]), tuple(way[-1])} == {(5, 30), (60, 10)}
    # 35 steps along and 20 across corners
    assert len(way) == 35 + 20 + 1
    assert np.hypot(*np.diff(way, axis=0).T).sum() == pytest.approx(35 + 20 * np.sqrt(2))


def test_a_ring_is_walked_half_way():
    ring = np.zeros((40, 40), np.uint8)
    cv2.rectangle(ring, (10, 10), (30, 30), 1, 1)
    way = longest_way(ring.astype(bool))
    assert np.hypot(*np.diff(way, axis=0).T).sum() == pytest.approx(40, abs=3)


def test_the_larger_of_two_parts_and_none_of_specks():
    line = drawn([(5, 10), (15, 10)], 1) | drawn([(5, 40), (60, 40)], 1)
    assert (longest_way(line)[:, 1] == 40).all()
    assert longest_way(np.zeros((9, 9), bool)) is None
    assert longest_way(drawn([(3, 3), (4, 3)], 1)) is None
