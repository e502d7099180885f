"""Finds that are nothing but liner: a place printed on a mat, empty.

A printed ring with nothing in it looks like a shell of the liner's colour. On a tray of shells
of another colour it is none: its colour lies within the liner's own scatter, and the other
finds' far outside; or it is that of the liner right round it, and the other finds' are not.
"""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Seed
from petitpied.vision.finder_network import FinderMaps
from petitpied.vision.liner import LinerLight, log_colour
from petitpied.vision.ray_strips import RAYS, outline_radius, ray_directions

Floats = NDArray[np.float64]

#: a find is judged by its inside, to this share of its radius
INSIDE_REL = 0.8
#: bare liner differs from the liner's smooth brightness by less than this many times the liner's
#: scatter, and by less than this share of what the tray's finds usually differ by: on the tuning
#: scenes shells had at least 0.4 of it, empty rings at most 0.12
WITHIN_SCATTER, OF_USUAL_REL = 1.5, 0.2
#: liner right round a find, relative to its radius; bare liner differs from it by less than this
#: share of what three in four of the tray's finds differ by. On 122 traced trays 3,821 shells
#: had at least 0.17 of it, 41 empty rings at most 0.13 (40 of them 0.09); fewer cells are no
#: measure
ROUND_REL, OF_OTHERS_REL, FEWEST_CELLS = (1.12, 1.45), 0.14, 30
#: of an outline's radii
ANGLES = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
#: finds to compare with
FEWEST_FINDS = 5


def without_bare_liner(
    maps: FinderMaps, seeds: Sequence[Seed], light: LinerLight, around: NDArray[np.bool_]
) -> tuple[Seed, ...]:
    """The seeds less those that show bare liner; ``around`` (rows, columns): cells between the
    shells, where the liner shows."""
    whole = [i for i, seed in enumerate(seeds) if seed.whole]
    if len(whole) < FEWEST_FINDS:
        return tuple(seeds)
    log = log_colour(maps.picture_bgr)
    scatter = _scatter(log, light, around)
    colours = np.array([np.median(inside_colours(maps, log, seeds[i]), axis=0) for i in whole])
    rows, columns = maps.shell.shape
    places = (np.array([seeds[i].centre_px for i in whole]) + 0.5) / maps.cell_px
    differs = np.abs(colours - light.at(places / [columns, rows])).max(axis=1) / scatter
    bare = (differs < WITHIN_SCATTER) & (differs < OF_USUAL_REL * np.median(differs))
    liner = np.array([_colour_beside(maps, log, seeds[i], around) for i in whole])
    beside = np.abs(colours - liner).max(axis=1)
    if np.isfinite(beside).sum() >= FEWEST_FINDS:
        bare |= beside < OF_OTHERS_REL * np.nanpercentile(beside, 75)
    return without(seeds, {i for i, empty in zip(whole, bare, strict=True) if empty})


def without(seeds: Sequence[Seed], gone: set[int]) -> tuple[Seed, ...]:
    """The seeds less those with these numbers; who touches whom is numbered anew."""
    place = {old: new for new, old in enumerate(i for i in range(len(seeds)) if i not in gone)}
    return tuple(
        replace(s, touching=tuple(place[n] for n in s.touching if n in place))
        for i, s in enumerate(seeds)
        if i not in gone
    )


def _scatter(log: NDArray[np.float32], light: LinerLight, around: NDArray[np.bool_]) -> float:
    """Robust standard deviation of the liner about its smooth brightness, mean of channels."""
    y, x = np.nonzero(around)
    if not len(y):
        return 1.0
    rows, columns = around.shape
    rest = log[y, x] - light.at(np.column_stack([x / columns, y / rows]))
    channels = np.ascontiguousarray(rest.T)
    off = np.abs(channels - np.median(channels, axis=1, keepdims=True))
    spread = 1.4826 * np.median(off, axis=1)
    return float(spread.mean()) + 0.01  # a hundredth: the step of 8 bits in bright liners


def inside_colours(maps: FinderMaps, log: NDArray[np.float32], seed: Seed) -> Floats:
    """Log colours (N, 3) of the cells well inside a find."""
    rows, columns = maps.shell.shape
    centre = (np.array(seed.centre_px) + 0.5) / maps.cell_px - 0.5
    radius = outline_radius(seed.outline_px, np.array(seed.centre_px), ANGLES) / maps.cell_px
    polygon = centre + INSIDE_REL * radius[:, None] * ray_directions()
    low = np.clip(np.floor(polygon.min(axis=0)).astype(int), 0, None)
    high = np.minimum(np.ceil(polygon.max(axis=0)).astype(int) + 1, [columns, rows])
    window = log[low[1] : high[1], low[0] : high[0]]
    mask = np.zeros(window.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.rint(polygon - low).astype(np.int32)], 1)
    return np.asarray(window[mask > 0], float)


def _colour_beside(
    maps: FinderMaps, log: NDArray[np.float32], seed: Seed, around: NDArray[np.bool_]
) -> Floats:
    """The liner's usual log colour (3,) right round a find; NaN where too little of it shows."""
    rows, columns = maps.shell.shape
    centre = (np.array(seed.centre_px) + 0.5) / maps.cell_px - 0.5
    radius = outline_radius(seed.outline_px, np.array(seed.centre_px), ANGLES) / maps.cell_px
    far = ROUND_REL[1] * float(radius.max()) + 1
    low = np.clip(np.floor(centre - far).astype(int), 0, None)
    high = np.minimum(np.ceil(centre + far).astype(int) + 1, [columns, rows])
    # every second cell each way is measure enough
    window = np.s_[low[1] : high[1] : 2, low[0] : high[0] : 2]
    y, x = np.mgrid[window]
    turn = np.arctan2(y - centre[1], x - centre[0]) % (2 * np.pi)
    reach = np.hypot(x - centre[0], y - centre[1]) / np.interp(
        turn, ANGLES, radius, period=2 * np.pi
    )
    beside = (reach > ROUND_REL[0]) & (reach < ROUND_REL[1]) & around[window]
    if beside.sum() < FEWEST_CELLS:
        return np.full(3, np.nan)
    return np.asarray(np.median(log[window][beside], axis=0), float)
