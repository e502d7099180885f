"""The baker's own judgement beside the tool's, and how far the two agree."""

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from petitpied.cli.main import app
from petitpied.files.records.record_files import record_bytes
from petitpied.statistics.agreement import agreement, best_threshold, kappa_of
from petitpied.statistics.judgements import Pair
from petitpied.text.agreement_words import agreement_lines
from tests.records import a_record


def test_kappa_of_a_textbook_table():
    # 50 proposals, two readers: both yes 20, both no 15, only one 5, only the other 10: 0.40
    # (a widely taught example of Cohen's kappa; from memory, recomputed by hand below)
    kappa, u = kappa_of(np.array([[15.0, 10.0], [5.0, 20.0]]))
    by_hand = (35 / 50 - 0.5) / (1 - 0.5)  # agreement 0.7; by chance 0.5 x 0.6 + 0.5 x 0.4
    assert kappa == pytest.approx(by_hand) == pytest.approx(0.4)
    # simple large-sample error, sqrt(p (1 - p) / n) / (1 - chance) = 0.13; the exact one is near
    assert u == pytest.approx(0.13, abs=0.01)


def test_kappa_is_not_defined_where_both_always_say_the_same():
    found = agreement([False] * 5, [False] * 5)
    assert (found.neither, found.kappa) == (5, None)
    with pytest.raises(ValueError, match="at least one"):
        agreement([], [])


def test_the_best_threshold_parts_what_can_be_parted():
    values = np.array([0.0, 0.0, 3.0, 4.0, 9.0, 12.0])
    best = best_threshold(values, [False, False, False, False, True, True])
    assert best is not None
    assert 4.0 < best.value <= 9.0


def test_a_review_is_kept_beside_the_record_never_over_it(tmp_path):
    path = Path(tmp_path) / "tray.json"
    path.write_bytes(record_bytes(a_record()))
    before = path.read_bytes()
    shell = json.loads(before)["shells"][0]["id"]
    told = CliRunner().invoke(app, ["review", str(path), "--set", f"{shell}.crack=no"])
    assert told.exit_code == 0
    assert "wrote" in told.output
    assert path.read_bytes() == before
    wrong = CliRunner().invoke(app, ["review", str(path), "--set", "Z99.crack=no"])
    assert wrong.exit_code != 0
    assert path.read_bytes() == before


def test_one_cracked_shell_is_too_few_to_judge():
    pairs = [Pair(n == 0, n == 0) for n in range(31)]
    lines = "\n".join(agreement_lines({"crack": pairs}))
    assert "one cracked shell: too few to judge" in lines
    assert "almost perfect" not in lines
    assert "no crack limit is suggested" in lines


def test_agreement_suggests_a_limit_below_the_tools_own():
    """The baker calls shells cracked on whose lines the tool was not sure enough to tell."""
    sure = {"yes": (0.95, 0.9, 0.5, 0.45), "no": (0.0, 0.1, 0.2, 0.05)}
    pairs = [
        Pair(confidence >= 0.7, answer == "yes", 9.0 if confidence >= 0.7 else 0.0, confidence)
        for answer, confidences in sure.items()
        for confidence in 3 * confidences  # a limit takes ten of each
    ]
    lines = "\n".join(agreement_lines({"crack": pairs}))
    assert "18 of 24 alike" in lines
    assert "inspect --crack-confidence 0.3" in lines
    assert "kappa 1.00, 24 of 24 alike" in lines
