"""Variance components against AIAG's study, and against analysis of variance."""

import numpy as np
import pytest

from petitpied.statistics.anova import crossed
from petitpied.statistics.gauge_study import Readings, gauge_of, judged_share, verdict
from petitpied.statistics.variance_components import fit_components
from tests.statistics.published_study import AIAG


def labelled(values):
    shell, person, trial = (x.ravel() for x in np.indices(values.shape))
    photo = person * values.shape[2] + trial
    return Readings(values.ravel(), shell, person, photo)


def drawn(seed, sds, size=(24, 3, 4)):
    """Readings (shells, persons, photos) of a made-up study with known spreads."""
    rng = np.random.default_rng(seed)
    n, a, k = size
    shell, person, cell, photo, rest = sds
    return (
        42
        + shell * rng.normal(size=(n, 1, 1))
        + person * rng.normal(size=(1, a, 1))
        + cell * rng.normal(size=(n, a, 1))
        + photo * rng.normal(size=(1, a, k))
        + rest * rng.normal(size=(n, a, k))
    )


def test_aiag_with_the_negative_interaction_held_at_zero():
    r = labelled(AIAG)
    cell = r.shell * 3 + r.person
    found = fit_components(
        r.values, [("shell", r.shell), ("person", r.person), ("interaction", cell)]
    )
    # printed by McNeese after pooling the interaction: 0.0400, 0.0515, 1.086
    assert found.of("rest") == pytest.approx(0.0400, abs=5e-5)
    assert found.of("person") == pytest.approx(0.0515, abs=5e-5)
    assert found.of("shell") == pytest.approx(1.086, abs=5e-4)
    assert found.of("interaction") == pytest.approx(0, abs=1e-6)
    # 0.0914 printed, 0.09143 recomputed
    assert found.of("person", "interaction", "rest") == pytest.approx(0.0914, abs=5e-5)


def test_aiag_has_four_categories_by_analysis_of_variance():
    assert gauge_of(labelled(AIAG)).categories == 4


def test_balanced_data_give_the_anova_estimates():
    """Expected mean squares, solved by hand (Searle, Casella & McCulloch 1992, chapter 4)."""
    values = drawn(3, (0.8, 0.3, 0.15, 0.2, 0.1), (14, 3, 3))
    n, a, k = values.shape
    ms = {s.source: s.mean_square for s in crossed(values)}
    expected = {
        "rest": ms["rest"],
        "photo": (ms["photo"] - ms["rest"]) / n,
        "interaction": (ms["interaction"] - ms["rest"]) / k,
        "shell": (ms["shell"] - ms["interaction"]) / (a * k),
        "person": (ms["person"] - ms["interaction"] - ms["photo"] + ms["rest"]) / (n * k),
    }
    assert min(expected.values()) > 0
    found = gauge_of(labelled(values)).components
    for term, variance in expected.items():
        assert found.of(term) == pytest.approx(variance, rel=2e-3)  # the optimiser's stop


def test_missing_readings_are_no_trouble():
    readings = labelled(drawn(5, (0.8, 0.3, 0.1, 0.15, 0.1), (24, 3, 3)))
    kept = np.random.default_rng(2).random(len(readings.values)) < 0.8
    fewer = Readings(
        *(x[kept] for x in (readings.values, readings.shell, readings.person, readings.photo))
    )
    all_of, part_of = gauge_of(readings), gauge_of(fewer)
    # a fifth fewer of 216 readings: spreads known to 1 / sqrt(2 * 110) = 7 %; the common part
    # of both cancels, a half of it is left; twice that
    assert part_of.within_photo.sd == pytest.approx(all_of.within_photo.sd, rel=0.08)


def test_intervals_hold_the_truth():
    truth, inside = np.hypot(0.15, 0.1), 0
    for seed in range(40):
        found = gauge_of(labelled(drawn(seed, (0.8, 0.0, 0.0, 0.15, 0.1), (12, 1, 5))))
        inside += found.repeatability.low <= truth <= found.repeatability.high
    # 95 % of 40 are 38; fewer than 33 have a chance of 1 in 500 (binomial)
    assert inside >= 33


def test_one_person_shows_no_reproducibility_and_one_photo_each_no_interaction():
    alone = gauge_of(labelled(drawn(1, (0.8, 0, 0, 0.1, 0.1), (20, 1, 4))))
    assert alone.reproducibility is None
    once = gauge_of(labelled(drawn(1, (0.8, 0.2, 0, 0.1, 0.1), (20, 4, 1))))
    assert once.components.terms == ("shell", "person", "rest")


def test_words_follow_the_spread():
    fine = gauge_of(labelled(drawn(1, (0.8, 0.02, 0.02, 0.02, 0.1))))
    coarse = gauge_of(labelled(drawn(1, (0.8, 0.02, 0.02, 0.9, 0.1))))
    assert "yes" in verdict(fine)[0]
    assert "yes" in verdict(fine)[1]
    assert "yes" in verdict(coarse)[0]  # a photo's own shift spoils no comparison within it
    assert "not safely" in verdict(coarse)[1]
    # AIAG: 10 % and 30 % of the limits
    assert [judged_share(s) for s in (0.1, 0.3, 0.31)] == [
        "good", "of use for some purposes", "too much",
    ]  # fmt: skip


def test_values_that_do_not_differ_are_refused():
    with pytest.raises(ValueError, match="differ"):
        gauge_of(labelled(np.full((3, 1, 2), 42.0)))
