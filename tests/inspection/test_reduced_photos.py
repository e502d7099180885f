"""A photo at a fifth of a phone's pixels, as chat apps send them: what is measured stays so.

The sample scene has exact truth; the photo is reduced by areas, as a camera of fewer pixels sees.
"""

import json
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from petitpied.domain.settings import Settings
from petitpied.inspection.one_photo import inspect_photo
from petitpied.photo.decode import decode_photo

SAMPLES = Path(__file__).parents[2] / "sample_images"
NAMES = ("rose_white_parchment", "wide_close_pistachio")
REDUCED = 0.45  # 12 to 2.5 megapixels


@lru_cache(maxsize=2)
def reduced_and_truth(name):
    photo = decode_photo((SAMPLES / f"{name}.jpg").read_bytes(), name)
    small = cv2.resize(
        photo.pixels_bgr, None, fx=REDUCED, fy=REDUCED, interpolation=cv2.INTER_AREA
    )
    record = inspect_photo(replace(photo, pixels_bgr=small), Settings())
    truth = json.loads((SAMPLES / f"{name}.json").read_text(encoding="utf-8"))
    middles = np.array([np.mean(s["silhouette_px"], axis=0) for s in truth["shells"]]) * REDUCED
    pairs = []
    for shell in record.shells:
        away = np.hypot(*(middles - shell.centre_px).T)
        pairs.append((truth["shells"][int(away.argmin())], shell))
    return truth, record, pairs


@pytest.mark.parametrize("name", NAMES)
def test_every_shell_is_found_and_its_foot_seen(name):
    truth, record, pairs = reduced_and_truth(name)
    assert len(record.shells) == len(truth["shells"]) == len({t["id"] for t, _ in pairs})
    assert all(t["has_foot"] for t, _ in pairs)
    assert all(shell.foot is not None and shell.foot.state == "shows" for _, shell in pairs)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    ("size", "true"),
    [
        ("diameter_mm", "area_equiv_diameter_mm"),
        ("cap_diameter_mm", "cap_diameter_mm"),
        ("foot_diameter_mm", "foot_diameter_mm"),
    ],
)
def test_sizes_are_as_good_as_such_pixels_allow(name, size, true):
    """0.25 mm a pixel and colour at half that: a third of a pixel on the radius, 0.17 mm on the
    diameter; and of a foot seen from 400 mm as much again."""
    _, _, pairs = reduced_and_truth(name)
    error = np.array([getattr(shell, size).value - t[true] for t, shell in pairs])
    assert np.sqrt((error**2).mean()) < 0.35
