"""A profile as OpenCV's YAML: other software reads it; cut short or edited it is refused."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from petitpied.camera.lens.profile_text import profile_from_text, profile_text
from petitpied.domain.errors import LensError
from petitpied.domain.lens import LensProfile


def a_profile(**changes):
    root = np.diag([1e-3, 2e-3, 4e-3, 1.5, 1.2, 1e-4, 1e-4, 0.0])
    root[0, 1] = 5e-4
    values = {
        "camera": 'Brume "Phone": 1',
        "focal_mm": 5.6,
        "focal_35mm_mm": 26.0,
        "width_px": 4032,
        "height_px": 3024,
        "focal_px": 3027.25,
        "centre_px": (2021.5, 1507.75),
        "dist": (0.061, -0.048, 1e-4, -2e-4, 0.0),
        "covariance": root @ root.T,
        "rms_px": 0.31,
        "coverage_rel": 0.94,
        "photos": 12,
        "distance_mm": 340.0,
    }
    return LensProfile(**(values | changes))


def same(one, two):
    assert replace(one, covariance=None) == replace(two, covariance=None)
    assert (one.covariance == two.covariance).all()


def test_there_and_back():
    for profile in (a_profile(), a_profile(camera=None, focal_mm=None, focal_35mm_mm=None)):
        same(profile_from_text(profile_text(profile).encode(), "p.yml"), profile)


def test_line_ends_of_another_system_are_no_edit():
    text = profile_text(a_profile()).replace("\n", "\r\n")
    same(profile_from_text(text.encode(), "p.yml"), a_profile())


def test_opencv_reads_it(tmp_path):
    path = tmp_path / "lens.yml"
    path.write_text(profile_text(a_profile()))
    store = cv2.FileStorage(str(path), cv2.FILE_STORAGE_READ)
    assert store.getNode("camera_matrix").mat()[0, 0] == 3027.25
    assert store.getNode("distortion_coefficients").mat().ravel()[:2] == pytest.approx(
        [0.061, -0.048]
    )
    assert store.getNode("image_width").real() == 4032
    assert store.getNode("standard_uncertainties").mat()[4, 0] == pytest.approx(1.2)


@pytest.mark.parametrize("keep", [0, 10, 60, 300, 900, -1, -3, -40])
def test_cut_short(keep):
    data = profile_text(a_profile()).encode()[:keep]
    with pytest.raises(LensError, match=r"cut short|no lens profile") as caught:
        profile_from_text(data, "lens.yml")
    assert "make it anew" in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new"), [("3027.25", "3127.25"), ("4032", "4033"), ("Phone", "phone"), ("\n", "\n\n")]
)
def test_edited_by_hand(old, new):
    text = profile_text(a_profile())
    with pytest.raises(LensError, match="edited or damaged after it was written"):
        profile_from_text(text.replace(old, new, 1).encode(), "lens.yml")


@pytest.mark.parametrize("data", [b"", b"\xff\xfe\x00", b"a: 1\n", b"x" * 200_000, b"%YAML 1.2\n"])
def test_other_files(data):
    with pytest.raises(LensError, match=r"lens\.yml cannot be used as a lens profile"):
        profile_from_text(data, "lens.yml")


def test_numbers_that_are_no_lens_though_sealed():
    text = profile_text(a_profile(focal_px=float("nan")))
    with pytest.raises(LensError, match="its numbers are no lens"):
        profile_from_text(text.encode(), "lens.yml")
