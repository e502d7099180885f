"""Hints: each says where it comes from; what is piped is never laid at the oven's door."""

import pytest

from petitpied.domain.measures import STORED
from petitpied.history.trend_reading import BY_HAND
from petitpied.patterns.trends.regressors import AMOUNTS, NAMES, YES_OR_NO
from petitpied.text import cautions, hints

ALL_HINTS = (*hints.HINTS, *hints.FAULT_HINTS, *hints.TRY_OVEN.values(), hints.TRY_HAND)


@pytest.mark.parametrize("hint", ALL_HINTS, ids=lambda h: f"{h.fact} {h.measure} {h.sign}")
def test_every_hint_names_its_source_and_something_to_try(hint):
    assert hint.source
    assert ":" in hint.text or hint in hints.TRY_OVEN.values()


@pytest.mark.parametrize("caution", cautions.ALL, ids=lambda c: c.title)
def test_every_caution_names_its_source(caution):
    assert caution.source


def test_hints_speak_of_facts_and_measures_that_there_are():
    facts = {name for name, _, _ in AMOUNTS.values()} | set(NAMES.values())
    facts |= {name for name, _ in YES_OR_NO.values()}
    measures = {*STORED, "lean", *BY_HAND}
    for hint in hints.HINTS:
        assert hint.fact in facts, hint
        assert hint.measure in measures, hint


@pytest.mark.parametrize("kind", hints.TRY_OVEN)
def test_the_piped_size_never_leads_to_the_oven(kind):
    said = hints.try_for("piped_diameter", kind).text
    assert "piping sheet" in said
    assert not any(word in said for word in ("oven", "heater", "shield", "fan", "rack"))


def test_a_shield_is_never_proposed_and_oven_work_is_cold():
    told = " ".join(h.text for h in ALL_HINTS)
    assert "shield" not in told
    assert "off and cold" in hints.TRY_OVEN["spot"].text
    assert "technician" in hints.TRY_OVEN["spot"].text
    assert "15 to 20 °C more" in told
