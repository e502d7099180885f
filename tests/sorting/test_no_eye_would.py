"""Pairs that no eye would make are never made, and as many others as can be."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from petitpied.domain.quantity import Quantity
from petitpied.sorting.colours_apart import by_colour, colour_groups, large_groups
from petitpied.sorting.lot import ORDERS, LotShell, Verdict
from petitpied.sorting.no_eye_would import MOST_APART_DELTA_E, MOST_APART_MM
from petitpied.sorting.pairing import WHY_FAR, pair_lot

ROSE, PISTACHIO = (70.0, 25.0, 5.0), (75.0, -15.0, 30.0)


def shell(number, size_mm, lab=ROSE, flavour="", verdict=None):
    size = Quantity(size_mm, 0.1)
    round_one = np.zeros(len(ORDERS), complex)
    return LotShell("t", f"A{number}", size, round_one, lab, None, flavour, verdict)


def test_an_outlier_does_not_take_a_partner_away():
    # the least total of sizes alone is (40, 44) + (44.5, 48): both too far; one proper pair exists
    sizes = (40.0, 44.0, 44.5, 48.0)
    pairing = pair_lot([shell(i, s) for i, s in enumerate(sizes)])
    assert [(p.a.id, p.b.id) for p in pairing.pairs] == [("A1", "A2")]
    assert {x.shell.id for x in pairing.left_over} == {"A0", "A3"}
    assert {x.why for x in pairing.left_over} == {WHY_FAR}
    assert pairing.total_cost == pytest.approx(0.5)


@given(st.lists(st.floats(38, 50), min_size=2, max_size=7), st.data())
def test_as_many_proper_pairs_as_can_be(sizes, data):
    labs = [data.draw(st.sampled_from([ROSE, PISTACHIO])) for _ in sizes]
    tops = [data.draw(st.sampled_from([Verdict.TOP, Verdict.BOTTOM])) for _ in sizes]
    parts = zip(sizes, labs, tops, strict=True)
    shells = [shell(i, size, lab, "", grade) for i, (size, lab, grade) in enumerate(parts)]
    pairing = pair_lot(shells)

    def proper(a, b):
        near = abs(a.diameter_mm.value - b.diameter_mm.value) <= MOST_APART_MM
        return near and np.linalg.norm(np.subtract(a.lab, b.lab)) <= MOST_APART_DELTA_E

    def most(left):
        """By trying: the largest number of proper pairs."""
        if len(left) < 2:
            return 0
        first, *rest = left
        options = [most(rest)]
        options += [1 + most([x for x in rest if x is not b]) for b in rest if proper(first, b)]
        return max(options)

    assert all(proper(p.a, p.b) for p in pairing.pairs)
    assert len(pairing.pairs) == most(shells)


def test_rose_never_meets_pistachio_and_keeps_its_colour_in_the_box():
    shells = [shell(i, 44 + i / 10, ROSE if i % 2 else PISTACHIO) for i in range(12)]
    named = by_colour(shells)
    assert {s.flavour for s in named} == {"colour 1", "colour 2"}
    assert len({(s.flavour, s.lab) for s in named}) == 2
    pairing = pair_lot(named)
    assert len(pairing.pairs) == 6
    assert all(p.a.lab == p.b.lab for p in pairing.pairs)
    known = by_colour([shell(i, 44, ROSE if i < 5 else PISTACHIO, "rose") for i in range(9)])
    assert [s.flavour for s in known] == ["rose"] * 5 + ["rose, colour 2"] * 4


def test_groups_of_colours():
    chain = np.array([[50.0 + 10 * i, 0, 0] for i in range(5)])  # each near the next
    assert [len(g) for g in colour_groups(chain)] == [5]
    two = np.array([ROSE] * 4 + [PISTACHIO] * 3 + [(0.0, 0.0, 0.0)])
    assert sorted(map(len, colour_groups(two))) == [1, 3, 4]
    assert large_groups(two) == (4, 3)  # one odd shell is no group
    assert large_groups(two[:4]) == ()
    for a, b in combinations(colour_groups(two), 2):
        assert not set(a) & set(b)
