"""A photo of a printed card and an ID-1 card side by side: the print's scale."""

import cv2
import numpy as np

from petitpied.camera.find_card import find_cards
from petitpied.camera.id1_card import PAGE_THICKNESS_MM, print_scale_by_id1
from petitpied.camera.view import guess_camera, solve_view
from petitpied.domain import card
from petitpied.domain.photo import Photo
from petitpied.domain.quantity import Quantity


def print_scale_of(photo: Photo) -> Quantity:
    """Printed size of the first card in the photo over its nominal size.

    Raises
    ------
    CardError
        No printed card, or no ID-1 card beside it.
    """
    grey = np.asarray(cv2.cvtColor(photo.pixels_bgr, cv2.COLOR_BGR2GRAY), np.uint8)
    sightings = find_cards(grey)
    guess = photo.lens or guess_camera(photo.width_px, photo.height_px, photo.focal_35mm_mm)
    view = solve_view(sightings, guess, thickness_mm=PAGE_THICKNESS_MM).view
    middle = np.array([card.WIDTH_MM, card.HEIGHT_MM]) / 2
    return print_scale_by_id1(grey, view, middle)
