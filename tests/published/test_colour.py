"""CIELAB and CIEDE2000 against published values."""

import csv
from pathlib import Path

import numpy as np
import pytest

from petitpied.photo.colour_space import LOG_LIGHT, delta_e00, lab_of, linear_of

PAIRS = Path(__file__).parents[1] / "data" / "ciede2000_pairs.csv"


def test_ciede2000_of_the_34_published_pairs():
    # Sharma, Wu, Dalal, Color Res. Appl. 30 (2005) 21-30, Table 1; printed to four decimals
    with PAIRS.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    assert len(rows) == 34
    first = np.array([[float(r[k]) for k in ("L1", "a1", "b1")] for r in rows])
    second = np.array([[float(r[k]) for k in ("L2", "a2", "b2")] for r in rows])
    printed = np.array([float(r["dE00"]) for r in rows])
    assert delta_e00(first, second) == pytest.approx(printed, abs=1e-4)
    assert delta_e00(second, first) == pytest.approx(printed, abs=1e-4)


# widely published calculator values (sRGB, D65), as in scikit-image's own colour tests; libraries
# differ by up to 0.02 by the rounding of the matrix (IEC 61966-2-1 prints four digits)
@pytest.mark.parametrize(
    ("srgb", "lab"),
    [
        ((255, 255, 255), (100, 0, 0)),
        ((255, 255, 0), (97.1393, -21.5537, 94.478)),
        ((0, 255, 255), (91.1132, -48.0875, -14.1312)),
        ((0, 255, 0), (87.7347, -86.1827, 83.1793)),
        ((255, 0, 255), (60.3242, 98.2343, -60.8249)),
        ((255, 0, 0), (53.2408, 80.0925, 67.2032)),
        ((0, 0, 255), (32.297, 79.1875, -107.8602)),
        ((0, 0, 0), (0, 0, 0)),
    ],
)
def test_srgb_to_cielab(srgb, lab):
    assert lab_of(linear_of(srgb)) == pytest.approx(lab, abs=0.02)


def test_lightness_of_mid_grey():
    assert lab_of(linear_of([119, 119, 119]))[0] == pytest.approx(50.03, abs=0.01)


def test_srgb_curve_meets_where_its_two_parts_join():
    # IEC 61966-2-1: 0.04045 of the code is 0.0031308 of the light
    assert linear_of(0.04045 * 255) == pytest.approx(0.0031308, rel=1e-4)
    assert np.all(np.diff(LOG_LIGHT) > 0)


def test_one_colour_against_many():
    many = np.array([[50.0, 0, 0], [60.0, 10, 0]])
    assert delta_e00(many[0], many).shape == (2,)
    assert delta_e00(many[0], many)[0] == 0
