"""The budget as text: largest first, adds up, says what would shrink it."""

import re

import numpy as np
import pytest

from petitpied.domain.errors import ShellsError
from petitpied.domain.uncertainty import OWN_CAUSES, SHARED_CAUSES, quantity_of
from petitpied.files.records.record_files import record_bytes, record_from_bytes
from petitpied.text.budget_lines import budget_lines
from tests.records import a_record, a_shell, relative_record

OWN = [0.05, 0.12, 0.0, 0.03]
SHARED = [0.042, 0.009, 0.02, -0.02, 0.1, *np.linspace(0.01, 0.03, len(SHARED_CAUSES) - 5)]


def a_tray():
    sizes = (40.5, 42.0, 43.5)
    assert len(OWN) == len(OWN_CAUSES)
    return a_record(
        [
            a_shell(f"A{i + 1}", 0, i, diameter_mm=quantity_of(size, OWN, SHARED))
            for i, size in enumerate(sizes)
        ]
    )


def test_the_median_shell_largest_first():
    lines = budget_lines(a_tray(), "")
    assert "shell A2" in lines[0]
    rows = [re.search(r"([0-9.]+) +\d+  (this shell|all shells)$", line) for line in lines]
    u = [float(m.group(1)) for m in rows if m]
    assert u == sorted(u, reverse=True)
    # rows of a per cent and more of the whole: the others add less than one part in a thousand
    assert np.linalg.norm(u) == pytest.approx(np.linalg.norm([*OWN, *SHARED]), abs=2e-3)
    assert any("outline definition" in line for line in lines)


def test_a_named_shell_in_any_case():
    assert "shell A3" in budget_lines(a_tray(), "a3")[0]


def test_mean_and_difference_are_told():
    text = "\n".join(budget_lines(a_tray(), ""))
    assert "the tray's mean diameter: 42.00 mm" in text
    # all of the shared parts are alike here: sqrt(2) of the own part, times the factor of 95 %
    found = float(re.search(r"another shell of this tray: ± ([0-9.]+) mm", text).group(1))
    assert found == pytest.approx(np.sqrt(2) * np.linalg.norm(OWN) * 2.0, rel=0.05)


def test_the_budget_survives_the_file():
    record = a_tray()
    back = record_from_bytes(record_bytes(record), "record.json")
    for before, after in zip(record.shells, back.shells, strict=True):
        assert after.diameter_mm.shared == pytest.approx(before.diameter_mm.shared, abs=1e-5)
        assert after.diameter_mm.u95 == pytest.approx(before.diameter_mm.u95, abs=1e-4)


@pytest.mark.parametrize(
    ("record", "shell_id", "words"),
    [(a_tray(), "Z9", "no measured shell has this id"), (relative_record(), "", "no shell has")],
)
def test_no_budget_is_said(record, shell_id, words):
    with pytest.raises(ShellsError, match=words):
        budget_lines(record, shell_id)
