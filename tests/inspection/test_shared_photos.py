"""Against material beside the checkout, where present: real kitchen photos and traced trays."""

import json
from pathlib import Path

import numpy as np
import pytest

from petitpied.domain.settings import Settings
from petitpied.inspection.one_photo import inspect_photo
from petitpied.photo.decode import decode_photo

SHARED = Path(__file__).parents[3] / "shared"
pytestmark = pytest.mark.skipif(not SHARED.is_dir(), reason="no ../shared beside this checkout")


def inspected(path, **options):
    return inspect_photo(decode_photo(path.read_bytes(), path.name), Settings(**options))


@pytest.mark.parametrize(("name", "count"), [("nine_dough_discs", 9), ("eleven_cookies", 11)])
def test_real_pieces_on_real_parchment(name, count):
    """Real photos of an open recipe site (BSD-2-Clause), counted by eye."""
    record = inspected(SHARED / "real" / f"{name}.jpg", relative=True)
    assert len(record.shells) == count


@pytest.mark.parametrize("name", ["dev01_plain_pink", "dev08_lot_pink_after"])
def test_traced_trays(name):
    path = SHARED / "trays" / f"{name}.jpg"
    truth = json.loads(path.with_suffix(".json").read_text())
    record = inspected(path)
    assert len(record.shells) == len(truth["shells"])
    true = sorted(s["area_equiv_diameter_mm"] for s in truth["shells"])
    seen = sorted(s.diameter_mm.value for s in record.shells)
    # the figure for one card and no lens profile, with room for the pairing by rank
    assert np.sqrt(np.mean(np.subtract(true, seen) ** 2)) < 0.25
