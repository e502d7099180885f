"""Finds that are nothing but liner: a place printed on a mat, empty.

A printed ring with nothing in it looks like a shell of the liner's colour. On a tray of shells
of another colour it is none: its colour lies within the liner's own scatter, and the other
finds' far outside; or it is that of the liner right round it, and the other finds' are not. And it
is even: a shell of the liner's colour is still a dome, with a lit and a shaded side.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Seed
from petitpied.finding.finder_network import FinderMaps
from petitpied.finding.liner import LinerLight, log_colour
from petitpied.finding.ray_strips import RAYS, outline_radius, ray_directions
from petitpied.numerics.medians import medians

Floats = NDArray[np.float64]

#: a find is judged by its inside, to this share of its radius
INSIDE_REL = 0.8
#: bare liner differs from the liner's smooth brightness by less than this many times the liner's
#: scatter, and by less than this share of what the tray's finds usually differ by: on the tuning
#: scenes shells had at least 0.4 of it, empty rings at most 0.12
WITHIN_SCATTER, OF_USUAL_REL = 1.5, 0.2
#: liner right round a find, relative to its radius; bare liner differs from it by less than this
#: share of what three in four of the tray's finds differ by; fewer cells are no measure (TUNING.md)
ROUND_REL, OF_OTHERS_REL, FEWEST_CELLS = (1.12, 1.45), 0.14, 30
#: a shell's brightness runs from side to side; what is bare runs less than this share of what the
#: tray's finds usually do, or in flat light less than this (logarithm); between these shares of the
#: cells (TUNING.md)
EVEN_REL, EVEN, MIDDLE_SHARES = 0.25, 0.05, (0.1, 0.9)
#: of an outline's radii
ANGLES = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
_CLOSED = np.append(ANGLES, 2 * np.pi)
#: finds to compare with
FEWEST_FINDS = 5


@dataclass(frozen=True)
class Finds:
    """Whole finds of a photo as the maps show them: their numbers among the seeds (F,), middles
    (F, 2) and outlines' radii (F, RAYS) at `ANGLES`, cells; values of the reduced picture well
    inside each, sorted, (3, N), uint8, and their middle log colours (F, 3)."""

    number: tuple[int, ...]
    centre: Floats
    radius: Floats
    inside: tuple[NDArray[np.uint8], ...]
    colour: Floats

    def without(self, gone: set[int]) -> "Finds":
        """The same less those of the seeds ``gone``, numbered as before."""
        left = [k for k, number in enumerate(self.number) if number not in gone]
        return Finds(
            tuple(self.number[k] for k in left),
            self.centre[left],
            self.radius[left],
            tuple(self.inside[k] for k in left),
            self.colour[left],
        )


def look_at(maps: FinderMaps, seeds: Sequence[Seed]) -> Finds:
    """The whole ones among the seeds; at least one."""
    whole = tuple(i for i, seed in enumerate(seeds) if seed.whole)
    middle = np.array([seeds[i].centre_px for i in whole], float)
    radius = np.array(
        [outline_radius(seeds[i].outline_px, m, ANGLES) for i, m in zip(whole, middle, strict=True)]
    )
    centre, radius = (middle + 0.5) / maps.cell_px - 0.5, radius / maps.cell_px
    inside = _inside(maps.picture_bgr, centre, radius)
    colour = np.array([_middles(log_colour(values)) for values in inside], float)
    return Finds(whole, centre, radius, inside, colour)


def bare_liner(
    maps: FinderMaps, finds: Finds, light: LinerLight, around: NDArray[np.bool_]
) -> set[int]:
    """Numbers of the seeds that show bare liner; none of too few finds."""
    if len(finds.number) < FEWEST_FINDS:
        return set()
    scatter = _scatter(maps.picture_bgr, light, around)
    rows, columns = maps.shell.shape
    places = (finds.centre + 0.5) / [columns, rows]
    differs = np.abs(finds.colour - light.at(places)).max(axis=1) / scatter
    bare = (differs < WITHIN_SCATTER) & (differs < OF_USUAL_REL * np.median(differs))
    liner = np.array(
        [
            _colour_beside(maps.picture_bgr, centre, radius, around)
            for centre, radius in zip(finds.centre, finds.radius, strict=True)
        ]
    )
    beside = np.abs(finds.colour - liner).max(axis=1)
    if np.isfinite(beside).sum() >= FEWEST_FINDS:
        bare |= beside < OF_OTHERS_REL * np.nanpercentile(beside, 75)
    runs = np.array([_run(values) for values in finds.inside])
    bare &= runs < max(EVEN_REL * float(np.nanmedian(runs)), EVEN)
    return {i for i, empty in zip(finds.number, bare, strict=True) if empty}


def without(seeds: Sequence[Seed], gone: set[int]) -> tuple[Seed, ...]:
    """The seeds less those with these numbers; who touches whom is numbered anew."""
    place = {old: new for new, old in enumerate(i for i in range(len(seeds)) if i not in gone)}
    return tuple(
        replace(s, touching=tuple(place[n] for n in s.touching if n in place))
        for i, s in enumerate(seeds)
        if i not in gone
    )


def _scatter(
    picture_bgr: NDArray[np.uint8], light: LinerLight, around: NDArray[np.bool_]
) -> float:
    """Robust standard deviation of the liner about its smooth brightness, mean of channels."""
    y, x = np.nonzero(around)
    if not len(y):
        return 1.0
    rows, columns = around.shape
    rest = log_colour(picture_bgr[y, x]) - light.at(np.column_stack([x / columns, y / rows]))
    channels = np.ascontiguousarray(rest.T)
    spread = 1.4826 * medians(np.abs(channels - medians(channels)[:, None]))
    return float(spread.mean()) + 0.01  # a hundredth: the step of 8 bits in bright liners


def _inside(
    picture_bgr: NDArray[np.uint8], centres: Floats, radii: Floats
) -> tuple[NDArray[np.uint8], ...]:
    """Values (3, N) of the cells well inside each find, sorted."""
    rows, columns = picture_bgr.shape[:2]
    polygons = centres[:, None] + INSIDE_REL * radii[..., None] * ray_directions()
    lows = np.clip(np.floor(polygons.min(axis=1)).astype(int), 0, None)
    highs = np.minimum(np.ceil(polygons.max(axis=1)).astype(int) + 1, [columns, rows])
    corners = np.rint(polygons - lows[:, None]).astype(np.int32)
    found = []
    for low, high, polygon in zip(lows, highs, corners, strict=True):
        window = picture_bgr[low[1] : high[1], low[0] : high[0]]
        mask = np.zeros(window.shape[:2], np.uint8)
        cv2.fillPoly(mask, [polygon], 1)
        found.append(np.sort(window[mask > 0].T))
    return tuple(found)


def _middles(rising: NDArray[np.float32]) -> Floats:
    """Medians (3,) of sorted rows (3, N); NaN of none."""
    half = rising.shape[1] // 2
    if not rising.shape[1]:
        return np.full(3, np.nan)
    upper, lower = (np.asarray(rising[:, k], float) for k in (half, (rising.shape[1] - 1) // 2))
    return np.asarray((lower + upper) / 2, float)


def _run(rising: NDArray[np.uint8]) -> float:
    """How far the brightness of a find's cells (3, N), sorted, runs, in logarithms; NaN of none."""
    count = rising.shape[1]
    if not count:
        return float("nan")
    dark, light = (log_colour(rising[:, [int(share * (count - 1))]]) for share in MIDDLE_SHARES)
    return float((light - dark).mean())


def _colour_beside(
    picture_bgr: NDArray[np.uint8], centre: Floats, radius: Floats, around: NDArray[np.bool_]
) -> Floats:
    """The liner's usual log colour (3,) right round a find; NaN where too little of it shows."""
    rows, columns = picture_bgr.shape[:2]
    far = ROUND_REL[1] * float(radius.max()) + 1
    low = np.clip(np.floor(centre - far).astype(int), 0, None)
    high = np.minimum(np.ceil(centre + far).astype(int) + 1, [columns, rows])
    # every second cell each way is measure enough
    window = np.s_[low[1] : high[1] : 2, low[0] : high[0] : 2]
    own_y, own_x = np.nonzero(around[window])
    y, x = low[1] + 2 * own_y, low[0] + 2 * own_x
    away_x, away_y = x - centre[0], y - centre[1]
    turn = np.arctan2(away_y, away_x) % (2 * np.pi)
    outline = np.interp(turn, _CLOSED, np.append(radius, radius[0]))
    reach = np.hypot(away_x, away_y) / outline
    beside = (reach > ROUND_REL[0]) & (reach < ROUND_REL[1])
    if beside.sum() < FEWEST_CELLS:
        return np.full(3, np.nan)
    rising = log_colour(np.sort(picture_bgr[y[beside], x[beside]].T))
    half = rising.shape[1] // 2
    return np.asarray((rising[:, (rising.shape[1] - 1) // 2] + rising[:, half]) / 2, float)
