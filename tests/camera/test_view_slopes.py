"""Exact derivatives against differences of what they are derivatives of."""

import numpy as np
import pytest

from petitpied.camera.straight_edges import StraightEdge, StraightnessEvidence
from petitpied.camera.view_slopes import card_slopes, place_in_world, plane_slopes
from petitpied.domain.view import PARAMETERS, View
from tests.camera.card_views import overhead_view

#: steps of central differences, in the units of `PARAMETERS`: their error is of the third order,
#: 1e-5 of the derivative here; the inverse of the distortion is good to 1e-11, over a step 1e-6
STEPS = dict.fromkeys(PARAMETERS, 1e-5) | {"tx_mm": 1e-2, "ty_mm": 1e-2, "tz_mm": 1e-2}
STEPS |= {"cx_px": 0.1, "cy_px": 0.1}


@pytest.fixture
def view():
    straight = overhead_view(tilt_deg=8.0)
    lens = [0.05, -0.02, 1e-3, -2e-3, 0.01]
    return View.exact(straight.camera_matrix, lens, straight.world_to_camera)


def differences(of, view):
    """Central differences (..., 14) of a function of the view."""
    columns = []
    for index, step in enumerate(STEPS.values()):
        change = np.zeros(len(PARAMETERS))
        change[index] = step
        there, back = of(view.perturbed(change)), of(view.perturbed(-change))
        columns.append((there - back) / (2 * step))
    return np.stack(columns, axis=-1)


def test_places_on_the_liner(view):
    places = np.random.default_rng(1).uniform([0, 0], [400, 300], (20, 2))
    seen = view.project(places)
    expected = differences(lambda changed: changed.to_plane(seen), view)
    assert plane_slopes(view, places) == pytest.approx(expected, rel=1e-5, abs=1e-5)


def test_a_cards_pixels(view):
    points, place = np.random.default_rng(2).uniform(0, 60, (12, 2)), np.array([80.0, 40.0, 0.3])
    at = place_in_world(points, place)
    expected = differences(lambda changed: changed.project(at, 0.5), view)
    assert card_slopes(view, points, place, 0.5)[0] == pytest.approx(expected, rel=1e-5, abs=1e-3)


def test_straight_edges(view):
    """Edges a little bowed and turned, one of them so far off that it has hardly a say."""
    rng = np.random.default_rng(3)
    edges = []
    for direction, offset in ((0, 0.0), (0, 220.0), (1, 10.0), (1, 330.0), (0, 100.0)):
        along = np.array([0.0, 140.0, 300.0])
        across = offset + rng.normal(0, 0.3 if offset != 100.0 else 3.0, 3)
        line = np.column_stack([along, across] if direction == 0 else [across, along])
        edges.append(StraightEdge(view.project(line), direction))
    evidence = StraightnessEvidence(tuple(edges))
    slopes = evidence.slopes(view)
    assert slopes.shape == (2 * len(edges), len(PARAMETERS))
    # a derivative that is zero is left as differences' rounding: relative to the largest
    scale = np.abs(slopes).max()
    assert slopes == pytest.approx(differences(evidence, view), rel=1e-4, abs=1e-7 * scale)
