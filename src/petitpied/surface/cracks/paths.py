"""From joined places of a dark line to its centre line, below a pixel, and its branches.

The places are thinned to a skeleton, the skeleton is a graph, and the longest way through it is
the line; what stands off it far enough is a branch. Each point is then moved across the line to
the bottom of the smoothed valley (Steger 1998).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.surface.caps.cap_patch import CapPatches
from petitpied.surface.cracks.ridges import SIGMA_PX, Ridges
from petitpied.surface.cracks.skeleton import longest_way, thinned

Floats = NDArray[np.float64]

#: distance of the points of a line
STEP_MM = 0.3
#: a side line of a skeleton that is shorter is a bump of the line's edge, not a branch: the widest
#: crack looked for is 2 mm, so that a spur reaches out by 1 mm at most
LEAST_BRANCH_MM = 2.5
MOST_BRANCHES = 6
#: a dusty cap has hundreds of specks; cracks are among the lines that reach farthest
MOST_LINES = 25
#: thinning goes in steps of a pixel; what wiggles faster than this sigma along the line is that
SMOOTH_MM = 0.5
#: an end's direction is taken over so many places, and it is drawn on by so many at most: 2 mm of
#: mask width, half of it
END_REACH_PX, MOST_END_PX = 6, 8
#: two ends nearer than this, that point at each other, are one line with a bridge
BRIDGE_MM, BRIDGE_DEG = 2.0, 45.0


@dataclass(frozen=True)
class Line:
    """A dark line on one cap: ``path_px`` (N, 2) in its tile, evenly spaced by `STEP_MM`; ``cap``
    the cap's number; ``joined`` how many pieces were bridged."""

    cap: int
    path_px: Floats
    joined: int = 1

    def length_mm(self, mm_per_px: float) -> float:
        return float(mm_per_px * arc_length(self.path_px)[-1])


def arc_length(path: Floats) -> Floats:
    """Way (N,) along a path (N, 2)."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])


def directions(path: Floats) -> Floats:
    """Unit vectors (N, 2) along a path of at least two points."""
    along = np.empty_like(path)
    along[1:-1] = path[2:] - path[:-2]
    along[0], along[-1] = path[1] - path[0], path[-1] - path[-2]
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
    return along


def normals(path: Floats) -> Floats:
    """Unit vectors (N, 2) across a path, a quarter turn from +x towards +y of its direction."""
    along = directions(path)
    return np.stack([-along[:, 1], along[:, 0]], axis=1)


def find_lines(patches: CapPatches, ridges: Ridges) -> tuple[Line, ...]:
    """Centre lines of all ridges, bridged where they are pieces of one line."""
    lines: list[Line] = []
    side = patches.side_px
    count: dict[int, int] = {}
    largest = sorted(zip(ridges.numbers, ridges.windows, strict=True), key=_minus_reach)
    for number, (rows, cols) in largest:
        cap = (rows.start // side) * patches.columns + cols.start // side
        count[cap] = count.get(cap, 0) + 1
        if count[cap] > MOST_LINES:
            continue
        corner = np.array([cols.start, rows.start]) % side
        mask = ridges.labels[rows, cols] == number
        for path in _branches(mask, patches.mm_per_px):
            lines.append(Line(cap, path + corner))
    return _bridged(lines, patches.mm_per_px)


def _minus_reach(ridge: tuple[int, tuple[slice, slice]]) -> int:
    _, (rows, cols) = ridge
    return -max(int(rows.stop - rows.start), int(cols.stop - cols.start))


def _branches(mask: NDArray[np.bool_], mm_per_px: float) -> list[Floats]:
    """Ways (N, 2) px through a mask's skeleton: the longest, then what stands off it."""
    full = np.pad(mask, 1)
    left = thinned(full)
    least_px = LEAST_BRANCH_MM / mm_per_px
    found: list[Floats] = []
    for _ in range(MOST_BRANCHES):
        if found and left.sum() < least_px / np.sqrt(2):
            break
        way = longest_way(left)
        if way is None or (found and arc_length(way)[-1] < least_px):
            break
        found.append(_to_the_edge(way, full, found) - 1.0)
        for x, y in way.astype(int):
            left[max(y - 1, 0) : y + 2, max(x - 1, 0) : x + 2] = False
    return found


def _to_the_edge(way: Floats, mask: NDArray[np.bool_], before: Sequence[Floats]) -> Floats:
    """A way with its free ends drawn on to the mask's edge: thinning takes half the mask's width
    off each end. An end at a way found before (one pixel to the left) is a fork, not free."""
    for _ in range(2):
        way = way[::-1]
        end = way[-1]
        forks = any(np.hypot(*(end - 1.0 - other).T).min() < 3.5 for other in before)
        back = way[max(0, len(way) - 1 - END_REACH_PX)]
        ahead = (end - back) / max(float(np.hypot(*(end - back))), 1e-9)
        steps = 0
        while not forks and steps < MOST_END_PX:
            x, y = np.round(end + (steps + 1) * ahead).astype(int)
            if not (0 <= y < mask.shape[0] and 0 <= x < mask.shape[1] and mask[y, x]):
                break
            steps += 1
        if steps:
            way = np.vstack([way, end + steps * ahead])
    return way


def _bridged(lines: Sequence[Line], mm_per_px: float) -> tuple[Line, ...]:
    """Pieces whose ends meet joined, nearest ends first; an end is joined once."""
    if len(lines) < 2:
        return tuple(lines)
    # ends 2 i and 2 i + 1 are the first and last point of line i
    places = np.array([line.path_px[k] for line in lines for k in (0, -1)])
    ahead = np.array([_way_out(line.path_px, k) for line in lines for k in (0, -1)])
    pairs, gaps = _near_ends(lines, places, BRIDGE_MM / mm_per_px)
    partner: dict[int, int] = {}
    group = list(range(len(lines)))

    def root(i: int) -> int:
        while group[i] != i:
            i = group[i]
        return i

    for gap, (a, b) in sorted(zip(gaps.tolist(), pairs.tolist(), strict=True)):
        fits = _turn_deg(ahead[a], places[b] - places[a], ahead[b], gap) <= BRIDGE_DEG
        if a in partner or b in partner or root(a // 2) == root(b // 2) or not fits:
            continue
        partner[a], partner[b] = b, a
        group[root(a // 2)] = root(b // 2)
    return tuple(_chains(lines, partner))


def _near_ends(
    lines: Sequence[Line], places: Floats, reach_px: float
) -> tuple[NDArray[np.intp], Floats]:
    """Pairs (N, 2) of ends at ``places`` on the same cap that are within reach, and their gaps."""
    cap = np.repeat([line.cap for line in lines], 2)
    pairs = [np.zeros((0, 2), np.intp)]
    for one in np.unique(cap):
        ends = np.flatnonzero(cap == one)
        first, second = np.triu_indices(len(ends), 1)
        pairs.append(np.column_stack([ends[first], ends[second]]))
    every = np.concatenate(pairs)
    gap = np.hypot(*(places[every[:, 0]] - places[every[:, 1]]).T)
    return every[gap <= reach_px], gap[gap <= reach_px]


def _chains(lines: Sequence[Line], partner: dict[int, int]) -> Iterator[Line]:
    """Lines strung together by which end meets which; each string from a free end."""
    done: set[int] = set()
    for first in range(2 * len(lines)):
        if first in partner or first // 2 in done:
            continue
        paths, end = [], first
        while True:
            index = end // 2
            done.add(index)
            paths.append(lines[index].path_px[:: 1 if end % 2 == 0 else -1])
            other = end ^ 1
            if other not in partner:
                break
            end = partner[other]
        joined = np.vstack(paths) if len(paths) > 1 else paths[0]
        yield replace(lines[first // 2], path_px=joined, joined=len(paths))


def _way_out(path: Floats, end: int) -> Floats:
    """Unit direction (2,) in which a path leaves by an end (0 or -1)."""
    inner = path[min(END_REACH_PX, len(path) - 1)] if end == 0 else path[-1 - END_REACH_PX :][0]
    way = path[end] - inner
    return np.asarray(way / max(float(np.hypot(*way)), 1e-9), float)


def _turn_deg(out: Floats, bridge: Floats, other_out: Floats, gap_px: float) -> float:
    """Greatest turn on the way out of one end, over the bridge, into the other end."""
    ways = [out, -other_out]
    if gap_px >= 3:  # a shorter bridge has no direction
        ways.insert(1, bridge / gap_px)
    cosine = min(float(p @ q) for p, q in pairwise(ways))
    return float(np.rad2deg(np.arccos(np.clip(cosine, -1, 1))))


def evenly_spaced(path_px: Floats, mm_per_px: float) -> Floats:
    """The path smoothed by `SMOOTH_MM` and resampled every `STEP_MM`, its ends kept."""
    along = arc_length(path_px)
    fine_px = 0.25
    count = max(4, int(along[-1] / fine_px))
    at = np.linspace(0, along[-1], count + 1)
    dense = np.column_stack([np.interp(at, along, path_px[:, i]) for i in (0, 1)])
    sigma = SMOOTH_MM / mm_per_px / fine_px
    reach = min(int(3 * sigma), count)
    # mirrored through the end points, so that the ends stay
    before = 2 * dense[0] - dense[reach:0:-1]
    after = 2 * dense[-1] - dense[-2 : -reach - 2 : -1]
    long: Any = np.vstack([before, dense, after])
    smooth = np.asarray(cv2.GaussianBlur(long, (1, 0), 0.1, sigmaY=sigma), float)
    smooth = smooth[reach : reach + count + 1]
    along = arc_length(smooth)
    steps = max(2, round(along[-1] * mm_per_px / STEP_MM))
    at = np.linspace(0, along[-1], steps + 1)
    return np.column_stack([np.interp(at, along, smooth[:, i]) for i in (0, 1)])


def centred(patches: CapPatches, smooth_valley: NDArray[np.float32], line: Line) -> Line:
    """The line moved to the bottom of the valley: each point by its parabola across the line,
    at most 1.5 px; ``smooth_valley`` (H, W) is the mosaic's, smoothed by `SIGMA_PX`."""
    path = evenly_spaced(line.path_px, patches.mm_per_px)
    across = normals(path)
    offset = np.arange(-2.0, 2.01, 1.0)
    rows, cols = patches.window(line.cap)
    places = path[:, None] + offset[None, :, None] * across[:, None]
    places += np.array([cols.start, rows.start])
    at: Any = places.astype(np.float32)
    found: Any = cv2.remap(smooth_valley, at, None, cv2.INTER_LINEAR)  # type: ignore[call-overload]
    depth = np.asarray(found, np.float64)
    k = depth[:, 1:-1].argmin(axis=1) + 1
    i = np.arange(len(path))
    left, middle, right = depth[i, k - 1], depth[i, k], depth[i, k + 1]
    bend = left - 2 * middle + right
    part = np.where(bend > 1e-6, 0.5 * (left - right) / np.maximum(bend, 1e-6), 0.0)
    path = path + (offset[k] + np.clip(part, -0.5, 0.5))[:, None] * across
    return replace(line, path_px=evenly_spaced(path, patches.mm_per_px))


def smoothed(valley: NDArray[np.float32]) -> NDArray[np.float32]:
    """A mosaic's valley smoothed for `centred`."""
    return np.asarray(cv2.GaussianBlur(valley, (0, 0), SIGMA_PX), np.float32)
