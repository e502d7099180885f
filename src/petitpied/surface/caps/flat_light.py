"""How the light varies over the tray: by the liner's own shade, pinned to the cards' white paper.

A liner has one colour, so its picture shows the light's fall-off (and the lens's vignetting). A
smooth surface is fitted to what is seen of it between the shells; shadows, stains and printed
rings are outvoted. Where each card lies, its paper says how much light there is in truth. A liner
that mirrors the room (bare steel) shows no such smooth surface, or one that the caps beside it do
not follow, and is not believed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.camera.grey_strip import Tone
from petitpied.domain.record import SeenCard
from petitpied.domain.shell import Shell
from petitpied.domain.view import View

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]

#: long side of the small copy, px: a cell is then about 2.5 mm of a tray
SMALL_PX = 200
#: liner is looked at from this far outside the shells' outlines, relative to the radius (beyond
#: contact shadows)
NEAR_REL = 1.12
#: light falls on a liner between shadows: of each square of this side the brighter cells count,
#: those about this quantile of brightness; squares with fewer cells are left out
SQUARE_MM, LIT_QUANTILE, LEAST_CELLS = 25.0, 0.8, 8
#: fewest squares for a surface of six terms
LEAST_SQUARES = 15
#: fewest caps that can contradict a liner, or stand for it; how far they differ from one another,
#: and how far light does from the middle to the edge of a tray (logarithm, on tuning scenes)
LEAST_CAPS, CAPS_DIFFER, LIGHT_SLOPE = 8, 0.05, 0.12
#: caps that differ by more from an even slope (robust, logarithm) are of several flavours and show
#: no light: on 92 traced trays of one flavour whose liner shows none, at most 0.13
ALIKE = 0.15
#: a liner whose lit squares scatter by more than this (robust, logarithm) about the smooth surface
#: is no even ground
ROUGH = 0.10
#: a liner darker than this is not believed either: what its gloss mirrors (about 0.04, Fresnel at
#: an index of 1.5) would rival what it scatters
DARK_LINER_REL = 0.15
#: a liner whose channels differ by more than this factor shows no tint of the light: its gloss,
#: which has the lamp's own tint, would mislead; the brightest channel then stands for all
COLOURED_LINER = 1.6
#: a liner that claims more than this spread of light over the caps (logarithm) is believed only if
#: the caps follow it by at least this share; by how many of its sigmas it must fail (TUNING.md)
CLAIM, FOLLOWED_REL, FAILS_SIGMAS = 0.1, 0.5, 2.0
#: part of a find that surely is cap
CAP_REL = 0.5
#: what is left of the change of light over the caps, and of its tint, red against blue (standard
#: uncertainties, logarithm, of 53 traced tuning trays; TUNING.md), and the words for it. Unseen: a
#: window's light falls by a third from side to side (common practice, no source)
BY_LINER = (0.045, 0.02, "the liner's shade")
BY_CAPS = (0.067, 0.025, "the caps' own shade: the liner does not show it")
UNSEEN = (0.12, 0.04, "taken for even: neither liner nor caps show it")
#: logarithm of the light that a cap may send back at most, against a perfect white's: white ones
#: send back 0.9, and a dome that faces a low lamp gets a third more light than a level card (common
#: practice, no source)
LIGHTEST = 0.2
#: cards that differ this far (tray widths) tell the light's slope between them
CARDS_APART_MM = 120.0


@dataclass(frozen=True)
class FlatLight:
    """Natural logarithm of the light over the tray, blue-green-red, for what faces upward.

    ``surface`` (6, 3) over `terms` of places relative to ``middle_mm`` and ``reach_mm``; ``u`` is
    the standard uncertainty of its change over the tray, ``tint_u`` that of its tint;
    ``absolute``: it is that of a perfect white, else its level is unknown; ``source`` in words.
    """

    surface: Floats
    middle_mm: Floats
    reach_mm: float
    u: float
    tint_u: float
    absolute: bool
    source: str

    def at(self, places_mm: Floats) -> Floats:
        """Logarithm (N, 3) at plan places (N, 2), frame of the view."""
        return terms((np.asarray(places_mm, float) - self.middle_mm) / self.reach_mm) @ self.surface


def terms(places_rel: Floats) -> Floats:
    """Constant, slopes and curvatures (N, 6) at places (N, 2)."""
    x, y = places_rel.T
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)


@dataclass(frozen=True)
class CardLight:
    """Where the cards' strips lie (S, 2), plan mm, and the light on each (S, 3)."""

    places_mm: Floats
    level: Floats


def flat_light(
    pixels_bgr: Bytes,
    view: View,
    shells: Sequence[Shell],
    cards: Sequence[SeenCard],
    tone: Tone,
    on_cards: CardLight,
) -> FlatLight:
    """The light over the tray; ``shells`` are all that were found."""
    centres = view.to_plane(np.array([s.centre_px for s in shells], float))
    middle = centres.mean(axis=0)
    reach = max(60.0, float(np.abs(centres - middle).max()))
    cells, codes = _liner_cells(pixels_bgr, shells, cards)
    places, log = _lit_squares(view.to_plane(cells), codes, tone)
    surface, rough = np.zeros((6, 3)), np.inf
    if len(places) >= LEAST_SQUARES:
        surface, rough = _fitted(terms((places - middle) / reach), log)
    on_caps = _cap_light(pixels_bgr, shells, tone)
    places_rel = (centres - middle) / reach
    even = rough < ROUGH and _caps_follow(terms(places_rel) @ surface.mean(axis=1), on_caps)
    by_caps, shown, swing = _caps_slope(places_rel, on_caps)
    white = True
    if len(on_cards.level):
        there = terms((on_cards.places_mm - middle) / reach)
        liner_rel = np.exp((there @ surface - on_cards.level).mean(axis=0))
        even = bool(even and liner_rel.max() > DARK_LINER_REL)
        white = bool(liner_rel.max() < COLOURED_LINER * liner_rel.min())
        if not white:
            surface = np.repeat(surface[:, [int(liner_rel.argmax())]], 3, axis=1)
        surface = surface if even else by_caps
        surface = surface + _from_cards((on_cards.places_mm - middle) / reach, on_cards, surface)
    elif not even:
        surface = by_caps
    u, tint_u, source = BY_LINER if even else BY_CAPS if shown else UNSEEN
    if even and not white:
        tint_u = BY_CAPS[1]
    if not (even or shown):
        u = max(u, swing)
    absolute = bool(len(on_cards.level))
    if absolute and _lighter_than_white(on_caps - (terms(places_rel) @ surface).mean(axis=1)):
        nowhere = CardLight(np.zeros((0, 2)), np.zeros((0, 3)))
        return flat_light(pixels_bgr, view, shells, cards, tone, nowhere)
    return FlatLight(surface, middle, reach, u, tint_u, absolute, source)


def _lighter_than_white(caps_log: Floats) -> bool:
    """Do caps (S,) send back more light than falls on them? Then the cards' light is not theirs."""
    there = caps_log[np.isfinite(caps_log)]
    return bool(len(there) and np.median(there) > LIGHTEST)


def _caps_follow(claimed: Floats, seen: Floats) -> bool:
    """Do caps get brighter (S,) where a liner claims more light (S,), both logarithms?"""
    there = np.isfinite(seen)
    claimed, seen = claimed[there] - claimed[there].mean(), seen[there] - np.median(seen[there])
    size = float(claimed @ claimed)
    if len(seen) < LEAST_CAPS or size < CLAIM**2 * len(seen):
        return True
    share = float(claimed @ seen) / size
    rest = seen - share * claimed
    spread = 1.4826 * float(np.median(np.abs(rest - np.median(rest))))
    return bool(share + FAILS_SIGMAS * spread / size**0.5 > FOLLOWED_REL)


def _caps_slope(places_rel: Floats, seen: Floats) -> tuple[Floats, bool, float]:
    """Surface (6, 3) of light that falls off evenly, as the caps' (S,) brightness tells where the
    liner does not: browning differs less than light does. An even one where they are few or of
    several flavours; whether they show it; and by how much (standard deviation over the caps) they
    slope, which may be light or flavours."""
    surface: Floats = np.zeros((6, 3))
    there = np.isfinite(seen)
    if there.sum() < LEAST_CAPS:
        return surface, False, 0.0
    basis = np.column_stack([np.ones(there.sum()), places_rel[there]])
    log, weight = seen[there], np.ones(there.sum())
    fit: Floats = np.zeros(3)
    ridge = np.diag([0.0, 1.0, 1.0]) * (CAPS_DIFFER / LIGHT_SLOPE) ** 2
    for _ in range(8):
        weighted = basis * weight[:, None]
        fit = np.linalg.solve(weighted.T @ basis + ridge, weighted.T @ log)
        rest = log - basis @ fit
        spread = 1.4826 * float(np.median(np.abs(rest))) + 1e-3
        weight = 1 / (1 + (rest / (2 * spread)) ** 2)
    swing = float(np.std(basis @ fit))
    if spread > ALIKE:
        return surface, False, swing
    surface[1:3] = fit[1:, None]
    return surface, True, swing


def _cap_light(pixels_bgr: Bytes, shells: Sequence[Shell], tone: Tone) -> Floats:
    """Logarithm of light (S,) in the middle of each shell; NaN where it is out of the picture."""
    table = tone.table().mean(axis=1)
    height, width = pixels_bgr.shape[:2]
    out = np.full(len(shells), np.nan)
    for index, shell in enumerate(shells):
        low, high = (shell.outline_px.min(axis=0), shell.outline_px.max(axis=0))
        middle, half = (low + high) / 2, CAP_REL * (high - low) / 2
        (x0, y0), (x1, y1) = np.rint(middle - half).astype(int), np.rint(middle + half).astype(int)
        if x0 >= 0 and y0 >= 0 and x1 < width and y1 < height:
            step = max(1, (x1 - x0) // 24)
            part = pixels_bgr[y0 : y1 + 1 : step, x0 : x1 + 1 : step].reshape(-1, 3)
            out[index] = float(np.median(table[part].mean(axis=1)))
    return out


def _from_cards(places_rel: Floats, on_cards: CardLight, surface: Floats) -> Floats:
    """What the cards add to a surface (6, 3): its level, and its slope along the line between the
    outermost of them where they are far apart."""
    missing = on_cards.level - terms(places_rel) @ surface
    added = np.zeros((6, 3))
    middle = places_rel.mean(axis=0)
    apart_mm = np.ptp(on_cards.places_mm, axis=0)
    if len(missing) > 1 and float(np.hypot(*apart_mm)) > CARDS_APART_MM:
        slope = np.linalg.pinv(places_rel - middle, rcond=0.2) @ (missing - missing.mean(axis=0))
        added[1:3] = slope
    added[0] = missing.mean(axis=0) - middle @ added[1:3]
    return added


def _liner_cells(
    pixels_bgr: Bytes, shells: Sequence[Shell], cards: Sequence[SeenCard]
) -> tuple[Floats, Bytes]:
    """Liner between the shells: photo px (N, 2) and codes (N, 3)."""
    height, width = pixels_bgr.shape[:2]
    scale = SMALL_PX / max(height, width)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    step = max(1, int(0.5 / scale))  # every few pixels is enough, and quick
    small = np.asarray(cv2.resize(pixels_bgr[::step, ::step], size, interpolation=cv2.INTER_AREA))
    free: Any = np.zeros(small.shape[:2], np.uint8)

    def fill(outline_px: Floats, part: float, value: int) -> None:
        middle = outline_px.mean(axis=0)
        around = ((middle + part * (outline_px - middle)) + 0.5) * scale - 0.5
        cv2.fillPoly(free, [np.rint(16 * around).astype(np.int32)], value, cv2.LINE_8, 4)

    hull: Any = cv2.convexHull(np.concatenate([s.outline_px for s in shells]).astype(np.float32))
    fill(np.asarray(hull, float)[:, 0], 1.0, 1)  # beyond it lie the tray's rim and the table
    for shell in shells:
        fill(shell.outline_px, NEAR_REL, 0)
    for seen in cards:
        fill(seen.corners_px, 1.1, 0)
    rows, columns = np.nonzero(free)
    cells = (np.column_stack([columns, rows]) + 0.5) / scale - 0.5
    return cells, np.asarray(small[rows, columns], np.uint8)


def _lit_squares(places_mm: Floats, codes: Bytes, tone: Tone) -> tuple[Floats, Floats]:
    """Middle (Q, 2), plan mm, and lit colour (Q, 3), logarithm of light, of each square."""
    table = tone.table()
    log = np.stack([table[codes[:, c], c] for c in range(3)], axis=1)
    bright = codes.astype(np.int32) @ np.array([1, 6, 3])
    square = np.floor(places_mm / SQUARE_MM).astype(np.int64)
    number = square[:, 0] * 100_000 + square[:, 1]
    order = np.lexsort((bright, number))
    starts = np.flatnonzero(np.diff(number[order], prepend=number[order[:1]] - 1))
    middles, colours = [], []
    for part in np.split(order, starts[1:]):
        if len(part) < LEAST_CELLS:
            continue
        low, high = (int(len(part) * (LIT_QUANTILE + d)) for d in (-0.1, 0.1))
        lit = part[low : max(high, low + 3)]
        middles.append(places_mm[lit].mean(axis=0))
        colours.append(log[lit].mean(axis=0))
    return np.array(middles).reshape(-1, 2), np.array(colours).reshape(-1, 3)


def _fitted(basis: Floats, log: Floats) -> tuple[Floats, float]:
    """Smooth surface (6, 3) by reweighted least squares, and the robust spread about it."""
    weight = np.ones(len(log))
    fit: Floats = np.zeros((6, 3))
    ridge = len(log) * np.diag([1e-6, 1e-4, 1e-4, 1e-2, 1e-2, 1e-2])
    spread = np.inf
    for _ in range(6):
        weighted = basis * weight[:, None]
        fit = np.linalg.solve(weighted.T @ basis + ridge, weighted.T @ log)
        rest = (log - basis @ fit) @ np.array([0.1, 0.6, 0.3])
        rest -= np.median(rest)
        spread = 1.4826 * float(np.median(np.abs(rest))) + 1e-4
        weight = 1 / (1 + (rest / (2 * spread)) ** 2)
    return fit, spread
