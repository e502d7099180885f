"""Areas and centroids of polygons by elementary geometry."""

import numpy as np
import pytest

from petitpied.numerics.polygons import area_of, areas_and_centroids, areas_of

TRIANGLE = np.array([[0, 0], [6, 0], [0, 3]], float)  # area 9, centroid at the vertices' mean
SQUARE = np.array([[1, 1], [3, 1], [3, 3], [1, 3]], float)  # area 4, centroid (2, 2)


def test_polygons_of_differing_lengths():
    points = np.concatenate([TRIANGLE, SQUARE[::-1], TRIANGLE + 100])
    assert areas_of(points, np.array([3, 4, 3])) == pytest.approx([9, 4, 9])
    assert area_of(SQUARE) == pytest.approx(4)


def test_centroids_do_not_depend_on_the_direction():
    for polygon, area, middle in ((TRIANGLE, 9, (2, 1)), (SQUARE, 4, (2, 2))):
        for way in (polygon, polygon[::-1]):
            areas, centroids = areas_and_centroids(way[None] + 1000)
            assert areas[0] == pytest.approx(area)
            assert centroids[0] == pytest.approx(np.add(middle, 1000))


def test_a_line_has_no_centroid():
    with pytest.raises(ValueError, match="no area"):
        areas_and_centroids(np.array([[[0, 0], [1, 1], [2, 2]]], float))
