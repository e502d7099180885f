"""From the finder's maps to seeds: one for every shell, touching shells parted.

Cells vote for the middle of their shell; votes pile up at the middles (Neven et al., "Instance
segmentation by jointly optimizing spatial embeddings", CVPR 2019). Each cell goes to the middle
it votes for, so that touching and joined shells part along the line where the votes change.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Seed
from petitpied.finding.bare_liner import bare_liner, look_at, without
from petitpied.finding.coarse_outlines import smooth_outlines, solidity, width_px
from petitpied.finding.finder_network import FinderMaps, run_finder
from petitpied.finding.liner import LinerLight
from petitpied.finding.odd_things import odd_things
from petitpied.numerics.medians import medians

Floats = NDArray[np.float64]
Labels = NDArray[np.int32]
Ints = NDArray[np.int64]

#: a cell shows a shell from this probability on: the boundary the network was trained to give
SHELL_LEVEL = 0.5
#: smallest shell, in cells across: below it an outline has too few cells to be one
SMALLEST_CELLS = 8.0
#: two piles of votes nearer than this share of the larger shell's diameter are one shell: even
#: joined shells have their middles most of a diameter apart
SAME_SHELL_REL = 0.38
#: a cell belongs to a shell if its vote ends within this share of the shell's diameter
VOTE_REACH_REL = 0.30
#: least mean probability inside, and least solidity (area over convex hull's area) of a shell:
#: set on tuning scenes, where shells had 0.80 and 0.93 or more at the first percentile
LEAST_CERTAINTY, LEAST_SOLIDITY = 0.7, 0.86
#: least ratio of the widths of a shell's outline: ovals half as wide as long, seen at a slant of
#: 35 degrees along their narrow side (geometry)
LEAST_ASPECT = 0.4
#: share of a shell's cells that must vote for its middle
LEAST_AGREEMENT = 0.6
#: on a tray of several shells, the least score relative to the tray's median: on drawn scenes
#: false finds scored 0.75 and 0.81, and no true one of 994 shells was lost by it
LEAST_SCORE_REL, FEWEST_TO_COMPARE = 0.88, 5
#: a faint shell: half believed in at least, of the others' size, and without a lobe: area over
#: convex hull's area
FAINT_LEVEL, FAINT_SIZE, FAINT_SOLIDITY = 0.25, 1.25, 0.93
RAYS = 96
#: shells whose outlines are read side by side: OpenCV takes pictures 32,766 px wide at most
SIDE_BY_SIDE = 100


@dataclass(frozen=True)
class FoundShells:
    """Seeds, the size in px of the photo of one cell of the map they were found on, colours, and
    how many round things were left out because they are like no shell of this tray."""

    seeds: tuple[Seed, ...]
    cell_px: float
    light: LinerLight
    things: int = 0


def _vote_peaks(maps: FinderMaps, shown: NDArray[np.bool_]) -> Floats:
    """Cells (x, y) where votes pile up (N, 2), the highest first."""
    rows, columns = shown.shape
    vote = np.rint(maps.middle[shown]).astype(int)
    inside = (vote >= 0).all(axis=1) & (vote[:, 0] < columns) & (vote[:, 1] < rows)
    flat = vote[inside, 1] * columns + vote[inside, 0]
    pile = np.bincount(flat, maps.shell[shown][inside], rows * columns).reshape(rows, columns)
    pile = np.asarray(cv2.GaussianBlur(pile.astype(np.float32), (0, 0), 2.0))
    top = np.asarray(cv2.dilate(pile, np.ones((7, 7), np.uint8)))
    # a blurred pile of n votes peaks near n / (2 pi s^2), s about 2.5 cells with the votes' own
    # scatter: a quarter of what the smallest shell gives
    least = 0.25 * (np.pi / 4 * SMALLEST_CELLS**2) / (2 * np.pi * 2.5**2)
    y, x = np.nonzero((pile >= top) & (pile > least))
    order = np.argsort(-pile[y, x], kind="stable")
    return np.column_stack([x[order], y[order]]).astype(float)


def _assign(maps: FinderMaps, shown: NDArray[np.bool_], peaks: Floats) -> Labels:
    """Number of the peak (from 1) that each shown cell votes for, 0 elsewhere."""
    rows, columns = shown.shape
    holes = np.full((rows, columns), 255, np.uint8)
    at = np.clip(np.rint(peaks).astype(int), 0, [columns - 1, rows - 1])
    holes[at[:, 1], at[:, 0]] = 0
    _, zones = cv2.distanceTransformWithLabels(
        holes, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    number = np.zeros(int(zones.max()) + 1, np.int32)
    number[zones[at[:, 1], at[:, 0]]] = np.arange(1, len(peaks) + 1)
    x, y = np.rint(maps.middle[shown]).T
    x, y = x.clip(0, columns - 1).astype(np.intp), y.clip(0, rows - 1).astype(np.intp)
    label = np.zeros((rows, columns), np.int32)
    label[shown] = number[zones[y, x]]
    return label


def _merged(maps: FinderMaps, shown: NDArray[np.bool_], peaks: Floats) -> tuple[Floats, Labels]:
    """Peaks with doubles taken out, and the final labels."""
    while True:
        label = _assign(maps, shown, peaks)
        area = np.bincount(label.ravel(), minlength=len(peaks) + 1)[1:]
        across = 2 * np.sqrt(area / np.pi)
        gap = np.hypot(*np.moveaxis(peaks[:, None] - peaks[None], 2, 0))
        near = gap < SAME_SHELL_REL * np.maximum(across[:, None], across[None])
        np.fill_diagonal(near, False)
        doubled = np.argwhere(np.triu(near))
        if not len(doubled):
            return peaks, label
        # the weaker (later) of the first double goes; several disjoint doubles at once
        gone, used = [], set()
        for strong, weak in doubled:
            if strong not in used and weak not in used:
                gone.append(weak)
                used |= {strong, weak}
        peaks = np.delete(peaks, gone, axis=0)


def _largest_part(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    count, parts, stats, _ = cv2.connectedComponentsWithStats(
        mask.astype(np.uint8), connectivity=4
    )
    if count <= 2:
        return mask
    return np.asarray(parts == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])), bool)


def _crossing(level: Floats, start: int, step: float) -> Floats:
    """First radii (2, RAYS) at which (2, RAYS, R) falls below one half, sampled from ``start``
    steps less one on; the first sample itself does not count."""
    below = level < SHELL_LEVEL
    below[..., 0] = False
    below[..., -1] = True
    first = below.argmax(axis=-1)
    flat = first + np.arange(first.size).reshape(first.shape) * level.shape[-1]
    high, low = level.ravel().take(flat - 1), level.ravel().take(flat)
    part = np.clip((high - SHELL_LEVEL) / np.maximum(high - low, 1e-6), 0, 1)
    return np.asarray((first + (start - 2) + part) * step, float)


@dataclass(frozen=True)
class _Patch:
    """The cells (numbers in the flattened map) that vote for one peak, their mean place and width,
    cells."""

    number: int
    cells: NDArray[np.intp]
    centre: Floats
    across: float


_TURNS = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
_DIRECTIONS = np.column_stack([np.cos(_TURNS), np.sin(_TURNS)])


def _outlines(
    maps: FinderMaps, label: Labels, patches: Sequence[_Patch]
) -> list[tuple[Floats, Floats]]:
    """Radii (RAYS,), cells, of each shell's star-shaped outline in the shell map and in the cap
    map, about the patch's centre."""
    step = 0.5
    # no outline is nearer than this to its middle
    starts = [max(int(0.25 * patch.across / step), 1) for patch in patches]
    reaches = [
        np.arange(0, 1.1 * patch.across + 2, step)[start - 1 :]
        for patch, start in zip(patches, starts, strict=True)
    ]
    counts = [len(reach) for reach in reaches]
    reach = np.concatenate(reaches)
    # all shells side by side: a call has its price
    x, y = (
        (
            np.repeat([patch.centre[axis] for patch in patches], counts)
            + _DIRECTIONS[:, axis, None] * reach
        ).astype(np.float32)
        for axis in (0, 1)
    )
    both = np.empty((2, *x.shape))
    for level, seen in zip(both, (maps.shell, maps.cap), strict=True):
        level[:] = cv2.remap(seen, x, y, cv2.INTER_LINEAR, borderValue=0.0)
    own = cv2.remap(label.astype(np.float32), x, y, cv2.INTER_NEAREST, borderValue=0.0)
    both *= (own == 0) | (own == np.repeat([patch.number for patch in patches], counts))
    stops = np.cumsum(counts)
    found = []
    for start, count, stop in zip(starts, counts, stops.tolist(), strict=True):
        outer, inner = _crossing(both[..., stop - count : stop], start, step)
        found.append((outer, np.minimum(inner, outer)))
    return found


def _touching(shape: tuple[int, int], patches: Sequence[_Patch]) -> dict[int, set[int]]:
    """Numbers of the patches next to each, of cells that share a side or a corner."""
    own = np.zeros((shape[0] + 1, shape[1] + 1), np.int32)
    for patch in patches:
        own[np.divmod(patch.cells, shape[1])] = patch.number
    beside: dict[int, set[int]] = {patch.number: set() for patch in patches}
    here = own[:-1]
    for other in (own[1:], np.roll(here, -1, 1), np.roll(own[1:], -1, 1), np.roll(own[1:], 1, 1)):
        apart = (here != other) & (here > 0) & (other > 0)
        for a, b in zip(here[apart].tolist(), other[apart].tolist(), strict=True):
            beside[a].add(b)
            beside[b].add(a)
    return beside


def _cap_outline(
    maps: FinderMaps, centre: Floats, cap: Floats, outer: Floats
) -> Floats | None:
    """Cap outline in px; None where the cap map is too weak to be one."""
    if medians(cap / np.maximum(outer, 1e-6)) < 0.6:
        return None
    return maps.to_photo(centre + cap[:, None] * _DIRECTIONS)


@dataclass(frozen=True)
class _Candidate:
    number: int
    seed: Seed
    neighbours: set[int]


def _boxes(label: Labels, count: int) -> Ints:
    """First and one past the last row and column (count, 4) of labels 1 to ``count``."""
    ys, xs = np.nonzero(label)
    number = label[ys, xs] - 1
    box = np.tile([label.shape[0], -1, label.shape[1], -1], (count, 1))
    for column, (values, pick) in enumerate(
        ((ys, np.minimum), (ys, np.maximum), (xs, np.minimum), (xs, np.maximum))
    ):
        pick.at(box[:, column], number, values)
    return np.asarray(box + np.array([0, 1, 0, 1]), np.int64)


def _patch(label: Labels, number: int, box: Ints) -> _Patch | None:
    """The largest part of a label's cells; None where that is too small for a shell."""
    if box[1] <= box[0]:
        return None
    y0, x0 = max(int(box[0]) - 2, 0), max(int(box[2]) - 2, 0)
    window = np.s_[y0 : int(box[1]) + 2, x0 : int(box[3]) + 2]
    mask = _largest_part(label[window] == number)
    y, x = np.nonzero(mask)
    if len(y) < np.pi / 4 * SMALLEST_CELLS**2:
        return None
    x, y = x + x0, y + y0
    centre = np.array([x.sum() / len(x), y.sum() / len(y)])
    across = 2 * float(np.sqrt(len(y) / np.pi))
    return _Patch(number, y * label.shape[1] + x, centre, across)


def _trust(
    maps: FinderMaps, patches: Sequence[_Patch], peaks: Floats
) -> tuple[list[float], list[float]]:
    """Mean probability of each patch's cells, and the share of them that vote for its peak; all
    patches at once."""
    counts = np.array([len(patch.cells) for patch in patches])
    cells, first = np.concatenate([patch.cells for patch in patches]), np.cumsum(counts) - counts
    peak = np.repeat(peaks[[patch.number - 1 for patch in patches]], counts, axis=0)
    reach = np.repeat([VOTE_REACH_REL * patch.across for patch in patches], counts)
    x, y = (maps.middle.reshape(-1, 2).take(cells, axis=0) - peak).T
    votes = x * x + y * y < reach * reach
    certainty = np.add.reduceat(maps.shell.ravel().take(cells), first, dtype=float) / counts
    agreement = np.add.reduceat(votes, first, dtype=np.int64) / counts
    return certainty.tolist(), agreement.tolist()


def _candidate(
    maps: FinderMaps,
    patch: _Patch,
    trust: tuple[float, float],
    outline: tuple[Floats, Floats],
    beside: set[int],
) -> _Candidate | None:
    """One shell, verified: certain, compact, round enough, its cells agreeing on its middle."""
    outer, cap = outline
    certainty, agreement = trust
    points = patch.centre + outer[:, None] * _DIRECTIONS
    single = points.astype(np.float32)
    hull_area, area = cv2.contourArea(cv2.convexHull(single)), cv2.contourArea(single)
    (_, (side_a, side_b), _) = cv2.minAreaRect(single)
    rows, columns = maps.shell.shape
    whole = bool((points > 0.8).all() and (points < [columns - 1.8, rows - 1.8]).all())
    sound = (
        certainty >= LEAST_CERTAINTY
        and area >= LEAST_SOLIDITY * hull_area
        and min(side_a, side_b) >= LEAST_ASPECT * max(side_a, side_b)
        and agreement >= LEAST_AGREEMENT
    )
    if whole and not sound:
        return None
    if not whole and certainty < LEAST_CERTAINTY:
        return None
    middle = maps.to_photo(patch.centre)
    seed = Seed(
        (float(middle[0]), float(middle[1])),
        maps.to_photo(points),
        certainty * agreement,
        whole,
        (),
        _cap_outline(maps, patch.centre, cap, outer),
    )
    return _Candidate(patch.number, seed, beside)


def _candidates(maps: FinderMaps) -> list[_Candidate]:
    shown = maps.shell > SHELL_LEVEL
    if not shown.any():
        return []
    peaks = _vote_peaks(maps, shown)
    if not len(peaks):
        return []
    peaks, label = _merged(maps, shown, peaks)
    patches = [
        patch
        for number, box in enumerate(_boxes(label, len(peaks)), 1)
        if (patch := _patch(label, number, box)) is not None
    ]
    if not patches:
        return []
    outlines = [
        outline
        for first in range(0, len(patches), SIDE_BY_SIDE)
        for outline in _outlines(maps, label, patches[first : first + SIDE_BY_SIDE])
    ]
    trusts = zip(*_trust(maps, patches, peaks), strict=True)
    beside = _touching(label.shape, patches)
    each = zip(patches, trusts, outlines, strict=True)
    candidates = (_candidate(maps, p, trust, line, beside[p.number]) for p, trust, line in each)
    return [candidate for candidate in candidates if candidate is not None]


def _faint(maps: FinderMaps, found: Sequence[_Candidate]) -> list[_Candidate]:
    """Shells that the network only half believes in, where the tray's others speak for them.

    The map is lifted so that `FAINT_LEVEL` counts as the boundary, what is found already is
    wiped out, and what is left must be as large as the tray's shells are, and without a lobe.
    """
    whole = [c.seed for c in found if c.seed.whole]
    if len(whole) < FEWEST_TO_COMPARE:
        return []
    rest = maps.shell * np.float32(SHELL_LEVEL / FAINT_LEVEL)
    area = np.zeros(rest.shape, np.uint8)
    for candidate in found:
        cells = (candidate.seed.outline_px + 0.5) / maps.cell_px - 0.5
        cv2.fillPoly(area, [np.rint(cells).astype(np.int32)], 1)
    rest[cv2.dilate(area, np.ones((7, 7), np.uint8)) > 0] = 0
    if (rest > SHELL_LEVEL).sum() < np.pi / 4 * SMALLEST_CELLS**2:
        return []
    usual = float(np.median([width_px(s.outline_px) for s in whole]))
    first = 1 + max(c.number for c in found)
    return [
        replace(c, number=first + n, neighbours=set())
        for n, c in enumerate(_candidates(replace(maps, shell=np.minimum(rest, 1.0))))
        if c.seed.whole
        and abs(np.log(width_px(c.seed.outline_px) / usual)) < np.log(FAINT_SIZE)
        and solidity(c.seed.outline_px) >= FAINT_SOLIDITY
    ]


def seeds_from_maps(maps: FinderMaps) -> tuple[Seed, ...]:
    """Every verified shell, from the top of the photo down."""
    found = _candidates(maps)
    if len(found) >= FEWEST_TO_COMPARE:
        usual = float(np.median([c.seed.score for c in found]))
        found = [c for c in found if c.seed.score >= LEAST_SCORE_REL * usual or not c.seed.whole]
    found += _faint(maps, found)
    found.sort(key=lambda c: (c.seed.centre_px[1], c.seed.centre_px[0]))
    place = {c.number: i for i, c in enumerate(found)}
    return tuple(
        Seed(
            c.seed.centre_px,
            c.seed.outline_px,
            c.seed.score,
            c.seed.whole,
            tuple(sorted(place[n] for n in c.neighbours if n in place)),
            c.seed.cap_outline_px,
        )
        for c in found
    )


def find_shells(pixels_bgr: NDArray[np.uint8]) -> FoundShells:
    """Find every shell in a photo of shape (height, width, 3), uint8; () is an answer."""
    maps = run_finder(pixels_bgr)
    seeds, light, around = smooth_outlines(maps, seeds_from_maps(maps))
    things: set[int] = set()
    if any(seed.whole for seed in seeds):
        finds = look_at(maps, seeds)
        bare = bare_liner(maps, finds, light, around)
        things = odd_things(maps, finds.without(bare), light)
        seeds = without(seeds, bare | things)
    return FoundShells(seeds, maps.cell_px, light, len(things))
