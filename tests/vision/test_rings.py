"""Two rings at their heights, seen through a camera, come back in plan view."""

import numpy as np
import pytest

from petitpied.vision.edges import RAYS, EdgeBand, ShellEdges
from petitpied.vision.heights import heights_from_ruler, refine_heights
from petitpied.vision.rings import Heights, fit_rings
from tests.vision.card_views import overhead_view

CAP_MM, FOOT_MM = 22.0, 23.4
ANGLE = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
CIRCLE = np.column_stack([np.cos(ANGLE), np.sin(ANGLE)])


def radii_px(view, outline_mm, height_mm, middle_px):
    offset = view.project(outline_mm, height_mm) - middle_px
    angle = np.arctan2(offset[:, 1], offset[:, 0])
    order = np.argsort(angle)
    return np.interp(ANGLE, angle[order], np.hypot(*offset.T)[order], period=2 * np.pi)


def shell_edges(view, centres_mm, *, lean=(0.0, 0.0), cap_height_mm=4.7, foot=True, noise=0.0):
    """Edges of thin rings: what the camera sees of a foot ring and a cap ring above it."""
    rng = np.random.default_rng(11)
    middles, outer, cap = [], [], []
    for centre in centres_mm:
        middle = view.project(np.array([centre]))[0]
        rim = radii_px(view, centre + CAP_MM * CIRCLE, cap_height_mm, middle)
        base = radii_px(view, centre + np.array(lean) + FOOT_MM * CIRCLE, 1.7, middle)
        middles.append(middle)
        outer.append(np.maximum(rim, base) if foot else rim)
        cap.append(rim)
    middles, outer, cap = np.array(middles), np.array(outer), np.array(cap)
    outer = outer + rng.normal(0, noise, outer.shape)
    visible = (outer - cap > 1.0).astype(float)

    def band(radius, weight):
        return EdgeBand(radius, weight, middles[:, None] + radius[:, :, None] * CIRCLE)

    return ShellEdges(middles, ANGLE, band(outer, np.ones_like(outer)), band(cap, visible))


CENTRES = np.array([[100.0, 80.0], [60.0, 60.0], [130.0, 110.0], [150.0, 60.0], [55.0, 110.0]])


def fit(view, edges, heights=None):
    heights = heights or Heights()
    return fit_rings(view, edges, heights, np.ones(edges.outer.radius_px.shape))


def test_diameters_and_places_come_back():
    view = overhead_view(tilt_deg=4.0, height_mm=700.0, focal_px=3600.0)
    rings = fit(view, shell_edges(view, CENTRES))
    for centre, cap, foot in zip(CENTRES, rings.cap, rings.foot, strict=True):
        # rays are interpolated in a polygon of 192 sides (0.01 mm); the rounded foot and dome of
        # the model differ from thin rings by 0.05 mm at these slants (0.1)
        assert cap.radius_mm == pytest.approx(CAP_MM, abs=0.06)
        assert foot.radius_mm == pytest.approx(FOOT_MM, abs=0.06)
        assert cap.centre_mm == pytest.approx(centre, abs=0.08)


def test_an_even_tray_looks_even_from_close_by():
    """No false edge effect: at 400 mm caps stand out by 2 mm at the tray's edge, unmodelled."""
    view = overhead_view(tilt_deg=1.0)
    rings = fit(view, shell_edges(view, CENTRES))
    radii = [cap.radius_mm for cap in rings.cap]
    assert np.ptp(radii) < 0.12  # the dome's bulge at slant 0.17 is 0.05 mm
    both = zip(rings.cap, rings.foot, strict=True)
    lean = [np.subtract(foot.centre_mm, cap.centre_mm) for cap, foot in both]
    assert np.abs(lean).max() < 0.15


def test_lean_is_found():
    view = overhead_view(height_mm=700.0, focal_px=3600.0)
    rings = fit(view, shell_edges(view, CENTRES, lean=(0.6, -0.3)))
    for cap, foot in zip(rings.cap, rings.foot, strict=True):
        assert np.subtract(foot.centre_mm, cap.centre_mm) == pytest.approx([0.6, -0.3], abs=0.12)


def test_the_frame_of_the_world_does_not_matter():
    view = overhead_view(tilt_deg=5.0)
    edges = shell_edges(view, CENTRES, noise=0.3)
    here = fit(view, edges)
    there = fit(view.moved((40.0, -25.0), 33.0), edges)
    for a, b in zip(here.cap + here.foot, there.cap + there.foot, strict=True):
        assert a.radius_mm == pytest.approx(b.radius_mm, abs=2e-3)


def test_a_shell_without_foot_has_none():
    view = overhead_view()
    rings = fit(view, shell_edges(view, CENTRES, foot=False, cap_height_mm=1.2))
    assert rings.foot == (None,) * len(CENTRES)
    assert [c.radius_mm for c in rings.cap] == pytest.approx([CAP_MM] * len(CENTRES), abs=0.08)


def test_parallax_shows_the_height_of_the_rims():
    view = overhead_view()
    rng = np.random.default_rng(2)
    centres = np.column_stack([rng.uniform(40, 165, 24), rng.uniform(40, 125, 24)])
    edges = shell_edges(view, centres, cap_height_mm=6.2, noise=0.3)
    first = Heights()
    found = refine_heights(view, fit(view, edges, first), first)
    assert found.source == "photo"
    # slants up to 0.2, a lean scatter under 0.1 mm over 24 shells: a few tenths
    assert found.cap_rim_mm == pytest.approx(6.2, abs=0.6)
    assert found.cap_rim_u_mm < first.cap_rim_u_mm


def test_heights_from_the_ruler_scale():
    given = heights_from_ruler(10.0)
    assert (given.top_mm, given.source) == (10.0, "shell height given")
    assert given.cap_rim_mm == pytest.approx(0.376 * 10.0)
