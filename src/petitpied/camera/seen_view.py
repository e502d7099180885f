"""What cards and straight edges say of one photo: the view, where the cards lie, and doubts."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from petitpied.camera.card_check import check_cards
from petitpied.camera.crops import crop_by_header
from petitpied.camera.find_card import CardSighting, find_cards
from petitpied.camera.solve_photo import solve_photo
from petitpied.camera.straight_edges import StraightEdge
from petitpied.camera.view import SolvedView, guess_camera
from petitpied.camera.view_jacobian import place_in_world
from petitpied.domain import card
from petitpied.domain.lens import CameraGuess
from petitpied.domain.photo import Photo
from petitpied.domain.record import SeenCard
from petitpied.domain.settings import Settings


@dataclass(frozen=True)
class SeenView:
    """``guess``: the lens as known beforehand; ``focal_known``: by the photo, the baker or a lens
    profile. ``warnings``: plain sentences."""

    sightings: tuple[CardSighting, ...]
    solved: SolvedView
    straight: tuple[StraightEdge, ...]
    cards: tuple[SeenCard, ...]
    guess: CameraGuess
    focal_known: bool
    warnings: tuple[str, ...]


def see_view(photo: Photo, settings: Settings) -> SeenView:
    """Find and check the cards, and solve the view.

    Raises
    ------
    CardError
        No usable card.
    LensError
        The lens profile is of another lens.
    """
    focal_mm = settings.focal_35mm_mm or photo.focal_35mm_mm
    guess = photo.lens or guess_camera(photo.width_px, photo.height_px, focal_mm)
    grey = np.asarray(cv2.cvtColor(photo.pixels_bgr, cv2.COLOR_BGR2GRAY), np.uint8)
    thickness_mm, printed = settings.card_thickness_mm, dict(settings.print_scales)
    sightings = tuple(s.printed_at(printed.get(s.letter, 1.0)) for s in find_cards(grey))
    crop = crop_by_header(photo, focal_mm)
    seen = solve_photo(grey, sightings, guess, thickness_mm, crop)
    return SeenView(
        sightings,
        seen.solved,
        seen.straight,
        _seen_cards(sightings, seen.solved, thickness_mm),
        guess,
        bool(guess.profile or focal_mm),
        (*check_cards(sightings, seen.solved, thickness_mm, seen.uneven), *seen.warnings),
    )


def _seen_cards(
    sightings: Sequence[CardSighting], solved: SolvedView, thickness_mm: float
) -> tuple[SeenCard, ...]:
    outline = card.outline_corners_mm()
    return tuple(
        SeenCard(
            s.letter,
            solved.view.project(place_in_world(outline * s.print_scale, place), thickness_mm),
            s.print_scale,
        )
        for s, place in zip(sightings, solved.card_places, strict=True)
    )
