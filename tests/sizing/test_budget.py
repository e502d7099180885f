"""The budget against Monte Carlo propagation (JCGM 101:2008): views, heights, card and edges
are drawn from what the budget says of them, circles are seen and measured, thousands of times."""

from dataclasses import replace

import numpy as np
import pytest

from petitpied.contours.rings import Heights
from petitpied.domain.uncertainty import (
    OWN_CAUSES,
    SHARED_CAUSES,
    budget_of,
    difference,
    mean_of,
    quantity_of,
)
from petitpied.domain.view import PARAMETERS
from petitpied.sizing.budget import (
    CARD_THICKNESS_U_MM,
    FOOT_OWN_U_MM,
    PRINT_SCALE_REL,
    ShellDoubts,
    scale_slopes,
    triangular_root,
)
from tests.camera.card_views import overhead_view

DRAWS = 1500
#: two shells of the tray, mm in the card's frame: near the card, and at the far corner
PLACES = np.array([[120.0, 90.0], [360.0, 250.0]])
RADIUS_MM, EDGE_U_MM, RAYS = 21.0, 0.25, 48


def doubtful_view():
    """500 mm above the tray's middle; doubts of a one-card photo, some of them correlated."""
    view = overhead_view(height_mm=500.0, at_mm=(200.0, 150.0))
    sigma = dict.fromkeys(PARAMETERS, 0.0)
    sigma |= {"f_rel": 0.01, "k1": 0.01, "rx_rad": 2e-3, "ry_rad": 2e-3, "rz_rad": 5e-4}
    sigma |= {"tx_mm": 0.2, "ty_mm": 0.2, "tz_mm": 5.0}
    s = np.array(list(sigma.values()))
    correlation = np.eye(len(s))
    f, z = PARAMETERS.index("f_rel"), PARAMETERS.index("tz_mm")
    correlation[f, z] = correlation[z, f] = 0.9  # a longer lens from farther away
    return replace(view, covariance=correlation * np.outer(s, s))


def simulated(view, heights, rng):
    """Measured diameters (DRAWS, 2) of two circles of `RADIUS_MM` at foot height."""
    root = triangular_root(view.covariance)
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    circle = RADIUS_MM * np.column_stack([np.cos(angle), np.sin(angle)])
    camera_mm = -view.camera_centre_mm[2]
    found = np.empty((DRAWS, len(PLACES)))
    for row in found:
        truth = view.perturbed(root @ rng.normal(size=len(PARAMETERS)))
        shared_foot = heights.foot_u_mm * rng.normal()
        scale = 1 + PRINT_SCALE_REL * rng.normal()
        # a card that is thicker than thought stands nearer, and all else is taken for larger
        scale *= 1 + CARD_THICKNESS_U_MM * rng.normal() / camera_mm
        for shell, place in enumerate(PLACES):
            lift = heights.foot_mm + shared_foot + FOOT_OWN_U_MM * rng.normal()
            seen = view.to_plane(truth.project(circle + place, lift), heights.foot_mm)
            away = seen - seen.mean(axis=0)
            noisy = np.hypot(*away.T) + EDGE_U_MM * rng.normal(size=RAYS)
            x, y = (away / np.hypot(*away.T)[:, None] * noisy[:, None]).T
            area = 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
            row[shell] = scale * np.sqrt(4 * area / np.pi)
    return found


@pytest.fixture(scope="module")
def both():
    """Analytic quantities of two shells, and their simulation."""
    view, heights = doubtful_view(), Heights()
    slopes = scale_slopes(view, PLACES)
    camera = view.camera_centre_mm
    radius_u = EDGE_U_MM / np.sqrt(RAYS)
    slant = np.hypot(*(PLACES - camera[:2]).T) / -camera[2]
    none, edges = np.zeros(len(PLACES)), np.full(len(PLACES), radius_u)
    # all of the foot shows: where it hides, the edges are not drawn here
    doubts = ShellDoubts(
        slopes, -camera[2], slant, heights, none, edges, none, none, 1 - none, none
    )
    told = doubts.foot_diameters(np.full(len(PLACES), 2 * RADIUS_MM))
    return told, simulated(view, heights, np.random.default_rng(20))


def spread(values):
    return float(np.std(values, ddof=1))


#: a standard deviation of 1500 draws is good to 1.8 % (one sigma); three of them, and 2 % for
#: terms beyond the first order
CLOSE = 0.075


def test_each_shells_uncertainty(both):
    told, drawn = both
    for quantity, values in zip(told, drawn.T, strict=True):
        assert quantity.u == pytest.approx(spread(values), rel=CLOSE)


def test_the_difference_of_two_shells(both):
    told, drawn = both
    assert difference(*told).u == pytest.approx(spread(drawn[:, 0] - drawn[:, 1]), rel=CLOSE)
    # and it is not what the two would have if they shared nothing
    assert difference(*told).u < 0.8 * np.hypot(told[0].u, told[1].u)


def test_the_mean_of_two_shells(both):
    told, drawn = both
    assert mean_of(told).u == pytest.approx(spread(drawn.mean(axis=1)), rel=CLOSE)


def test_the_95_percent_interval_covers_95_percent(both):
    told, drawn = both
    for quantity, values in zip(told, drawn.T, strict=True):
        inside = np.mean(np.abs(values - values.mean()) <= quantity.u95)
        # a share of 1500 draws: 0.6 % (one sigma), three of them; Student's factor is wider
        assert 0.93 <= inside <= 0.985


def test_budget_adds_up_to_the_combined_uncertainty(both):
    told, _ = both
    for quantity in told:
        budget = budget_of(quantity)
        assert np.linalg.norm([row.u for row in budget.rows]) == pytest.approx(quantity.u)
        assert [r.u for r in budget.rows] == sorted((r.u for r in budget.rows), reverse=True)
        assert {r.cause for r in budget.rows} == {*OWN_CAUSES, *SHARED_CAUSES}


def test_a_shared_scale_error_does_not_separate_two_shells():
    """Two shells of one size, with one cause that they share in full: no doubt between them."""
    own, shared = [0.0] * len(OWN_CAUSES), [0.0] * len(SHARED_CAUSES)
    shared[0] = 0.3
    a, b = quantity_of(42.0, own, shared), quantity_of(41.0, own, shared)
    assert difference(a, b).u == 0
    assert mean_of([a, b]).u == pytest.approx(0.3)


def test_triangular_root_of_a_view_with_exact_parameters():
    view = doubtful_view()
    root = triangular_root(view.covariance)
    assert np.allclose(root @ root.T, view.covariance, rtol=1e-6, atol=1e-14)
