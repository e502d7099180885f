"""Cracks against real surfaces: no real crack data set comes with a package, but textures do.

The photographs ``brick``, ``grass``, ``gravel`` and ``moon`` (surface with craters) that
scikit-image carries are laid into the caps of a sample as
their shading, at 6 % of the caps' brightness (root mean square): rougher than baked shells are.
Sources as scikit-image's ``skimage.data`` names them.
"""

import json
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from skimage import data

from petitpied.domain.settings import Settings
from petitpied.inspection.one_photo import inspect_photo
from petitpied.photo.decode import decode_photo

SAMPLE = Path(__file__).parents[2] / "sample_images" / "chocolate_black_mat.jpg"
ROUGH_REL = 0.06


def texture(name, width, height):
    """The photograph tiled over (height, width): mean 0, root mean square 1, without its own
    large shadows, at most 3."""
    tile = cv2.resize(getattr(data, name)().astype(np.float32), (512, 512))
    tile -= cv2.GaussianBlur(tile, (0, 0), 40)
    tile /= tile.std()
    return np.tile(tile.clip(-3, 3), (height // 512 + 1, width // 512 + 1))[:height, :width]


def on_caps(shells, shape):
    """1 on the caps, fading to 0 at their rims."""
    mask = np.zeros(shape, np.float32)
    for shell in shells:
        cv2.fillPoly(mask, [shell.cap_outline_px.astype(np.int32)], 1.0)
    return cv2.GaussianBlur(cv2.erode(mask, np.ones((15, 15))), (0, 0), 3)


@lru_cache(maxsize=1)
def smooth_tray():
    """The sample as it is, and its shells with a cap."""
    photo = decode_photo(SAMPLE.read_bytes(), SAMPLE.name)
    record = inspect_photo(photo, Settings())
    return photo, [s for s in record.shells if s.cap_outline_px is not None]


def marked(shells):
    return {s.id for s in shells if s.dimples or s.peak}


@pytest.mark.parametrize("name", ["brick", "grass", "gravel", "moon"])
def test_real_textures_are_no_cracks_and_hide_none(name):
    photo, shells = smooth_tray()
    height, width = photo.pixels_bgr.shape[:2]
    shading = 1 + ROUGH_REL * texture(name, width, height) * on_caps(shells, (height, width))
    rough = np.clip(photo.pixels_bgr * shading[..., None], 0, 255).astype(np.uint8)
    record = inspect_photo(replace(photo, pixels_bgr=rough), Settings())
    truth = json.loads(SAMPLE.with_suffix(".json").read_text(encoding="utf-8"))
    told = sum(bool(s.cracks) for s in record.shells)
    assert len(record.shells) == len(truth["shells"])
    assert told == sum(bool(s["cracks"]) for s in truth["shells"])
    before = {s.id for s in shells if s.cracks}
    assert {s.id for s in record.shells if s.cracks} == before
    if name != "moon":  # its craters are dimples
        assert marked(record.shells) == marked(shells)
