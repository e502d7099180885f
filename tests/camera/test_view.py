"""The view from noisy corners of known geometry; straight edges as witnesses of the lens."""

import itertools

import cv2
import numpy as np
import pytest

from petitpied.camera.card_check import check_cards
from petitpied.camera.find_card import CardSighting
from petitpied.camera.straight_edges import StraightnessEvidence, find_straight_edges
from petitpied.camera.view import guess_camera, solve_view
from petitpied.domain import card
from petitpied.domain.errors import CardError
from petitpied.domain.lens import CameraGuess
from petitpied.domain.view import View
from tests.camera.card_views import SIZE_PX, overhead_view, placed

NOISE_PX = 0.15  # as measured on phone-like photos
PLACES = {"A": (0.0, 0.0, 0.0), "B": (190.0, 130.0, 0.3)}


def sight(view, letter, rng, *, stretch=1.0, lift_mm=0.0):
    mm = card.inner_corners_mm()
    at = placed(mm * [stretch, 1 / stretch], np.array(PLACES[letter]))
    bend = lift_mm * (1 - ((mm[:, 0] - card.WIDTH_MM / 2) / (card.WIDTH_MM / 2)) ** 2)
    px = view.project(at, 0.3 + bend) + rng.normal(0, NOISE_PX, (len(mm), 2))
    scale = view.px_per_mm(at.mean(axis=0))
    return CardSighting(letter, mm, px, np.full(len(mm), 0.2), len(mm), scale, 0.9)


def guess_for(view, sigma=0.01):
    focal = view.camera_matrix[0, 0]
    return CameraGuess(focal, sigma, tuple(view.camera_matrix[:2, 2]), 0.004 / 0.42**2)


def test_scale_at_the_card_and_its_uncertainty():
    view, rng = overhead_view(tilt_deg=3.0), np.random.default_rng(3)
    far = np.array([[190.0, 130.0], [200.0, 130.0]])
    errors, sigmas = [], []
    for _ in range(30):
        solved = solve_view([sight(view, "A", rng)], guess_for(view), thickness_mm=0.3)
        seen = solved.view.to_plane(view.project(far))
        errors.append(np.hypot(*(seen[1] - seen[0])) / 10 - 1)
        # tilt about both axes moves a far point's scale by its distance over the height
        sigmas.append(np.sqrt(solved.view.covariance[2:4, 2:4].trace()) * 180 / 400)
    # chi-square of 30 draws: the observed spread is within 40 % of the stated one
    assert np.std(errors) == pytest.approx(np.mean(sigmas), rel=0.6)
    assert abs(np.mean(errors)) < 3 * np.mean(sigmas) / np.sqrt(30)


def test_two_cards_pin_the_tilt():
    view, rng = overhead_view(tilt_deg=3.0), np.random.default_rng(4)
    both = [sight(view, "A", rng), sight(view, "B", rng)]
    solved = solve_view(both, guess_for(view), thickness_mm=0.3)
    # 0.15 px over 230 mm at 6 px a millimetre: hundredths of a degree; the focal length is free
    assert solved.view.tilt_deg == pytest.approx(3.0, abs=0.12)
    assert solved.card_places[1] == pytest.approx(PLACES["B"], abs=0.25)


def test_gross_corners_are_ignored():
    view, rng = overhead_view(), np.random.default_rng(5)
    good = sight(view, "A", rng)
    spoilt = good.points_px.copy()
    spoilt[[2, 9]] += [6.0, -9.0]
    bad = CardSighting("A", good.points_card_mm, spoilt, good.sigma_px, 18, good.px_per_mm, 0.9)
    clean = solve_view([good], guess_for(view), thickness_mm=0.3).view
    robust = solve_view([bad], guess_for(view), thickness_mm=0.3).view
    near = np.array([[80.0, 50.0]])
    assert np.abs(clean.project(near) - robust.project(near)).max() < 0.3


def test_guess_by_the_diagonal_of_the_35_mm_frame():
    # 36 x 24 mm: diagonal 43.27 mm (CIPA DCG-001, 35-mm-equivalent focal length by diagonal)
    guess = guess_camera(3600, 2400, 50.0)
    assert guess.focal_px == pytest.approx(50.0 * 100.0, rel=1e-3)
    assert guess_camera(3600, 2400, None).focal_sigma_rel > 0.1


def checked(view, sighting):
    solved = solve_view([sighting], guess_for(view), thickness_mm=0.3)
    return check_cards([sighting], solved, 0.3)


def test_a_flat_true_card_is_silent_a_bent_or_stretched_one_is_not():
    view, rng = overhead_view(), np.random.default_rng(6)
    assert checked(view, sight(view, "A", rng)) == []
    (bent,) = checked(view, sight(view, "A", rng, lift_mm=3.0))
    assert "seems bent" in bent
    assert "mm" in bent
    with pytest.raises(CardError, match=r"printed out of shape: .*%.*; print it anew"):
        checked(view, sight(view, "A", rng, stretch=1.01))


def test_straight_rims_show_the_lens():
    """A square frame through a lens that bends it by 1 % at the corner; k1 comes back."""
    true = overhead_view(tilt_deg=2.0)
    corner = np.hypot(*SIZE_PX) / 2 / true.camera_matrix[0, 0]
    k1 = 0.01 / corner**2
    bent = View.exact(true.camera_matrix, [k1], true.world_to_camera)
    picture = np.full(SIZE_PX[::-1], 170.0, np.float32)
    for inset, grey in ((0.0, 90.0), (12.0, 200.0)):
        t = np.linspace(0, 1, 200)
        low, high = np.array([-10.0, -5.0]) + inset, np.array([205.0, 160.0]) - inset
        corners = np.array([low, [high[0], low[1]], high, [low[0], high[1]], low])
        path = np.concatenate(
            [a + t[:, None] * (b - a) for a, b in itertools.pairwise(corners)]
        )
        polygon = np.rint(bent.project(path) * 16).astype(np.int32)
        cv2.fillPoly(picture, [polygon], grey, cv2.LINE_AA, 4)
    rng = np.random.default_rng(7)
    grey = cv2.GaussianBlur(picture, (0, 0), 0.8) + rng.normal(0, 1.5, picture.shape)
    grey = np.clip(grey, 0, 255).astype(np.uint8)
    sighting = sight(bent, "A", rng)
    first = solve_view([sighting], guess_for(true), thickness_mm=0.3)
    edges = find_straight_edges(grey, first.view)
    assert len(edges) >= 6
    solved = solve_view(
        [sighting],
        guess_for(true),
        thickness_mm=0.3,
        evidence=[StraightnessEvidence(edges)],
        start=first,
    )
    u = float(np.sqrt(solved.view.covariance[1, 1]))
    # three standard uncertainties, and better than the prior that the card alone leaves
    assert solved.view.dist[0] == pytest.approx(k1, abs=3 * u)
    assert u < 0.5 * guess_for(true).k1_sigma
