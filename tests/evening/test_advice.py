"""The one thing to change: the photo first, then size, then what the oven shows, then a fault."""

from dataclasses import replace

from petitpied.domain.quantity import Quantity
from petitpied.evening.advice import OvenSign, next_step
from petitpied.evening.answer import Fault, TrayAnswer
from petitpied.sorting.lot import Verdict
from petitpied.sorting.verdicts import Reason
from petitpied.text.evening.advice_words import advice_words

OVEN = OvenSign("Deck", 12, "diameter", "spot", "shells at the back are larger", 0.004, True, True)


def tray(faults=(), mean=45.0, height=720.0, found=30):
    """``faults``: verdict, limit's name, side, kind and how many."""
    told = []
    for verdict, name, side, kind, number in faults:
        reason = Reason(kind, name, side=side)
        told += [Fault(f"A{len(told) + i}", verdict, reason) for i in range(number)]
    counts = {v: sum(f.verdict is v for f in told) for v in Verdict}
    counts[Verdict.TOP] = found - len(told)
    return TrayAnswer("rose", "rose", counts, tuple(told), Quantity(mean, 0.1), 2.0, (), height)


CRACKED = (Verdict.CRUMBS, "crack_length_mm", "above", "beyond", 4)
SMALL = (Verdict.CRUMBS, "diameter_mm", "below", "beyond", 6)
LARGE = (Verdict.CRUMBS, "diameter_mm", "above", "beyond", 6)
DOUBTED = (Verdict.BY_EYE, "diameter_mm", "below", "near", 10)


def test_a_clean_tray_changes_nothing():
    assert next_step([tray()], 45.0, None).kind == "nothing"
    words = advice_words(next_step([tray()], 45.0, OvenSign("Deck", 2)))
    assert words == "bake the same again; 4 more bakes can show the oven's pattern."


def test_a_photo_from_too_near_comes_first():
    found = next_step([tray([DOUBTED, CRACKED], height=400.0)], 45.0, OVEN)
    assert (found.kind, found.sure, found.shells) == ("photo", "measured", 10)
    assert "stand back" in advice_words(found)
    assert next_step([tray([DOUBTED, CRACKED])], 45.0, None).kind == "fault"


def test_size_is_told_with_how_much():
    found = next_step([tray([SMALL, CRACKED], mean=43.0)], 45.0, OVEN)
    assert (found.kind, found.side, found.off_mm) == ("size", "below", -2.0)
    assert advice_words(found).startswith("pipe rose 2.0 mm larger; it came out 43.0 mm")
    # a mean that is off by less than its own doubt, or than a hand can do, is not
    near = replace(tray([SMALL], mean=44.6), mean_mm=Quantity(44.6, 0.05))
    assert next_step([near], 45.0, None).kind == "spread"
    assert next_step([tray([SMALL, LARGE])], 45.0, None).kind == "spread"


def test_what_the_oven_shows_comes_before_common_practice():
    assert next_step([tray([CRACKED])], 45.0, OVEN).kind == "oven"
    assert next_step([tray([CRACKED])], 45.0, replace(OVEN, shown=False)).kind == "fault"
    straight = next_step([tray()], 45.0, replace(OVEN, turned=False))
    assert "turned by half" in advice_words(straight)
    assert "4 of 1,000" in advice_words(straight)


def test_a_fault_needs_enough_shells():
    assert next_step([tray([(*CRACKED[:4], 2)])], 45.0, None).kind == "nothing"
    found = next_step([tray([CRACKED])], 45.0, None)
    assert (found.kind, found.name, found.shells, found.of) == ("fault", "crack_length_mm", 4, 30)
    assert "not sure" in advice_words(found)
