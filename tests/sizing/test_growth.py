"""Growth: the same rounds found again wherever the card lay; sizes and doubts by hand."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from petitpied.domain.errors import ShellsError
from petitpied.domain.quantity import Quantity
from petitpied.domain.record import SeenCard
from petitpied.domain.settings import Settings
from petitpied.domain.uncertainty import OWN_CAUSES, SHARED_CAUSES, quantity_of
from petitpied.inspection.one_photo import inspect_photo
from petitpied.photo.decode import decode_photo
from petitpied.sizing.growth import growth_of, with_growth
from petitpied.text.growth_words import growth_lines
from tests.records import a_record, a_shell, relative_record, unmeasured_shell

TRAYS = Path(__file__).parents[3] / "shared" / "trays"
ROWS, COLUMNS, PITCH_MM = 4, 6, 55.0


def piped_tray(seed, growth_mm=0.0, move=lambda p: p, foot=None, skip=()):
    """A record of rounds piped by a hand that scatters by 1.5 mm, baked or not."""
    random = np.random.default_rng(seed)
    shells = []
    for k in range(ROWS * COLUMNS):
        row, column = divmod(k, COLUMNS)
        place = PITCH_MM * np.array([column, row]) + random.normal(0, 1.5, 2)
        size = 40 + 0.1 * k
        x, y = move(place)
        if k not in skip:
            shells.append(
                a_shell(
                    f"{'ABCD'[row]}{column + 1}", row, column, size + growth_mm,
                    centre_mm=(float(x), float(y)), foot_spread_mm=foot,
                )
            )  # fmt: skip
    return a_record(shells)


def turned_and_shifted(place):
    a = math.radians(181.0)
    turn = np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])
    return turn @ place + (31.0, -12.0)


@pytest.mark.parametrize("move", [lambda p: p, lambda p: p + np.array([8, -5]), turned_and_shifted])
def test_each_shell_meets_its_own_round(move):
    after = piped_tray(71, growth_mm=2.4, foot=Quantity(1.5, 0.1))
    before = piped_tray(71, move=move, skip=(3,))
    grown = with_growth(after, before)
    for shell, own in zip(grown.shells, after.shells, strict=True):
        if shell.id == "A4":
            assert shell.growth is None
            assert dict(shell.missing)["growth"] == (
                "this shell was not found in the photo before baking"
            )
        else:
            assert shell.growth.value == pytest.approx(2.4, abs=1e-9)
            assert shell.piped_diameter_mm.value == pytest.approx(own.diameter_mm.value - 2.4)
            # two photos, each 0.08 own and 0.1 shared
            assert shell.growth.u == pytest.approx(math.sqrt(2) * math.hypot(0.08, 0.1))
    assert grown.warnings == after.warnings
    assert "grown by 2.40 mm" in growth_lines(grown)[0]
    assert growth_lines(after) == ()


def test_another_tray_is_refused():
    after = piped_tray(72)
    with pytest.raises(ShellsError, match="do not lie where"):
        with_growth(after, piped_tray(73))
    with pytest.raises(ShellsError, match="without a card"):
        with_growth(after, relative_record())
    with pytest.raises(ShellsError, match="do not lie where"):
        with_growth(after, a_record([unmeasured_shell()]))


def test_photos_changed_over_are_noticed():
    baked = piped_tray(74, growth_mm=2.4, foot=Quantity(1.5, 0.1))
    warnings = with_growth(piped_tray(74), baked).warnings
    assert any("24 of 24 rounds in tray.jpg have a foot" in w for w in warnings)
    assert any("shrank by 2.4 mm" in w for w in warnings)


def test_one_cards_print_cancels_and_the_rest_does_not():
    own = [0.1] * len(OWN_CAUSES)
    shared = [0.0] * len(SHARED_CAUSES)
    shared[SHARED_CAUSES.index("card print")] = 0.2
    view = len(SHARED_CAUSES) - 1
    shared[view] = -0.05
    baked, piped = quantity_of(43.0, own, shared), quantity_of(41.0, own, shared)
    root = math.sqrt(2)
    same = growth_of(baked, piped, same_card=True)
    assert (same.value, same.u_own) == (2.0, pytest.approx(root * 0.1 * math.sqrt(len(own))))
    assert same.u_shared == pytest.approx(root * 0.05)
    assert same.shared[view] < 0  # as the baked shell's
    other = growth_of(baked, piped, same_card=False)
    assert other.u_shared == pytest.approx(root * math.hypot(0.2, 0.05))


def test_another_letter_is_another_card():
    after, before = piped_tray(75, 2.0), piped_tray(75)
    corner = before.cards[0].corners_px
    grown = with_growth(after, replace(before, cards=(SeenCard("B", corner),)))
    assert grown.shells[0].growth.value == pytest.approx(2.0)


@pytest.mark.slow
@pytest.mark.skipif(not TRAYS.is_dir(), reason="needs the shared trays")
def test_a_traced_tray_before_and_after():
    names = {when: f"dev08_lot_pink_{when}" for when in ("before", "after")}
    records, truth = {}, {}
    for when, name in names.items():
        photo = decode_photo((TRAYS / f"{name}.jpg").read_bytes(), f"{name}.jpg")
        records[when] = inspect_photo(photo, Settings())
        shells = json.loads((TRAYS / f"{name}.json").read_text())["shells"]
        truth[when] = {s["id"]: s["area_equiv_diameter_mm"] for s in shells}
        places = {s["id"]: s["centre_mm"] for s in shells}
    grown = [s for s in with_growth(records["after"], records["before"]).shells if s.growth]
    assert len(grown) == len(places) == 33
    # the truth's origin lies at the tray's corner: matched by rank along x and y of the middle
    ids, at = list(places), np.array(list(places.values()))
    at = at - at.mean(axis=0)
    mine = np.array([s.centre_mm for s in grown])
    mine = mine - mine.mean(axis=0)
    nearest = np.hypot(*np.moveaxis(mine[:, None] - at[None], 2, 0)).argmin(axis=1)
    errors, held = [], []
    for shell, k in zip(grown, nearest, strict=True):
        true = truth["after"][ids[k]] - truth["before"][ids[k]]
        errors.append(shell.growth.value - true)
        held.append(abs(errors[-1]) <= shell.growth.u95)
    # two diameters, each wanted to 0.20 mm
    assert np.sqrt(np.mean(np.square(errors))) <= 0.28
    assert np.mean(held) >= 0.85
