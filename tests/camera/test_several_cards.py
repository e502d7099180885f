"""Two to four cards at unknown places: the scale over the tray, and faults that they show."""

import numpy as np
import pytest

from petitpied.camera.card_check import check_cards
from petitpied.camera.several_cards import cards_agree
from petitpied.camera.view import guess_camera, solve_view
from petitpied.domain.errors import CardError
from tests.camera.many_cards import SIZE_PX, a_view, scale_errors_rel, sight

GUESS = guess_camera(*SIZE_PX, 52.0)


def looked_at(letters, seed, **faults):
    """View solved and warnings of ``letters``; ``faults``: letter to its fault."""
    rng = np.random.default_rng(seed)
    tilt, off, bend = rng.uniform(0, 8), rng.normal(0, 0.005), rng.normal(0, 0.003)
    view = a_view(rng, tilt_deg=tilt, focal_off=off, corner_rel=bend)
    seen = [sight(view, letter, rng, **faults.get(letter, {})) for letter in letters]
    solved = solve_view(seen, GUESS, thickness_mm=0.3)
    warnings = cards_agree(seen, GUESS, solved, thickness_mm=0.3)
    return solved.view, view, warnings + check_cards(seen, solved, 0.3)


@pytest.mark.parametrize(("letters", "bound_mm"), [("AB", 0.06), ("ABC", 0.04), ("ABCD", 0.04)])
def test_scale_over_the_tray_and_no_false_alarm(letters, bound_mm):
    """RMS error on a shell of 45 mm, lens known by EXIF only; the issue wants 0.12 mm in all."""
    errors = []
    for seed in range(8):
        found, true, warnings = looked_at(letters, seed)
        errors.append(45 * scale_errors_rel(found, true))
        assert warnings == []
    assert np.sqrt(np.mean(np.square(errors))) < bound_mm


def test_corners_covered_or_in_glare_are_left_out():
    """Three of 18 corners of each card 8 px off: hardly worse, and no card is blamed."""
    for seed in range(6):
        found, true, warnings = looked_at("AB", seed, A={"gross": 3}, B={"gross": 3})
        assert warnings == []
        assert 45 * np.abs(scale_errors_rel(found, true)).max() < 0.25


@pytest.mark.parametrize("letters", ["AB", "ABC"])
def test_cards_of_different_print_scale_are_refused_with_the_size(letters):
    for seed in range(4):
        with pytest.raises(CardError) as caught:
            looked_at(letters, seed, B={"printed": 0.97})
        sentence = str(caught.value)
        assert "disagree in scale" in sentence
        measured = float(sentence.split("measures ")[1].split(" %")[0])
        assert measured == pytest.approx(97.0, abs=0.6)  # some three of its uncertainties
        assert "petitpied card --check" in sentence


def test_the_other_card_true_and_the_measured_bar_entered_they_agree():
    rng = np.random.default_rng(3)
    view = a_view(rng)
    seen = [sight(view, "A", rng), sight(view, "B", rng, printed=0.97).printed_at(0.97)]
    solved = solve_view(seen, GUESS, thickness_mm=0.3)
    assert cards_agree(seen, GUESS, solved, thickness_mm=0.3) == []
    assert 45 * np.abs(scale_errors_rel(solved.view, view)).max() < 0.15


def test_a_lifted_card_is_told_with_its_height():
    """4 mm at 650 mm are 0.62 %, known to about 0.1 %: four of its uncertainties."""
    for seed in range(6):
        (warning,) = looked_at("ABC", seed, B={"lift_mm": 4.0})[2]
        assert "card B lies about" in warning
        assert float(warning.split("about ")[1].split(" mm")[0]) == pytest.approx(4, abs=2)


def test_a_card_on_a_curled_edge_is_told_with_the_rise():
    told = []
    for seed in range(8):
        warnings = looked_at("ABC", seed, B={"edge_mm": 6.0})[2]
        told += [w for w in warnings if "does not lie in one plane" in w]
    # tilts are known to a third or half of a degree, four times that is 2 to 3 mm
    assert len(told) >= 6
    assert all(w.startswith("card B") for w in told)
    rises = [float(w.split("about ")[1].split(" mm")[0]) for w in told]
    assert np.median(rises) == pytest.approx(6, abs=1.5)
