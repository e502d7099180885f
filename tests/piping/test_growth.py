"""Growth, pitch and the chance to touch, against drawn trays and closed forms."""

from math import inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from petitpied.piping.growth import (
    BakedTray,
    Growth,
    caliper_over_diameter,
    growth_of,
    neighbours,
    piped_diameter_mm,
    pitch_for,
    touching,
)


def test_what_is_piped_bakes_to_the_target():
    assert piped_diameter_mm(45.0, Growth(4.0, 0.1, 0.8)) == 41.0
    with pytest.raises(ValueError, match="nothing to pipe"):
        piped_diameter_mm(4.0, Growth(5.0, 0.1, 0.8))


def test_neighbours_of_a_lattice():
    assert neighbours(1, 1) == 0
    assert neighbours(2, 3) == 7  # counted by hand


def test_chance_to_touch_is_that_of_drawn_shells():
    """Two shells of random size and place, drawn; 400,000 pairs give a share near 0.02 to
    0.0002 (one standard deviation): three of them."""
    growth = Growth(4.0, 0.0, 0.8, inf, place_sd_mm=1.0)
    rng = np.random.default_rng(3)
    size = 45 + 0.8 * rng.normal(size=(2, 400_000))
    miss = rng.normal(size=(2, 400_000))
    gap = 48.2 + miss[0] - miss[1] - size.mean(axis=0)
    assert touching(45.0, 48.2, growth).p_pair == pytest.approx(float((gap < 0).mean()), abs=7e-4)


def test_a_spread_known_from_few_shells_needs_a_wider_pitch():
    many, few = Growth(4.0, 0.1, 0.8, inf), Growth(4.0, 0.1, 0.8, 5)
    wide, narrow = pitch_for(45.0, few, 0.02, 10), pitch_for(45.0, many, 0.02, 10)
    assert wide.pitch_mm > narrow.pitch_mm


@given(
    reach=st.floats(20, 80),
    spread=st.floats(0, 3),
    place=st.floats(0, 3),
    risk=st.floats(0.001, 0.5),
    pairs=st.integers(1, 200),
)
def test_the_pitch_is_the_smallest_that_holds_the_risk(reach, spread, place, risk, pairs):
    growth = Growth(4.0, 0.1, spread, inf, place)
    pitch = pitch_for(reach, growth, risk, pairs)
    assert pitch.p_any <= risk
    closer = touching(reach, pitch.pitch_mm - 0.5, growth, pairs)
    assert closer.p_any > risk or closer.pitch_mm < reach


def drawn_tray(rng, grows=4.0, place_sd=0.7, staggered=False):
    rows, columns = (a.ravel() for a in np.mgrid[:5, :6])
    shift = 26.0 * (rows % 2) if staggered else 0.0
    middle = np.column_stack([columns * 52.0 + shift, rows * 55.0])
    piped = 41 + 0.5 * rng.normal(size=30)
    baked = piped + grows + 0.6 * rng.normal(size=30)
    return BakedTray(
        growth_mm=baked - piped,
        diameter_mm=baked,
        feret_max_mm=1.02 * baked,
        centre_mm=middle + place_sd * rng.normal(size=(30, 2)),
        rows=rows,
        columns=columns,
    )


@pytest.mark.parametrize("staggered", [False, True])
def test_growth_of_drawn_trays(staggered):
    """Truth: 4 mm; spread sqrt(0.5^2 + 0.6^2) = 0.78; places 0.7. Twenty trays of 30 shells:
    600 sizes give a standard deviation to 3 %, 1,000 degrees of freedom of places to 2.2 %;
    tolerance four of those. Mean: 0.6 / sqrt(600) = 0.025."""
    rng = np.random.default_rng(11)
    growth = growth_of([drawn_tray(rng, staggered=staggered) for _ in range(20)])
    assert growth.mean_mm == pytest.approx(4.0, abs=0.1)
    assert growth.spread_mm == pytest.approx(0.781, rel=0.12)
    assert growth.place_sd_mm == pytest.approx(0.7, rel=0.09)
    assert growth.u_mm == pytest.approx(0.6 / np.sqrt(600), rel=0.6)


def test_trays_that_grow_unlike_make_the_growth_unsure():
    """Means of 3, 4 and 5 mm: s = 1, u at least 1 / sqrt(3) (JCGM 100, 4.2.3), whatever the
    shells say; their means differ from the planted by 0.1 mm."""
    rng = np.random.default_rng(12)
    growth = growth_of([drawn_tray(rng, grows) for grows in (3.0, 4.0, 5.0)])
    assert growth.u_mm == pytest.approx(1 / np.sqrt(3), abs=0.12)


def test_missing_values_and_no_growth():
    tray = drawn_tray(np.random.default_rng(1))
    none = BakedTray(
        np.full(30, np.nan), tray.diameter_mm, tray.feret_max_mm, tray.centre_mm, tray.rows,
        tray.columns,
    )  # fmt: skip
    assert growth_of([none]) is None
    assert growth_of([]) is None
    assert caliper_over_diameter([tray]) == pytest.approx(1.02)
    assert caliper_over_diameter([]) == 1.0
    assert growth_of([tray, none]) == growth_of([tray])
