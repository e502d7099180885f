"""Shape numbers of figures whose area, perimeter and calipers follow from geometry.

Formulas: ISO 9276-6:2008 (equal-area diameter, Feret diameters, aspect ratio min / max,
circularity sqrt(4 pi A / P^2)). Status: form factor confirmed in Head & Face Medicine 2:4
(2006), table 1; ISO's square root and min / max from memory. Values: elementary geometry and,
for the ellipses' perimeters, complete elliptic integrals, recomputed with scipy.
"""

import numpy as np
import pytest

from petitpied.sizing.outline import measure_outline


def ellipse(a, b, count=1440):
    t = np.arange(count) * (2 * np.pi / count)
    return np.column_stack([a * np.cos(t), b * np.sin(t)])


def filled_in(corners, between=12):
    """A polygon with more vertices on its sides; the figure stays the same."""
    corners = np.array(corners, float)
    share = np.arange(between)[:, None] / between
    following = np.roll(corners, -1, axis=0)
    return np.vstack([a + share * (b - a) for a, b in zip(corners, following, strict=True)])


def sector(degrees):
    t = np.deg2rad(np.linspace(0, degrees, 1441))
    arc = np.column_stack([np.cos(t), np.sin(t)])
    return arc if degrees == 180 else np.vstack([arc, [[0, 0]]])


PLUS = [(1, 0), (2, 0), (2, 1), (3, 1), (3, 2), (2, 2), (2, 3), (1, 3), (1, 2), (0, 2), (0, 1)]
PLUS += [(1, 1)]
#: outline, area, smallest and largest caliper width, equal-area diameter
FIGURES = {
    "disc": (ellipse(1, 1), np.pi, 2, 2, 2.0),
    "ellipse 2 to 1": (ellipse(2, 1), 6.283185307179586, 2, 4, 2.8284271247461903),
    "ellipse of 5 %": (ellipse(1.05, 1), 3.2986722862692828, 2, 2.1, 2.04939015319192),
    "square": (filled_in([(0, 0), (1, 0), (1, 1), (0, 1)]), 1, 1, np.sqrt(2), 1.1283791670955126),
    "triangle": (
        filled_in([(0, 0), (1, 0), (0.5, np.sqrt(3) / 2)]),
        *(0.4330127018922193, 0.8660254037844386, 1, 0.7425152492856911),
    ),
    "half disc": (sector(180), np.pi / 2, 1, 2, np.sqrt(2)),
    "three quarters": (sector(270), 2.356194490192345, 1.7071067811865475, 2, np.sqrt(3)),
    "plus": (filled_in(PLUS), 5, 2.8284271247461903, 3.1622776601683795, 2.5231325220201604),
}


# rel: a polygon of 1440 vertices in place of a curve loses (2 pi / 1440)^2 / 6 = 3.2e-6 of the
# area and up to (pi / 1440)^2 / 2 = 2.4e-6 of a width; figures with straight sides lose nothing.
@pytest.mark.parametrize("name", FIGURES)
def test_area_calipers_and_diameter(name):
    outline, area, shortest, longest, diameter = FIGURES[name]
    size = measure_outline(outline)
    assert size.area_mm2 == pytest.approx(area, rel=5e-6)
    assert size.feret_min_mm == pytest.approx(shortest, rel=5e-6)
    assert size.feret_max_mm == pytest.approx(longest, rel=5e-6)
    assert size.aspect_ratio == pytest.approx(shortest / longest, rel=5e-6)
    assert size.diameter_mm == pytest.approx(diameter, rel=5e-6)


# Perimeter and circularity are of the outline smoothed to 15 undulations: meant for figures as
# smooth as shells. A 5 % ellipse has nothing beyond the 15th; of the 2 to 1 ellipse's radius
# 5e-4 lies beyond, and its square times the order's, 0.06 %, is lost.
@pytest.mark.parametrize(
    ("name", "perimeter", "circularity", "rel"),
    [
        ("disc", 6.283185307179586, 1.0, 1e-5),
        ("ellipse of 5 %", 6.441222778114004, 0.9995538535762537, 1e-5),
        ("ellipse 2 to 1", 9.688448220547675, 0.9171505770626321, 6e-4),
    ],
)
def test_perimeter_and_circularity(name, perimeter, circularity, rel):
    size = measure_outline(FIGURES[name][0])
    assert size.perimeter_mm == pytest.approx(perimeter, rel=rel)
    assert size.circularity == pytest.approx(circularity, rel=rel)
