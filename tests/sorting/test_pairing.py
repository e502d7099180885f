"""Pairs of a lot: who may be paired with whom, who is left over, in what order."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from petitpied.sorting.closeness import Closeness
from petitpied.sorting.lot import Verdict
from petitpied.sorting.pairing import pair_lot
from tests.sorting.lots import a_lot, a_shell, least_total


@given(st.integers(2, 9), st.integers(0, 2**32 - 1), st.booleans())
@settings(max_examples=30, deadline=None)
def test_total_is_that_of_brute_force_and_every_shell_is_told(count, seed, colour):
    shells = a_lot(count, seed, colour=colour)
    found = pair_lot(shells)
    assert found.total_cost == pytest.approx(least_total(Closeness.of(shells).matrix()), abs=1e-7)
    assert found.lower_bound == found.total_cost
    assert found.gap_rel == 0
    told = [s.key for p in found.pairs for s in (p.a, p.b)]
    told += [x.shell.key for x in found.left_over]
    assert sorted(told) == sorted(s.key for s in shells)
    assert len(found.left_over) == count % 2
    assert sum(p.cost for p in found.pairs) == pytest.approx(found.total_cost)


def test_flavours_never_mix_unless_asked():
    shells = [replace(s, flavour="rose" if i < 5 else "lemon") for i, s in enumerate(a_lot(8, 4))]
    apart = pair_lot(shells)
    assert all(p.a.flavour == p.b.flavour for p in apart.pairs)
    assert len(apart.left_over) == 2  # five and three: one of each
    assert "odd number" in apart.left_over[0].why
    mixed = pair_lot(shells, mix_flavours=True)
    assert len(mixed.left_over) == 0
    assert {f for p in mixed.pairs for f in p.flavours} == {"rose", "lemon"}


def test_seconds_with_seconds_and_the_rest_stays_out():
    grades = [Verdict.PASS] * 4 + [Verdict.SECOND] * 3 + [Verdict.REJECT, Verdict.BY_EYE]
    shells = [replace(s, verdict=g) for s, g in zip(a_lot(9, 2), grades, strict=True)]
    found = pair_lot(shells)
    assert [p.grade for p in found.pairs] == [Verdict.PASS, Verdict.PASS, Verdict.SECOND]
    why = {x.shell.id: x.why for x in found.left_over}
    assert why.pop("A8") == "its verdict is reject"
    assert why.pop("B1") == "its verdict is check by eye"
    assert "verdict second (3)" in next(iter(why.values()))


def test_nothing_one_and_all_rejected():
    assert pair_lot([]).pairs == ()
    alone = pair_lot([a_shell("A1")])
    assert (alone.pairs, alone.left_over[0].why) == ((), "there is no other shell")
    rejected = [replace(s, verdict=Verdict.REJECT) for s in a_lot(4, 1)]
    assert (pair_lot(rejected).pairs, len(pair_lot(rejected).left_over)) == ((), 4)


def test_the_odd_one_out_is_the_one_that_fits_nobody():
    shells = [*a_lot(4, 1, spread_mm=0.3), a_shell("Z9", size_mm=60)]
    assert pair_lot(shells).left_over[0].shell.id == "Z9"


def test_picking_order_is_tray_by_tray_then_across():
    shells = [replace(s, record=f"tray{i % 3}.json") for i, s in enumerate(a_lot(30, 3))]
    shells.sort(key=lambda s: s.record)
    place = {s.key: i for i, s in enumerate(shells)}
    pairs = pair_lot(shells).pairs
    across = [p.a.record != p.b.record for p in pairs]
    assert across == sorted(across)
    assert 0 < sum(across) < len(across)
    for group in (False, True):
        firsts = [
            min(place[p.a.key], place[p.b.key])
            for p, is_across in zip(pairs, across, strict=True)
            if is_across is group
        ]
        assert firsts == sorted(firsts)


def test_difference_and_its_uncertainty():
    pair = pair_lot([a_shell("A1", size_mm=45.0), a_shell("A2", size_mm=45.5)]).pairs[0]
    assert pair.difference_mm.value == pytest.approx(0.5)
    assert pair.difference_mm.u == pytest.approx(np.hypot(0.08, 0.08))  # one tray: own parts only


def test_a_shell_twice_is_refused():
    with pytest.raises(ValueError, match="same tray and place"):
        pair_lot([a_shell("A1"), a_shell("A1")])
