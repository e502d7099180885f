"""The short table: means and spreads by hand, odd ones by an outside formula."""

import math
import statistics

import numpy as np
import pytest

from petitpied.domain.quantity import Quantity
from petitpied.statistics.tray_summary import summarise
from petitpied.text.summary_words import headline, odd_reasons, summary_lines
from petitpied.text.wording import decimals, printable, rounded, with_u95
from tests.records import a_record, a_shell, relative_record, unmeasured_shell


def record_of(diameters, **changes):
    return a_record([a_shell(f"A{i + 1}", size_mm=d) for i, d in enumerate(diameters)], **changes)


def test_mean_and_spread_with_their_uncertainty():
    sizes = [41.0, 42.0, 43.5]
    summary = summarise(record_of(sizes))
    assert summary.diameter_mm.value == pytest.approx(statistics.mean(sizes))
    # own parts fall with the root of the number, the shared part stays
    assert summary.diameter_mm.u == pytest.approx(math.hypot(0.08 / math.sqrt(3), 0.1))
    assert summary.spread_mm.value == pytest.approx(statistics.stdev(sizes))
    assert summary.spread_mm.u == pytest.approx(statistics.stdev(sizes) / 2)  # sqrt(2 (3 - 1))


def test_odd_ones_by_the_modified_z_score():
    """Ten values, one far off; Iglewicz & Hoaglin's score 0.6745 (x - median) / MAD as in the
    NIST/SEMATECH e-Handbook, here with no uncertainty of the shell's own."""
    sizes = [42.0, 42.1, 41.9, 42.2, 41.8, 42.05, 41.95, 42.15, 43.2, 41.2]
    shells = [a_shell(f"A{i + 1}", diameter_mm=Quantity(d, 0.0, 0.1)) for i, d in enumerate(sizes)]
    odd = {o.id: o for o in summarise(a_record(shells)).odd}
    mad = np.median(np.abs(sizes - np.median(sizes)))
    scores = 0.6745 * (np.array(sizes) - np.median(sizes)) / mad
    assert set(odd) == {f"A{i + 1}" for i in np.flatnonzero(np.abs(scores) > 3.5)} == {"A9", "A10"}
    assert odd["A9"].words == ("large",)
    assert odd["A10"].words == ("small",)
    assert f"z {scores[8]:+.1f}" in odd_reasons(odd["A9"])[0]


def test_own_uncertainty_keeps_a_doubtful_shell_from_being_odd():
    sizes = [42.0, 42.1, 41.9, 42.2, 41.8, 43.2]
    unsure = [a_shell(f"A{i}", diameter_mm=Quantity(d, 0.5)) for i, d in enumerate(sizes)]
    assert summarise(a_record(unsure)).odd == ()
    sure = [a_shell(f"A{i}", diameter_mm=Quantity(d, 0.01)) for i, d in enumerate(sizes)]
    assert [o.id for o in summarise(a_record(sure)).odd] == ["A5"]


def test_shape_is_odd_on_its_bad_side_only():
    shells = [a_shell(f"A{i}", roundness_mm=Quantity(0.5 + 0.02 * i, 0.01)) for i in range(8)]
    shells.append(a_shell("B1", roundness_mm=Quantity(3.0, 0.1), lean_mm=Quantity(4.0, 0.1)))
    shells.append(a_shell("B2", roundness_mm=Quantity(0.0, 0.01)))
    odd = {o.id: o.words for o in summarise(a_record(shells)).odd}
    assert odd == {"B1": ("not round", "leaning")}


def test_equal_shells_and_few_shells_have_no_odd_one():
    assert summarise(record_of([42.0] * 9)).odd == ()
    assert summarise(record_of([42.0, 42.0, 42.0, 60.0])).odd == ()


def test_nothing_measured_and_nothing_found():
    empty = summarise(a_record([]))
    assert (empty.found, empty.diameter_mm, empty.spread_mm) == (0, None, None)
    assert headline(empty) == "0 shells"
    record = a_record([unmeasured_shell("A1"), a_shell("A2")])
    assert headline(summarise(record)).startswith("2 shells, 1 measured, mean diameter 42.0")
    assert any("A1" in x and "cut by the edge" in x
               for x in summary_lines(record, summarise(record)))  # fmt: skip


def test_relative_mode_speaks_of_no_millimetres():
    record = relative_record()
    text = "\n".join(summary_lines(record, summarise(record)))
    assert "mm" not in text
    assert "% of the median diameter" in text


def test_lines_carry_no_escape_codes():
    record = record_of([42.0] * 6, warnings=("card \x1b[2J bent\r",))
    assert all(line.isprintable() for line in summary_lines(record, summarise(record)))


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (44.8312, 0.1224, "44.83 mm ± 0.24 mm"),
        (44.8312, 0.0123, "44.831 mm ± 0.024 mm"),
        (44.8312, 1.224, "44.8 mm ± 2.4 mm"),
        (44.8312, 12.24, "45 mm ± 24 mm"),
        (-0.004, 0.05, "-0.004 mm ± 0.098 mm"),
    ],
)
def test_numbers_follow_their_uncertainty(value, u, text):
    assert with_u95(Quantity(value, u), "mm") == text


def test_short_forms():
    assert rounded(Quantity(44.83, 0.12)) == "44.8"
    assert decimals(0.0) == 4
    assert printable("a\x1b\u202eb\n") == "a??b?"
