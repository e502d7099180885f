"""Pictures of pairs: the second half, turned and folded over, lies as the first does."""

import cv2
import numpy as np

from petitpied.figures.tray.box_pages import Shown
from petitpied.figures.tray.pair_pages import _half, pair_pictures
from petitpied.files.records.lot_files import lot_of
from petitpied.sorting.lot_trays import LotTray
from petitpied.sorting.pairing import pair_lot
from tests.records import PX_PER_MM, a_record, a_shell


def bumpy(shell_id, column, bump_deg):
    """A shell of 40 mm that reaches 2.4 mm farther out about one direction."""
    shell = a_shell(shell_id, 0, column, 40.0)
    t = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    away = np.angle(np.exp(1j * (t - np.deg2rad(bump_deg))))
    radius = PX_PER_MM * (20.0 + 2.4 * np.exp(-((away / 0.35) ** 2)))
    away = np.column_stack([np.cos(t), np.sin(t)])
    outline = np.array(shell.place.centre_px) + radius[:, None] * away
    return a_shell(shell_id, 0, column, 40.0, outline_px=outline)


def test_halves_are_shown_as_they_will_meet():
    record = a_record([bumpy("A1", 0, 20.0), bumpy("A2", 1, 75.0)])
    tray = LotTray("one", "one", record)
    photo = np.full((1200, 1600, 3), 60, np.uint8)
    shown = Shown({"one": tray}, {"one": photo})
    pairing = pair_lot(lot_of([tray])[0])
    [pair] = pairing.pairs
    assert pair.turn_helps
    side_mm, side = 48.0, 240.0
    first = _half(pair.a, shown, side_mm, side)[..., 0] < 150
    turned = _half(pair.b, shown, side_mm, side, pair.turn_deg)[..., 0] < 150
    folded = _half(pair.b, shown, side_mm, side, 0.0)[..., 0] < 150
    area = first.sum()
    # a turn is found to 5 degrees: 2 mm at the bump's flank; two bumps apart differ by both
    assert (first ^ turned).sum() < 0.015 * area
    assert (first ^ folded).sum() > 0.03 * area
    pages = pair_pictures(pairing, shown)
    assert list(pages) == ["pairs_01.jpg"]
    assert cv2.imdecode(np.frombuffer(pages["pairs_01.jpg"], np.uint8), 1).shape[1] == 2000
    assert pair_pictures(pairing, Shown({"one": tray}, {})) == {}
