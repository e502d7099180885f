"""The oven's map in the report: from a simulated history, from one bake, from none."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from petitpied.domain.bake import BakeFacts
from petitpied.figures.drawing import Text
from petitpied.files.records.record_files import record_bytes
from petitpied.history.store import open_store
from petitpied.patterns.oven.synthetic import Plan, Planted, make_history
from petitpied.report.blocks import Chart, Paragraph
from petitpied.report.material import trays_since
from petitpied.report.oven_part import oven_sections
from tests.records import a_record, a_shell
from tests.report.reports import a_report, a_tray


def the_record(bake):
    """A record by hand with a simulated bake's sizes and places."""
    shells = []
    values = bake.shells
    for i, shell_id in enumerate(values.ids):
        size = float(values.values["diameter"][i])
        if not np.isfinite(size):
            continue
        place = (float(values.x_mm[i]), float(values.y_mm[i]))
        shell = a_shell(shell_id, int(values.rows[i]), int(values.columns[i]), size)
        shells.append(replace(shell, centre_mm=place))
    record = a_record(shells)
    return replace(record, photo=replace(record.photo, sha256=bake.facts.photo_sha256))


def a_history(tmp_path, bakes):
    plan = Plan(bakes=bakes, oven=(Planted("spot", 2.0, (120.0, -70.0)),), oven_name="Deck 1")
    store = open_store(str(tmp_path / "history.db"))
    made = make_history(plan, np.random.default_rng(4))
    for bake in made:
        store.add(record_bytes(the_record(bake)), bake.facts, logged_at=datetime.now(UTC))
    return store, made


def paragraphs(sections):
    return " ".join(b.text for s in sections for b in s.blocks if isinstance(b, Paragraph))


def test_a_planted_spot_is_told_and_drawn(tmp_path):
    """2 mm against a spread of 1 mm over 12 bakes: far above what such a history can find."""
    store, made = a_history(tmp_path, 12)
    tray = a_tray(the_record(made[0]), with_photo=False, facts=made[0].facts)
    sections = oven_sections([tray], store)
    assert [section.heading for section in sections] == ['Oven "Deck 1"']
    text = paragraphs(sections)
    assert "back right" in text
    assert "12 bakes" in text
    (chart,) = [b for b in sections[0].blocks if isinstance(b, Chart)]
    assert "back right" in chart.drawing.alt
    letters = [shape.text for shape in chart.drawing.shapes if isinstance(shape, Text)]
    assert "oven door" in letters
    assert sum(text.startswith("±") for text in letters) >= 20  # a cell's interval
    assert any("Deck 1" in section.heading for section in a_report([tray], store=store).sections)


def test_one_bake_only_suggests(tmp_path):
    store, made = a_history(tmp_path, 1)
    tray = a_tray(the_record(made[0]), with_photo=False, facts=made[0].facts)
    text = paragraphs(oven_sections([tray], store))
    assert "shows" not in text
    assert "1 bake" in text or "One bake" in text


def test_no_history_no_map(tmp_path):
    assert oven_sections([a_tray()], None) == []
    store, _ = a_history(tmp_path, 1)
    assert oven_sections([a_tray()], store) == []  # a tray that was never logged


def test_a_report_of_all_bakes_since_a_day(tmp_path):
    store, made = a_history(tmp_path, 3)
    since = made[1].facts.baked_at.date()
    trays = trays_since(since, None, store)
    assert [t.facts for t in trays] == [b.facts for b in made[1:]]
    assert all(t.photo is None and "gone from its place" in t.no_photo for t in trays)


@pytest.mark.parametrize("oven", ["Four <b>", 'Ofen "3"', "窯 🔥"])
def test_strange_names_of_ovens(tmp_path, oven):
    store = open_store(str(tmp_path / "history.db"))
    facts = BakeFacts("0" * 64, datetime(2026, 3, 8, tzinfo=UTC), oven)
    record = a_record()
    store.add(record_bytes(record), facts, logged_at=datetime(2026, 3, 8, tzinfo=UTC))
    sections = oven_sections([a_tray(record, facts=facts)], store)
    assert len(sections) == 1
