"""Patterns by what a half turn does to them: odd ones change sign, even ones do not.

An effect that stays with the oven keeps its sign in a turned bake, one that stays with the hand
changes it if it is odd. So odd parts of the two can be told apart, even parts cannot. What points
somewhere (a lean) is turned itself: there it is the other way round.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.patterns.oven.scores import Weights, column_scores
from petitpied.patterns.oven.templates import Region, Spots, named_columns, spots_in
from petitpied.patterns.oven.tray_stack import POINTING, Stack

Floats = NDArray[np.float64]

#: bakes whose spots are laid out at once: below 10 MB
CHUNK = 50


@dataclass(frozen=True)
class Mirrored:
    """Scores of templates of one kind of symmetry: T of them, ``kinds`` (T,), ``place_mm``
    (T, 2) NaN for named ones, ``score`` (N, T, K), ``info`` (N, T).

    A spot template is half a spot minus (odd) or plus (even) half its mirror image: its effect
    is the difference between the two places, or their mean against the rest.
    """

    kinds: tuple[str, ...]
    place_mm: Floats
    score: Floats
    info: Floats
    sigma_mm: float


def mirrored_scores(stack: Stack, weights: Weights, region: Region, *, separable: bool) -> Mirrored:
    """Templates that turning can tell apart (``separable``), or those that it cannot.

    ``region`` must be about the tray's middle.
    """
    pointing = stack.measure in POINTING
    odd = separable != pointing
    kinds = ["across", "front-back"] if odd else ["centre-edge"]
    raw = named_columns(stack.x_mm, stack.y_mm, region)
    columns = raw[..., :2] if odd else raw[..., 2:]
    score, infos = column_scores(stack, weights, columns)
    scores, info = [score], [np.einsum("njj->nj", infos)]
    if pointing and separable:
        ones = stack.present[..., None].astype(float)
        lean, lean_info = column_scores(stack, weights, ones, centred=False)
        scores.append(lean)
        info.append(lean_info[:, 0])
        kinds.append("lean")
    spots = spots_in(region)
    spot_score, spot_info, places = _spots(stack, weights, spots, odd=odd)
    place = np.vstack([np.full((len(kinds), 2), np.nan), places])
    return Mirrored(
        (*kinds, *["spot"] * len(places)),
        place,
        np.concatenate([*scores, spot_score], axis=1),
        np.concatenate([*info, spot_info], axis=1),
        spots.sigma_mm,
    )


def _spots(
    stack: Stack, weights: Weights, spots: Spots, *, odd: bool
) -> tuple[Floats, Floats, Floats]:
    """Scores, information and places of the half of the places that lies right of the middle
    (the grid is its own mirror image: the flat order reversed)."""
    places = spots.places_mm
    right = np.flatnonzero(np.arange(len(places)) >= len(places) / 2)
    sign = -1.0 if odd else 1.0
    scores, infos = [], []
    for start in range(0, stack.count, CHUNK):
        chosen = slice(start, start + CHUNK)
        part = stack.part(chosen)
        full = spots.columns(part.x_mm, part.y_mm, part.present)
        columns = ((full + sign * full[..., ::-1]) / 2)[..., right]
        score, info = column_scores(part, weights.part(chosen), columns)
        scores.append(score)
        infos.append(np.einsum("njj->nj", info))
    return np.concatenate(scores), np.concatenate(infos), places[right]
