"""Bakes side by side: what is taken out of leans before they are mapped."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from petitpied.patterns.oven.tray_stack import Stack, without_spreading

RNG = np.random.default_rng(20_261_125)
PLACES = RNG.uniform(-190, 190, (4, 30, 2))
LEANS = RNG.normal(0, 0.3, (4, 30, 2))
THERE = RNG.uniform(size=(4, 30)) < 0.8


@given(st.floats(-0.01, 0.01))
def test_rings_at_another_height_change_nothing(slope):
    # a ring thought 4 mm too low at 400 mm distance: 0.01 mm of lean for each mm of place
    plain = without_spreading(PLACES, LEANS, THERE)
    moved = without_spreading(PLACES, LEANS + slope * PLACES, THERE)
    gone = (moved - plain) * THERE[..., None]
    # what is left is the same lean for the whole tray: the places' mean times the slope
    assert np.ptp(np.where(THERE[..., None], gone, np.nan)[0, THERE[0]], axis=0).max() < 1e-9


def test_the_trays_mean_lean_stays():
    weight = THERE / THERE.sum(axis=1, keepdims=True)
    before = np.einsum("ns,nsk->nk", weight, LEANS)
    after = np.einsum("ns,nsk->nk", weight, without_spreading(PLACES, LEANS, THERE))
    np.testing.assert_allclose(after, before, atol=1e-12)


def test_leans_round_the_tray_stay():
    """A draught that turns with a fan: no part of it points outwards."""
    x, y = np.meshgrid(np.linspace(-150, 150, 6), np.linspace(-100, 100, 5))
    places = np.stack([x.ravel(), y.ravel()], axis=-1)[None]
    swirl = 0.004 * places @ np.array([[0.0, 1.0], [-1.0, 0.0]])
    kept = without_spreading(places, swirl, np.ones((1, 30), bool))
    np.testing.assert_allclose(kept, swirl, atol=1e-12)


def test_levelled_values_have_no_slope_no_bowl_and_their_mean():
    values = LEANS[..., :1] * THERE[..., None]
    x, y = (PLACES[..., k] * THERE for k in (0, 1))
    stack = Stack("browning", x, y, values, THERE, np.zeros(4, bool), np.arange(4))
    level = stack.levelled()
    for k in range(4):
        here = THERE[k]
        dx, dy = (part[k, here] - part[k, here].mean() for part in (x, y))
        design = np.column_stack([np.ones(here.sum()), dx, dy, dx**2 + dy**2])
        slopes = np.linalg.lstsq(design, level.values[k, here, 0])[0]
        np.testing.assert_allclose(slopes[1:], 0, atol=1e-9)
        assert abs(level.values[k, here].mean() - values[k, here].mean()) < 1e-9
