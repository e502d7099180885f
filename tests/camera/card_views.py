"""Pictures of the reference card lying on a plain liner, seen through a known view."""

import cv2
import numpy as np

from petitpied.domain import card
from petitpied.domain.view import View, rotation_matrix
from tests.scenes.cards import PX_PER_MM, card_image

SIZE_PX = (1600, 1200)


def overhead_view(tilt_deg=2.0, height_mm=400.0, focal_px=2400.0, at_mm=(100.0, 80.0)):
    """A view from ``height_mm`` above ``at_mm`` of the first card's frame, tilted about x."""
    rotation = rotation_matrix([np.deg2rad(tilt_deg), 0, 0.02])
    centre = np.array([*at_mm, -height_mm])
    k = [[focal_px, 0, (SIZE_PX[0] - 1) / 2], [0, focal_px, (SIZE_PX[1] - 1) / 2], [0, 0, 1]]
    return View.exact(k, [0.0], np.column_stack([rotation, -rotation @ centre]))


def placed(points_mm, place):
    """Card points to the plane; ``place``: x mm, y mm, turn rad."""
    c, s = np.cos(place[2]), np.sin(place[2])
    return points_mm @ np.array([[c, s], [-s, c]]) + place[:2]


def draw_cards(view, places, thickness_mm=0.3, stretch=1.0, noise=1.5, seed=5, scale=1.0):
    """Grey picture (H, W) uint8 of cards {letter: place} on a light liner, blurred and noisy;
    ``scale``: printed size over nominal, one number or one a letter."""
    picture = np.full(SIZE_PX[::-1], 205.0)
    for letter, place in places.items():
        face = card_image(letter)
        printed = scale[letter] if isinstance(scale, dict) else scale
        corners = card.outline_corners_mm() * [stretch, 1.0] * printed
        seen = view.project(placed(corners, np.array(place, float)), thickness_mm)
        # pixel (i, j) covers [j, j + 1] / PX_PER_MM: the card's corners are half a pixel out
        # on the face, and its board starts on a whole pixel
        start = np.array(card.BOARD_TOP_LEFT_MM) * PX_PER_MM
        on_face = card.outline_corners_mm() * PX_PER_MM - 0.5 + np.round(start) - start
        h = cv2.getPerspectiveTransform(on_face.astype(np.float32), seen.astype(np.float32))
        soft = cv2.GaussianBlur(face, (0, 0), 0.35 * PX_PER_MM / view.px_per_mm((40, 25)))
        warped = cv2.warpPerspective(soft, h, SIZE_PX, flags=cv2.INTER_LINEAR)
        mask = cv2.warpPerspective(np.full_like(face, 255), h, SIZE_PX, flags=cv2.INTER_LINEAR)
        part = mask / 255.0
        picture = picture * (1 - part) + (25 + 0.82 * warped) * part
    rng = np.random.default_rng(seed)
    picture = cv2.GaussianBlur(picture, (0, 0), 0.7) + rng.normal(0, noise, picture.shape)
    return np.clip(picture, 0, 255).astype(np.uint8)
