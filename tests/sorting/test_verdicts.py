"""Verdicts by guarded limits: published probabilities, the rule at its edges, and its promise."""

import numpy as np
import pytest

from petitpied.domain.quantity import Quantity
from petitpied.sorting.limits import Limit, Limits
from petitpied.sorting.lot import Verdict
from petitpied.sorting.verdicts import Count, Measured, chance_outside, judge

LIMITS = Limits(
    0.05,
    (Limit("diameter_mm", 43.5, 46.5, 45.0), Limit("lopsided_mm", None, 1.5)),
    (Limit("diameter_mm", 41.0, 49.0, 45.0), Limit("lopsided_mm", None, 3.0)),
)


def verdict(limits=LIMITS, missing=None, **values):
    return judge(Measured(values, missing or {}), limits)


# JCGM 106:2012, examples of clause 7 (from memory of the guide, recomputed from the normal
# distribution): breakdown voltage of a Zener diode, -5.47 V, u 0.05 V, at most -5.40 V, 0.92;
# burst strength of a container, 509.7 kPa, u 8.6 kPa, at least 490 kPa, 0.99; viscosity of a
# motor oil, 13.6 mm2/s, u 1.8 mm2/s, 12.5 to 16.3 mm2/s, 0.66. Two printed decimals.
@pytest.mark.parametrize(
    ("value", "u", "low", "high", "conforms"),
    [
        (-5.47, 0.05, None, -5.40, 0.92),
        (509.7, 8.6, 490, None, 0.99),
        (13.6, 1.8, 12.5, 16.3, 0.66),
    ],
)
def test_conformance_probabilities_of_the_guide(value, u, low, high, conforms):
    outside = sum(chance_outside(Quantity(value, u), Limit("lopsided_mm", low, high)))
    assert 1 - outside == pytest.approx(conforms, abs=0.005)


# JCGM 106:2012, table 1: a one-sided limit at z standard uncertainties
@pytest.mark.parametrize(("p", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33)])
def test_distance_to_a_limit_and_probability(p, z):
    _, above = chance_outside(Quantity(10 - z * 0.3, 0.3), Limit("lopsided_mm", None, 10.0))
    # z has two decimals: 0.005 of z moves the probability by 0.0014 at most
    assert 1 - above == pytest.approx(p, abs=0.0015)


def test_an_exact_value_on_the_limit_conforms():
    assert chance_outside(Quantity(1.5, 0.0), Limit("lopsided_mm", None, 1.5)) == (0, 0)
    assert chance_outside(Quantity(1.51, 0.0), Limit("lopsided_mm", None, 1.5)) == (0, 1)


@pytest.mark.parametrize(
    ("diameter", "lean", "wanted", "words"),
    [
        (45.0, 0.5, Verdict.TOP, None),
        (48.0, 0.5, Verdict.BOTTOM, ("beyond", "diameter_mm", "above", 46.5)),
        (42.0, 0.5, Verdict.BOTTOM, ("beyond", "diameter_mm", "below", 43.5)),
        (52.0, 0.5, Verdict.CRUMBS, ("beyond", "diameter_mm", "above", 49.0)),
        (45.0, 4.5, Verdict.CRUMBS, ("beyond", "lopsided_mm", "above", 3.0)),
        (46.4, 0.5, Verdict.BY_EYE, ("near", "diameter_mm", "above", 46.5)),
        (46.6, 0.5, Verdict.BY_EYE, ("near", "diameter_mm", "above", 46.5)),
        (48.9, 0.5, Verdict.BY_EYE, ("near", "diameter_mm", "above", 49.0)),
        (45.0, 1.5, Verdict.BY_EYE, ("near", "lopsided_mm", "above", 1.5)),
    ],
)
def test_each_verdict_and_its_reason(diameter, lean, wanted, words):
    found = verdict(diameter_mm=Quantity(diameter, 0.2, 0.1), lopsided_mm=Quantity(lean, 0.1))
    assert found.verdict is wanted
    if words is None:
        assert found.reasons == ()
    else:
        reason = found.reasons[0]
        assert (reason.kind, reason.name, reason.side, reason.bound) == words


def test_two_small_doubts_add_up():
    """Each limit alone is kept with 97 %, both together not surely with 95 %."""
    near = Quantity(46.5 - 1.88 * 0.2, 0.2)  # 3 % beyond
    assert verdict(diameter_mm=near, lopsided_mm=Quantity(0.1, 0.1)).verdict is Verdict.TOP
    both = verdict(diameter_mm=near, lopsided_mm=Quantity(1.5 - 1.88 * 0.1, 0.1))
    assert both.verdict is Verdict.BY_EYE


def test_the_bakers_risk_moves_the_edge():
    value = {"diameter_mm": Quantity(46.2, 0.2), "lopsided_mm": Quantity(0.5, 0.1)}  # 6.7 % beyond
    bolder = Limits(0.1, LIMITS.tops, LIMITS.bottoms)
    assert judge(Measured(value), bolder).verdict is Verdict.TOP
    assert judge(Measured(value), LIMITS).verdict is Verdict.BY_EYE


def test_what_is_missing_for_one_shell_is_looked_at():
    found = verdict(missing={"lopsided_mm": "foot hidden"}, diameter_mm=Quantity(45, 0.2))
    assert (found.verdict, found.reasons[0].why) == (Verdict.BY_EYE, "foot hidden")
    sure = verdict(missing={"lopsided_mm": "foot hidden"}, diameter_mm=Quantity(60, 0.2))
    assert sure.verdict is Verdict.CRUMBS
    unknown_to_all = verdict(diameter_mm=Quantity(45, 0.2))
    assert unknown_to_all.verdict is Verdict.TOP


def test_a_shell_that_was_not_measured_is_looked_at():
    found = judge(Measured({}, {}, "cut by the edge of the photo"), LIMITS)
    assert (found.verdict, found.reasons[0].why) == (Verdict.BY_EYE, "cut by the edge of the photo")


def test_without_second_what_does_not_pass_is_rejected():
    only = Limits(0.05, LIMITS.tops)
    size = {"lopsided_mm": Quantity(0.5, 0.1)}
    assert verdict(only, diameter_mm=Quantity(48, 0.2), **size).verdict is Verdict.CRUMBS
    assert verdict(only, diameter_mm=Quantity(46.5, 0.2), **size).verdict is Verdict.BY_EYE


# chance of more than one real dimple of three seen with 0.9, 0.5, 0.2, by hand: two or three:
# .9*.5*.8 + .9*.5*.2 + .1*.5*.2 + .9*.5*.2 = 0.55
@pytest.mark.parametrize(("most", "above"), [(3, 0.0), (2, 0.09), (1, 0.55), (0, 0.96)])
def test_marks_seen_with_doubt_are_counted_with_it(most, above):
    found = chance_outside(Count((0.9, 0.5, 0.2)), Limit("dimples", None, most))
    assert found == pytest.approx((0, above))


def test_sure_counts():
    limits = Limits(0.05, (Limit("dimples", None, 0),), (Limit("dimples", None, 3),))
    for chances, wanted in [
        ((), Verdict.TOP),
        ((0.01,), Verdict.TOP),
        ((0.99,), Verdict.BOTTOM),
        ((0.6,), Verdict.BY_EYE),
        ((0.99,) * 4, Verdict.CRUMBS),
    ]:
        assert verdict(limits, dimples=Count(chances)).verdict is wanted


def test_wrongly_passed_at_most_the_risk_even_at_the_limit():
    """The promise, for shells whose true size lies just beyond the limit: the worst case. The
    verdict is drawn anew for every measured value; 20,000 draws tell 5 % to 0.15 %."""
    random = np.random.default_rng(11)
    limits = Limits(0.05, (Limit("diameter_mm", 43.5, 46.5),))
    true = 46.5 + 1e-9
    measured = true + random.normal(0, 0.25, 20_000)
    passed = [
        judge(Measured({"diameter_mm": Quantity(float(m), 0.2, 0.15)}), limits).verdict
        is Verdict.TOP
        for m in measured
    ]
    assert np.mean(passed) == pytest.approx(0.05, abs=0.006)  # four standard errors
