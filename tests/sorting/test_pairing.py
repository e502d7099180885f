"""Pairs of a lot: who may be paired with whom, who is left over, in what order."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from petitpied.sorting.closeness import Closeness
from petitpied.sorting.limits import GradeNames
from petitpied.sorting.lot import Verdict
from petitpied.sorting.no_eye_would import any_too_far
from petitpied.sorting.pairing import pair_lot
from tests.sorting.lots import a_lot, a_shell, least_total


@given(st.integers(2, 9), st.integers(0, 2**32 - 1), st.booleans())
@settings(max_examples=30, deadline=None)
def test_total_is_that_of_brute_force_and_every_shell_is_told(count, seed, colour):
    shells = a_lot(count, seed, colour=colour)
    # lots with shells too far apart for any eye: test_no_eye_would
    assume(not any_too_far(Closeness.of(shells)))
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


def graded(count, tops, seed):
    """The first ``tops`` are tops, the others bottoms of more uneven sizes."""
    shells = a_lot(count, seed)
    return [
        replace(s, verdict=Verdict.TOP if i < tops else Verdict.BOTTOM)
        for i, s in enumerate(shells)
    ]


def test_a_bottom_gets_a_top_and_the_rest_stays_out():
    grades = [Verdict.TOP] * 3 + [Verdict.BOTTOM] * 4 + [Verdict.CRUMBS, Verdict.BY_EYE]
    shells = [replace(s, verdict=g) for s, g in zip(a_lot(9, 2), grades, strict=True)]
    found = pair_lot(shells, grades=GradeNames(crumbs="for the base"))
    assert [p.grade for p in found.pairs] == [Verdict.TOP] * 3
    assert all(p.a.verdict is Verdict.BOTTOM and p.is_mixed for p in found.pairs)
    why = {x.shell.id: x.why for x in found.left_over}
    assert why.pop("A8") == "it is for the base"
    assert why.pop("B1") == "to check by eye"
    assert "odd number of shells (3 top, 4 bottom)" in next(iter(why.values()))


def by_brute_force(shells):
    """Most pairs with a top, of those most pairs, of those the least cost (all matchings)."""
    matrix = Closeness.of(shells).matrix()

    def every(left):
        if len(left) < 2:
            yield []
            return
        first, *rest = left
        for other in rest:
            for more in every([x for x in rest if x != other]):
                yield [(first, other), *more]
        if len(left) % 2:
            yield from every(rest)

    def worth(pairs):
        good = sum(Verdict.TOP in (shells[i].verdict, shells[j].verdict) for i, j in pairs)
        return good, len(pairs), -sum(matrix[i, j] for i, j in pairs)

    return max(worth(pairs) for pairs in every(list(range(len(shells)))))


@given(st.integers(2, 8), st.integers(0, 8), st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_tops_and_bottoms_as_by_brute_force(count, tops, seed):
    shells = graded(count, min(tops, count), seed)
    assume(not any_too_far(Closeness.of(shells)))  # these: test_no_eye_would
    found = pair_lot(shells)
    good, pairs, cost = by_brute_force(shells)
    assert sum(p.grade is Verdict.TOP for p in found.pairs) == good
    assert len(found.pairs) == pairs
    assert found.total_cost == pytest.approx(-cost, abs=1e-7)
    assert found.lower_bound == pytest.approx(found.total_cost)


def test_never_fewer_macarons_than_within_grades():
    """100 simulated lots: good macarons and macarons in all, against tops with tops and bottoms
    with bottoms."""
    random = np.random.default_rng(7)
    more = 0
    for seed in range(100):
        count = int(random.integers(2, 60))
        tops = int(random.integers(0, count + 1))
        found = pair_lot(graded(count, tops, seed))
        good = sum(p.grade is Verdict.TOP for p in found.pairs)
        assert good == min(tops, count // 2)  # no lot of these grades can give more
        assert good >= tops // 2
        assert len(found.pairs) >= tops // 2 + (count - tops) // 2
        assert found.gap_rel < 1e-9
        more += good > tops // 2
    assert more > 50


@pytest.mark.parametrize("tops", [200, 151])
def test_large_lots_are_proven_optimal(tops):
    """Beyond 120 shells not all pairs are offered: the bound must meet the cost all the same, and
    both that of the assignment where tops and bottoms are equally many (scipy)."""
    from scipy.optimize import linear_sum_assignment

    shells = graded(302, tops, 5)
    found = pair_lot(shells)
    assert found.gap_rel < 1e-9
    assert sum(p.grade is Verdict.TOP for p in found.pairs) == 151
    if tops == 151:
        costs = Closeness.of(shells).matrix()[:tops, tops:]
        least = costs[linear_sum_assignment(costs)].sum()
        assert found.total_cost == pytest.approx(least, abs=1e-6)


def test_a_turn_is_told_only_where_it_is_seen():
    """Two ellipses, 1 mm longer than wide, one lying and one standing: a quarter turn closes a gap
    of 1 mm at the edge (0.5 mm on each radius, opposite in sign); round ones need none."""
    long = np.zeros(14, complex)
    long[0] = 0.5
    lying, standing = (a_shell(n, harmonics_mm=s * long) for n, s in (("A1", 1), ("A2", -1)))
    pair = pair_lot([lying, standing]).pairs[0]
    assert abs(pair.turn_deg) == 90
    assert pair.turn_helps
    closeness = Closeness.of([lying, standing])
    assert closeness.edge_gap_mm(0, 1, 0.0) == pytest.approx(1.0)
    assert closeness.edge_gap_mm(0, 1, 90.0) == pytest.approx(0.0, abs=1e-9)
    slight = [a_shell(n, harmonics_mm=s * 0.2 * long) for n, s in (("A1", 1), ("A2", -1))]
    assert not pair_lot(slight).pairs[0].turn_helps


def test_nothing_one_and_all_rejected():
    assert pair_lot([]).pairs == ()
    alone = pair_lot([a_shell("A1")])
    assert (alone.pairs, alone.left_over[0].why) == ((), "there is no other shell to go with it")
    rejected = [replace(s, verdict=Verdict.CRUMBS) for s in a_lot(4, 1)]
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
