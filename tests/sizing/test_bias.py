"""Corrections of bias: by how much, of what, and of which shells."""

from dataclasses import replace

import pytest

from petitpied.domain.measures import SIZES
from petitpied.sizing.bias import RUFFLES, corrected_for_ruffles
from tests.records import a_shell, unmeasured_shell


def test_a_shell_with_a_foot_gets_its_ruffles_share():
    shell = a_shell()
    (corrected,) = corrected_for_ruffles([shell])
    # the figures by hand, in mm (circularity: no unit), so that none changes unseen
    by_hand = {
        "feret_min_mm": 0.46,
        "feret_max_mm": 0.70,
        "roundness_mm": 0.083,
        "circularity": -0.0005,
    }
    assert by_hand == RUFFLES
    for name, more in by_hand.items():
        assert corrected.quantity(name).value == pytest.approx(shell.quantity(name).value + more)
    # 42 mm: widths of 0.99 and 1.01 times as much, before
    assert corrected.sizes.aspect_ratio.value == pytest.approx((41.58 + 0.46) / (42.42 + 0.70))


def test_uncertainties_and_all_other_sizes_stay():
    shell = a_shell()
    (corrected,) = corrected_for_ruffles([shell])
    for measure in SIZES:
        before, after = shell.quantity(measure.field), corrected.quantity(measure.field)
        if before is not None:
            assert replace(after, value=before.value) == before
        if measure.field not in (*RUFFLES, "aspect_ratio"):
            assert after == before
    assert (corrected.place, corrected.surface) == (shell.place, shell.surface)


@pytest.mark.parametrize("shell", [a_shell(foot_diameter_mm=None), unmeasured_shell()])
def test_without_a_foot_there_are_no_ruffles(shell):
    assert corrected_for_ruffles([shell]) == (shell,)


def test_what_was_not_measured_is_not_made_up():
    shell = a_shell(feret_min_mm=None, roundness_mm=None)
    (corrected,) = corrected_for_ruffles([shell])
    assert corrected.sizes.feret_min_mm is None
    assert corrected.sizes.roundness_mm is None
    assert corrected.sizes.aspect_ratio == shell.sizes.aspect_ratio
    assert corrected.sizes.feret_max_mm.value == pytest.approx(42.42 + 0.70)
