"""A slant from the pieces' own forms: discs on a plane, seen by a pinhole camera."""

import numpy as np
import pytest

from petitpied.sizing.pieces_slant import PhotoFrame, pieces_slant, tilted_view

SIZE_PX = (1600, 1200)
FOCAL_PX = 26.0 / 43.267 * 2000
KNOWN = PhotoFrame(SIZE_PX, FOCAL_PX, 0.03)
UNKNOWN = PhotoFrame(SIZE_PX, FOCAL_PX / 1.4, 0.35)


def outlines(tilt_deg, azimuth_deg=70.0, aspect=1.0, seed=3):
    """Pieces in rows, their sizes and forms scattered by a hand's 3 %."""
    rng = np.random.default_rng(seed)
    way = np.deg2rad(azimuth_deg)
    slope = np.tan(np.deg2rad(tilt_deg)) * np.array([np.cos(way), np.sin(way)])
    middle = (np.array(SIZE_PX) - 1) / 2
    view = tilted_view(slope, FOCAL_PX, middle)
    angle = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    pieces = []
    for x in (-330, -110, 110, 330):
        for y in (-220, 0, 220):
            radii = 80 * np.exp(rng.normal(0, 0.03, 2)) * [1.0, aspect]
            disc = np.column_stack([np.cos(angle), np.sin(angle)]) * radii
            pieces.append(view.project(middle + np.array([x, y]) + disc))
    return pieces


@pytest.mark.parametrize("azimuth_deg", [0.0, 70.0, 200.0])
@pytest.mark.parametrize("tilt_deg", [28.0, 40.0])
def test_a_slant_is_told_and_taken_out(tilt_deg, azimuth_deg):
    found = pieces_slant(outlines(tilt_deg, azimuth_deg), KNOWN)
    # forms scattered by 3 % of 12 pieces: flattening by 1 %, 1.5 degrees at 28
    assert found.angle_deg == pytest.approx(tilt_deg, abs=4)
    assert found.sure
    straight = [found.view.to_plane(o) for o in outlines(tilt_deg, azimuth_deg)]
    widths = np.array([np.ptp(o, axis=0) for o in straight])
    assert np.median(widths.min(axis=1) / widths.max(axis=1)) > 0.93


def test_the_focal_length_need_not_be_known():
    found = pieces_slant(outlines(35.0), UNKNOWN)
    assert found.sure
    assert found.angle_deg == pytest.approx(35, abs=6)


@pytest.mark.parametrize("tilt_deg", [0.0, 5.0, 8.0])
def test_a_level_photo_is_told_as_nothing(tilt_deg):
    assert all(pieces_slant(outlines(tilt_deg, seed=s), KNOWN) is None for s in range(6))


def test_ovals_piped_alike_are_told_and_left_as_they_are():
    found = pieces_slant(outlines(0.0, aspect=0.7), KNOWN)
    assert not found.sure
    assert found.view is None
    assert found.aspect_ratio == pytest.approx(0.7, abs=0.03)


def test_few_pieces_tell_no_slant():
    assert pieces_slant(outlines(40.0)[:4], KNOWN) is None
