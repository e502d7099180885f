"""The reference card as printed, drawn into the plan."""

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain import card as definition
from tests.scenes.description import Card, Floats
from tests.scenes.noise import linear
from tests.scenes.plan import Plan

PX_PER_MM = 14
#: ink is no perfect black, paper no perfect white: diffuse reflectances of laser print
INK, PAPER = 0.045, 0.86


@lru_cache(maxsize=8)
def card_image(letter: str) -> NDArray[np.uint8]:
    """The card's face, sRGB grey, PX_PER_MM; pixel (i, j) covers [j, j + 1] / PX_PER_MM mm."""
    width, height = (round(v * PX_PER_MM) for v in (definition.WIDTH_MM, definition.HEIGHT_MM))
    face = np.full((height, width), 255, np.uint8)
    columns, rows = definition.SQUARES
    first = definition.LETTERS.index(letter) * definition.MARKERS_PER_CARD
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, definition.DICTIONARY_NAME))
    board = cv2.aruco.CharucoBoard(
        (columns, rows),
        definition.SQUARE_MM,
        definition.MARKER_MM,
        dictionary,
        np.arange(first, first + definition.MARKERS_PER_CARD),
    )
    size = (
        round(columns * definition.SQUARE_MM * PX_PER_MM),
        round(rows * definition.SQUARE_MM * PX_PER_MM),
    )
    x, y = (round(v * PX_PER_MM) for v in definition.BOARD_TOP_LEFT_MM)
    face[y : y + size[1], x : x + size[0]] = board.generateImage(size, marginSize=0, borderBits=1)
    x, y = (round(v * PX_PER_MM) for v in definition.STRIP_TOP_LEFT_MM)
    for i, grey in enumerate(definition.PATCHES_SRGB):
        left = x + round(i * definition.PATCH_MM[0] * PX_PER_MM)
        right = x + round((i + 1) * definition.PATCH_MM[0] * PX_PER_MM)
        face[y : y + round(definition.PATCH_MM[1] * PX_PER_MM), left:right] = grey
    return face


def rounded(width_px: int, height_px: int, radius_px: float) -> NDArray[np.uint8]:
    """Mask (H, W), 0 or 255, of a rectangle with round corners."""
    x = np.abs(np.arange(width_px) + 0.5 - width_px / 2) - (width_px / 2 - radius_px)
    y = np.abs(np.arange(height_px) + 0.5 - height_px / 2) - (height_px / 2 - radius_px)
    d = np.hypot(np.maximum(x, 0)[None], np.maximum(y, 0)[:, None])
    return (np.clip(radius_px + 0.5 - d, 0, 1) * 255).astype(np.uint8)


def to_scene(card: Card, points_mm: Floats) -> Floats:
    """Points (N, 2) of the card's frame to the scene (N, 3)."""
    a = np.deg2rad(card.turn_deg)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    xy = np.asarray(points_mm, float) * card.scale @ turn.T + np.asarray(card.origin_mm)
    return np.column_stack([xy, np.full(len(xy), card.height_mm)])


def draw_card(plan: Plan, card: Card) -> None:
    """Lay the card on the plan's ground, averaging over each raster cell."""
    face = card_image(card.letter).astype(np.float32) / 255
    mask = rounded(face.shape[1], face.shape[0], definition.CORNER_RADIUS_MM * PX_PER_MM)
    alpha = mask.astype(np.float32) / 255
    step = plan.mm_per_px * PX_PER_MM / card.scale  # card pixels in a raster cell
    if step > 1.2:
        sigma = 0.29 * step  # a box of one cell has sigma step / sqrt(12)
        face, alpha = (cv2.GaussianBlur(m, (0, 0), sigma) for m in (face, alpha))
    a = np.deg2rad(card.turn_deg)
    k = PX_PER_MM / card.scale
    mm = plan.mm_per_px
    off = np.asarray(plan.origin_mm) - np.asarray(card.origin_mm)
    m = k * np.array(
        [
            [mm * np.cos(a), mm * np.sin(a), off[0] * np.cos(a) + off[1] * np.sin(a)],
            [-mm * np.sin(a), mm * np.cos(a), -off[0] * np.sin(a) + off[1] * np.cos(a)],
        ]
    )
    m[:, 2] -= 0.5  # pixel centres of the face
    size = (plan.width_px, plan.height_px)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    grey = cv2.warpAffine(face, m, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    cover = cv2.warpAffine(alpha, m, size, flags=flags, borderMode=cv2.BORDER_CONSTANT)
    box = cv2.boundingRect((cover > 0).astype(np.uint8))
    rows, cols = slice(box[1], box[1] + box[3]), slice(box[0], box[0] + box[2])
    if box[2] == 0:
        return
    cover, grey = cover[rows, cols], grey[rows, cols]
    tone = INK + (PAPER - INK) * linear(np.clip(grey, 0, 1) * 255.0)
    view = plan.ground[rows, cols]
    view += cover[..., None] * ((tone * card.brightness)[..., None] - view)
    lay = plan.base[rows, cols]
    lay += cover * (np.maximum(np.float32(card.height_mm), 0) - lay)
    plan.bump[rows, cols] *= 1 - cover
    plan.gloss[rows, cols] += cover * (0.02 - plan.gloss[rows, cols])
    plan.rough[rows, cols] += cover * (0.3 - plan.rough[rows, cols])
