"""Sub-pixel edges of every shell, in the full-size photo, where the network proposes them.

The picture is sampled along rays from each shell's middle, a narrow band about the proposals
only. The edge along a ray is a place that is likely and where colour changes strongly (first
derivative of a Gaussian, Canny 1986), between the steepest change and the network's own mean
place; chosen together for all rays of a shell by dynamic programming, so that a crumb, a glint or
a shadow's rim does not pull single rays away.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.contours.edge_network import EdgeProposals
from petitpied.contours.settling import settled
from petitpied.contours.strays import liner_before_edge
from petitpied.domain.shell import Seed
from petitpied.finding.liner import LinerLight
from petitpied.finding.ray_strips import RAYS, ray_directions, sample_along_rays
from petitpied.numerics.medians import medians

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

#: standard deviation of the differentiating Gaussian, px: about the blur of a phone's photo
EDGE_SIGMA_PX = 1.3
#: how fast an edge may move from ray to ray before it costs as much as a third of its strength
SLOPE_COST = 0.5
#: half width of the band about the network's proposal in which the edge is measured, relative to
#: the radius: six times the proposals' mean error on path-traced trays (TUNING.md)
BAND_REL = 0.03
#: a place counts by the logarithm of its probability, and this much by that of its strength: 0.1,
#: 0.25 and 0.5 gave diameters of 0.106, 0.106 and 0.107 mm root mean square on the same 52 trays
STRENGTH_WEIGHT = 0.25
#: a probability below this is as good as none
LEAST_PROBABILITY = 1e-3
#: the edge is this share of the network's own expectation near the path, the rest is the steepest
#: change, which creases between a foot's ruffles pull inwards (TUNING.md)
NETWORK_SHARE, NETWORK_REACH_PX = 1 / 2, 3.0
#: the cap's edge counts where a foot at least this wide is proposed, relative to the radius
#: (0.3 mm on 22 mm)
VISIBLE_FOOT_REL = 0.015
#: weight of an outer edge that only the change of colour shows
BY_COLOUR_WEIGHT = 0.3
#: opponent channels count this much more than lightness: shadows change lightness alone
CHROMA_GAIN = 1.5


@dataclass(frozen=True)
class EdgeBand:
    """Edges of one kind (outer or cap), all shells; S shells, RAYS rays each.

    ``radius_px`` (S, RAYS): distance of the edge from the shell's middle; ``weight``
    (S, RAYS) 0 to 1; ``points_px`` (S, RAYS, 2).
    """

    radius_px: Floats
    weight: Floats
    points_px: Floats

    def only(self, which: NDArray[np.bool_]) -> "EdgeBand":
        """Those of the shells ``which`` (S,)."""
        return EdgeBand(self.radius_px[which], self.weight[which], self.points_px[which])


@dataclass(frozen=True)
class ShellEdges:
    """Outer and cap edges of all shells about the same middles ``centre_px`` (S, 2)."""

    centre_px: Floats
    angle_rad: Floats  # (RAYS,), from +u towards +v
    outer: EdgeBand
    cap: EdgeBand

    def only(self, which: NDArray[np.bool_]) -> "ShellEdges":
        """Those of the shells ``which`` (S,)."""
        outer, cap = self.outer.only(which), self.cap.only(which)
        return ShellEdges(self.centre_px[which], self.angle_rad, outer, cap)


def _channels(strip_bgr: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Lightness (Rec. 601 weights) and two opponent channels, (..., 3)."""
    gain = CHROMA_GAIN
    mix = [[0.114, 0.587, 0.299], [0.0, -gain, gain], [0.7 * gain, -0.7 * gain, 0.0]]
    flat = strip_bgr.reshape(-1, strip_bgr.shape[-2], 3).astype(np.float32)
    mixed = cv2.transform(flat, np.array(mix, np.float32))
    return np.asarray(mixed, np.float32).reshape(strip_bgr.shape)


def _strength(strip: NDArray[np.uint8], sigma_samples: float) -> Singles:
    """Size of the colour change along each ray (S, RAYS, R), smoothed over five rays."""
    shells, rays, samples, _ = strip.shape
    turn = np.array([0.5, 0.8, 1.0, 0.8, 0.5])
    half = int(np.ceil(3.5 * sigma_samples))
    x = np.arange(-half, half + 1)
    bell = np.exp(-(x**2) / (2 * sigma_samples**2))
    slope = x * bell / (bell.sum() * sigma_samples**2)
    closed = np.concatenate([strip[:, -2:], strip, strip[:, :2]], axis=1)  # rays go round
    change = cv2.sepFilter2D(
        _channels(closed).reshape(shells * (rays + 4), samples, 3),
        -1,
        slope.astype(np.float32),
        (turn / turn.sum()).astype(np.float32),
        borderType=cv2.BORDER_REPLICATE,
    )
    change = np.asarray(change).reshape(shells, rays + 4, samples, 3)[:, 2:-2]
    return np.asarray(np.sqrt(np.einsum("srnc,srnc->srn", change, change)), np.float32)


def best_paths(score: NDArray[np.float32]) -> NDArray[np.intp]:
    """Closed path of the highest total score (S, RAYS), steps of at most two samples a ray.

    Viterbi's algorithm once and a half round the shell, so that the path closes on itself.
    """
    shells, rays, samples = score.shape
    count = rays + rays // 2
    near, far = np.float32(SLOPE_COST), np.float32(2 * SLOPE_COST)
    by_ray = np.ascontiguousarray(score.transpose(1, 0, 2))
    # best totals up to each ray, with room for steps beyond both ends of the band
    total = np.full((count, shells, samples + 4), -np.inf, np.float32)
    total[0, :, 2:-2] = by_ray[0]
    best, other = np.empty((2, shells, samples), np.float32)
    for ray in range(1, count):
        last = total[ray - 1]
        np.maximum(last[:, 1:-3], last[:, 3:-1], out=best)
        best -= near
        np.maximum(last[:, :-4], last[:, 4:], out=other)
        other -= far
        np.maximum(best, other, out=best)
        np.maximum(best, last[:, 2:-2], out=best)
        np.add(best, by_ray[ray % rays], out=total[ray, :, 2:-2])
    # the way back: which step gave each total is found again along the best path only
    steps = np.arange(-2, 3)
    cost = (SLOPE_COST * np.abs(steps)).astype(np.float32)
    path = np.zeros((count, shells), np.intp)
    path[-1] = total[-1, :, 2:-2].argmax(axis=1)
    # places of the steps' totals of each ray, row by row: 2 of room less the 2 that they go back
    rows = (np.arange(shells) * (samples + 4))[:, None] + (steps + 2)
    for ray in range(count - 1, 0, -1):
        options = total[ray - 1].ravel().take(rows + path[ray][:, None])
        options -= cost
        np.add(path[ray], options.argmax(axis=1) - 2, out=path[ray - 1])
    quarter = rays // 4
    closed = np.roll(path[quarter : quarter + rays], quarter, axis=0)
    return closed.T


def _parabola(strength: Singles, path: NDArray[np.intp]) -> Floats:
    """Sub-sample place of the maximum next to ``path``, in samples."""
    index = np.clip(path, 1, strength.shape[2] - 2)
    near = np.take_along_axis(strength, index[:, :, None] + np.array([-1, 0, 1]), axis=2)
    left, mid, right = np.moveaxis(near.astype(float), 2, 0)
    curve = left - 2 * mid + right
    shift = np.where(curve < -1e-9, 0.5 * (left - right) / np.minimum(curve, -1e-9), 0.0)
    return np.asarray(path + np.clip(shift, -1, 1), float)


@dataclass(frozen=True)
class _Look:
    """What a band about the proposals of one kind of edge shows, N samples a ray: ``middle`` of
    the band (S, RAYS), px, ``strength``, ``likely`` (the network's probability) and ``score``
    (S, RAYS, N), ``typical`` strength (S, 1)."""

    middle: Floats
    step_px: float
    strength: Singles
    likely: Singles
    typical: Floats
    score: Singles


def _look(
    pixels_bgr: NDArray[np.uint8],
    centre: Floats,
    proposals: EdgeProposals,
    probability: NDArray[np.float32],
    middle: Floats,
) -> _Look:
    """``probability`` and ``middle``, the mean radii, of one kind of edge."""
    half_px = BAND_REL * float(np.median(middle))
    step_px = max(0.7, half_px / 16)
    reach = int(np.ceil(half_px / step_px))
    offset = np.asarray(np.arange(-reach, reach + 1) * step_px, float)
    strips = sample_along_rays(pixels_bgr, centre, middle[:, :, None] + offset)
    strength = _strength(strips, EDGE_SIGMA_PX / step_px)
    # smoothed over five rays, so that one in four says what all do
    typical = medians(strength[:, ::4].reshape(len(strength), -1))[:, None] + 0.3
    likely = _likely(proposals, probability, middle, offset)
    score = np.maximum(strength / typical[..., None].astype(np.float32), np.float32(0.1))
    np.log(score, out=score)
    score *= np.float32(STRENGTH_WEIGHT)
    score += np.log(likely)
    return _Look(middle, step_px, strength, likely, typical, score)


def _bands(centre: Floats, looks: Sequence[_Look]) -> list[EdgeBand]:
    """Edges of each kind: strong changes of colour where the network proposes them."""
    # all paths at once: a path takes hundreds of steps of small arrays
    widest = max(look.score.shape[2] for look in looks)
    rooms = [(widest - look.score.shape[2]) // 2 for look in looks]
    scores = [
        np.pad(look.score, ((0, 0), (0, 0), (room, room)), constant_values=-np.inf)
        for look, room in zip(looks, rooms, strict=True)
    ]
    paths = np.split(best_paths(np.concatenate(scores)), len(looks))
    return [
        _band(centre, look, path - room)
        for look, path, room in zip(looks, paths, rooms, strict=True)
    ]


def _band(centre: Floats, look: _Look, path: NDArray[np.intp]) -> EdgeBand:
    steepest, expected = _parabola(look.strength, path), _expected(look, path)
    place = steepest + NETWORK_SHARE * (expected - steepest)
    found = look.middle + (place - look.strength.shape[2] // 2) * look.step_px
    points = centre[:, None] + found[:, :, None] * ray_directions()
    peak = np.take_along_axis(look.strength, path[:, :, None], axis=2)[:, :, 0]
    return EdgeBand(found, peak**2 / (peak**2 + look.typical**2), points)


def _expected(look: _Look, path: NDArray[np.intp]) -> Floats:
    """The network's mean place (S, RAYS) near ``path``, in samples."""
    reach = int(np.ceil(NETWORK_REACH_PX / look.step_px))
    near = path[:, :, None] + np.arange(-reach, reach + 1)
    near = np.clip(near, 0, look.likely.shape[2] - 1)
    weight = np.take_along_axis(look.likely, near, axis=2)
    return np.asarray((weight * near).sum(axis=2) / weight.sum(axis=2), float)


def _likely(
    proposals: EdgeProposals, probability: Singles, middle: Floats, offset: Floats
) -> Singles:
    """The proposal's probability (S, RAYS, N) at ``middle`` + ``offset``, px."""
    part = proposals.part_rel
    # in samples of the proposal, and in single precision as the probabilities are
    scale = 1 / (proposals.coarse_px * (part[1] - part[0]))
    first = (middle * scale - part[0] / (part[1] - part[0])).astype(np.float32)
    at = first[:, :, None] + scale.astype(np.float32)[:, :, None] * offset.astype(np.float32)
    low = np.clip(np.floor(at), 0, len(part) - 2)
    share = np.clip(at - low, 0, 1)
    rows = len(part) * np.arange(low.shape[0] * low.shape[1]).reshape(*low.shape[:2], 1)
    flat, place = np.ascontiguousarray(probability).ravel(), low.astype(np.intp) + rows
    left, right = flat.take(place), flat[1:].take(place)
    return np.asarray(left + (right - left) * share + np.float32(LEAST_PROBABILITY), np.float32)


def _moved(
    centre: Floats, band: EdgeBand, radius: Floats, where: NDArray[np.bool_]
) -> EdgeBand:
    """Edges moved to ``radius`` (S, RAYS) ``where`` so, and of less weight there."""
    if not where.any():
        return band
    moved = np.where(where, radius, band.radius_px)
    points = centre[:, None] + moved[:, :, None] * ray_directions()
    return EdgeBand(moved, np.where(where, BY_COLOUR_WEIGHT, band.weight), points)


def find_edges(
    pixels_bgr: NDArray[np.uint8], seeds: Sequence[Seed], light: LinerLight
) -> ShellEdges:
    """Outer and cap edges of the seeds.

    Parameters
    ----------
    pixels_bgr : ndarray of shape (height, width, 3), uint8
        The photo, frame px.
    seeds : sequence of Seed
        Shells to measure; at least one.
    light : LinerLight
        The liner's brightness over the photo.
    """
    centre, proposals = settled(pixels_bgr, seeds, light)
    kinds = (proposals.outer, proposals.outer_px), (proposals.cap, proposals.cap_px)
    looks = [_look(pixels_bgr, centre, proposals, *kind) for kind in kinds]
    outer, cap = _bands(centre, looks)
    begins = liner_before_edge(pixels_bgr, centre, cap.radius_px, outer.radius_px, light)
    passed = np.isfinite(begins)
    outer = _moved(centre, outer, begins, passed)
    gap = np.where(passed, begins - cap.radius_px, proposals.outer_px - proposals.cap_px)
    visible = gap > VISIBLE_FOOT_REL * proposals.coarse_px.mean(axis=1, keepdims=True)
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    return ShellEdges(
        centre, angle, outer, EdgeBand(cap.radius_px, cap.weight * visible, cap.points_px)
    )
