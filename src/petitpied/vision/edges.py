"""Sub-pixel edges of every shell, in the full-size photo, near the finder's coarse outlines.

The picture is sampled along rays from each shell's middle, a narrow band about the coarse
outline only. The edge along a ray is the place of the strongest change of colour (first
derivative of a Gaussian, Canny 1986), chosen together for all rays of a shell by dynamic
programming, so that a crumb, a glint or a shadow's rim does not pull single rays away.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Seed
from petitpied.vision.liner import LOUDEST, LinerModel

Floats = NDArray[np.float64]

#: rays a shell: one every 1.9 degrees, 0.7 mm on a 45 mm shell, finer than a foot's ruffles
RAYS = 192
#: half width of the searched band: relative to the radius (the finder's outlines were within
#: 4 % at the 95th percentile on tuning scenes), and in px of the finder's reduced picture
BAND_REL, BAND_FINDER_PX = 0.045, 0.3
#: the finder knows caps less well than outlines
CAP_BAND_REL = 0.10
#: standard deviation of the differentiating Gaussian, px: about the blur of a phone's photo
EDGE_SIGMA_PX = 1.3
#: how fast an edge may move from ray to ray before it costs as much as a third of its strength
SLOPE_COST = 0.5
#: an edge half of the band away from the coarse outline counts as much less as one of e times
#: less strength
NEAR_REL = 0.5
#: an edge that parts shell from liner by colour, as far as colours can, counts this much more
#: (natural logarithm); colours are compared over this share of the radius on both sides
FALL_WEIGHT, WINDOW_REL = 1.0, 0.02
#: inside the outer edge by this, px, an edge can be told from the outer one: 1.5 times the
#: width of the differentiating Gaussian
OUTER_REACH_PX = 2.0
#: the cap's edge is looked for where the finder sees a foot at least this wide, relative to
#: the radius (0.3 mm on 22 mm)
VISIBLE_FOOT_REL = 0.015
#: edges stronger than this many times the usual count alike: a cap's edge is no better a
#: witness of the outline than a foot's weaker one outside it
LOUDEST_EDGE = 3.5
#: the outline may lie farther outside the coarse one than inside it, by this factor: a foot of
#: the liner's colour is missed by colours
OUTWARD = 1.5
#: a foot usually reaches this far outside the cap's outline, relative to the radius (common
#: practice, no source: 0.9 mm on 22 mm); where the coarse outline lies closer, colours may have
#: missed a foot of the liner's own, and the edge is looked for up to this much farther out
USUAL_FOOT_REL, MISSED_FOOT_REL = 0.04, 0.02
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


@dataclass(frozen=True)
class ShellEdges:
    """Outer and cap edges of all shells about the same middles ``centre_px`` (S, 2)."""

    centre_px: Floats
    angle_rad: Floats  # (RAYS,), from +u towards +v
    outer: EdgeBand
    cap: EdgeBand


def outline_radius(outline_px: Floats, centre_px: Floats, angle_rad: Floats) -> Floats:
    """Radius (N,) of a star-shaped closed outline (M, 2) about ``centre_px`` at angles (N,)."""
    offset = outline_px - centre_px
    angle = np.arctan2(offset[:, 1], offset[:, 0])
    order = np.argsort(angle)
    reach = np.hypot(*offset.T)[order]
    return np.asarray(np.interp(angle_rad, angle[order], reach, period=2 * np.pi), float)


def _channels(strip_bgr: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Lightness (Rec. 601 weights) and two opponent channels, (..., 3)."""
    gain = CHROMA_GAIN
    mix = [[0.114, 0.587, 0.299], [0.0, -gain, gain], [0.7 * gain, -0.7 * gain, 0.0]]
    flat = strip_bgr.reshape(-1, strip_bgr.shape[-2], 3).astype(np.float32)
    mixed = cv2.transform(flat, np.array(mix, np.float32))
    return np.asarray(mixed, np.float32).reshape(strip_bgr.shape)


def _strips(
    pixels_bgr: NDArray[np.uint8], centre: Floats, radius: Floats, offset: Floats
) -> NDArray[np.uint8]:
    """Picture along the rays: (S, RAYS, len(offset), 3)."""
    shells = len(centre)
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    reach = radius[:, :, None] + offset
    x = centre[:, None, None, 0] + reach * np.cos(angle)[None, :, None]
    y = centre[:, None, None, 1] + reach * np.sin(angle)[None, :, None]
    flat = cv2.remap(
        pixels_bgr,
        x.reshape(-1, len(offset)).astype(np.float32),
        y.reshape(-1, len(offset)).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(flat, np.uint8).reshape(shells, RAYS, len(offset), 3)


def _strength(strip: NDArray[np.uint8], sigma_samples: float) -> Floats:
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
    return np.asarray(np.sqrt(np.einsum("srnc,srnc->srn", change, change)), float)


def _fall(
    strips: NDArray[np.uint8], centre_rel: Floats, model: LinerModel, window: int
) -> Floats:
    """How well each sample parts shell (inside) from liner (outside), (S, RAYS, R), -1 to 1.

    Mean evidence for shell over ``window`` samples inside less that outside, smoothed over five
    rays, over its largest possible value.
    """
    at = centre_rel[:, None, None]
    voice = model.evidence(strips, at[..., 0], at[..., 1])
    shells, rays, samples = voice.shape
    step = np.concatenate([np.full(window, 1.0), [0.0], np.full(window, -1.0)])
    step /= 2 * window * LOUDEST
    fall = cv2.filter2D(
        voice.reshape(shells * rays, samples),
        -1,
        step[None].astype(np.float32),
        borderType=cv2.BORDER_REPLICATE,
    )
    fall = np.asarray(fall, float).reshape(shells, rays, samples)
    return np.asarray(np.mean([np.roll(fall, k, axis=1) for k in range(-2, 3)], axis=0), float)


def best_paths(score: NDArray[np.float32]) -> NDArray[np.intp]:
    """Closed path of the highest total score (S, RAYS), steps of at most two samples a ray.

    Viterbi's algorithm once and a half round the shell, so that the path closes on itself.
    """
    shells, rays, samples = score.shape
    count = rays + rays // 2
    near, far = np.float32(SLOPE_COST), np.float32(2 * SLOPE_COST)
    by_ray = np.ascontiguousarray(score.transpose(1, 0, 2))
    # best totals up to each ray, with room for steps beyond both ends of the band
    total = np.full((count, shells, samples + 4), -1e9, np.float32)
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
    each = np.arange(shells)[:, None]
    path = np.zeros((count, shells), np.intp)
    path[-1] = total[-1, :, 2:-2].argmax(axis=1)
    for ray in range(count - 1, 0, -1):
        options = total[ray - 1][each, path[ray][:, None] + 2 + steps] - cost
        path[ray - 1] = path[ray] + steps[options.argmax(axis=1)]
    quarter = rays // 4
    closed = np.roll(path[quarter : quarter + rays], quarter, axis=0)
    return closed.T


def _parabola(strength: Floats, path: NDArray[np.intp]) -> Floats:
    """Sub-sample place of the maximum next to ``path``, in samples."""
    index = np.clip(path, 1, strength.shape[2] - 2)
    grid = np.ix_(range(strength.shape[0]), range(strength.shape[1]))
    left, mid, right = (strength[grid[0], grid[1], index + k] for k in (-1, 0, 1))
    curve = left - 2 * mid + right
    shift = np.where(curve < -1e-9, 0.5 * (left - right) / np.minimum(curve, -1e-9), 0.0)
    return np.asarray(path + np.clip(shift, -1, 1), float)


def _band(
    pixels_bgr: NDArray[np.uint8],
    centre: Floats,
    radius: Floats,
    half_px: Floats,
    *,
    inside_px: Floats | None = None,
    model: LinerModel | None = None,
    outward: float = 1.0,
    loudest: float = np.inf,
) -> EdgeBand:
    """Edges within ``half_px`` (S,) of ``radius`` (S, RAYS), inside ``inside_px`` if given;
    ``model`` given: from shell to liner."""
    step_px = max(0.7, float(half_px.max()) / 40)
    reach = int(np.ceil(float(half_px.max()) / step_px))
    offset = np.asarray(np.arange(-reach, reach + 1) * step_px, float)
    strips = _strips(pixels_bgr, centre, radius, offset)
    strength = _strength(strips, EDGE_SIGMA_PX / step_px)
    typical = np.median(strength, axis=(1, 2), keepdims=True) + 0.3
    if inside_px is not None:  # the outer edge's own slope is no evidence for the cap's
        gap = (inside_px - radius)[:, :, None] - offset
        strength *= 1 - np.exp(-0.5 * (np.maximum(gap, 0) / OUTER_REACH_PX) ** 2)
    spread = NEAR_REL * half_px[:, None] * np.where(offset > 0, outward, 1.0)
    near = -0.5 * (offset / spread) ** 2
    score = np.log(np.clip(strength / typical, 0.1, loudest)) + near[:, None, :]
    if model is not None:
        size = pixels_bgr.shape[1], pixels_bgr.shape[0]
        window = max(2, round(WINDOW_REL * float(np.median(radius)) / step_px))
        score += FALL_WEIGHT * _fall(strips, centre / size, model, window)
    path = best_paths(score.astype(np.float32))
    place = _parabola(strength, path)
    peak = np.take_along_axis(strength, path[:, :, None], axis=2)[:, :, 0]
    found = radius + (place - reach) * step_px
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    direction = np.column_stack([np.cos(angle), np.sin(angle)])
    points = centre[:, None] + found[:, :, None] * direction
    noise = typical[:, :, 0]
    return EdgeBand(found, peak**2 / (peak**2 + noise**2), points)


def find_edges(
    pixels_bgr: NDArray[np.uint8],
    seeds: Sequence[Seed],
    finder_px: float,
    model: LinerModel | None = None,
) -> ShellEdges:
    """Outer and cap edges of the seeds.

    Parameters
    ----------
    pixels_bgr : ndarray of shape (height, width, 3), uint8
        The photo, frame px.
    seeds : sequence of Seed
        Shells to measure; at least one.
    finder_px : float
        Size, in px of the photo, of one px of the reduced picture the finder worked on.
    model : LinerModel, optional
        Colours of shell and liner: an edge with shell on both its sides, or liner, counts less.

    Returns
    -------
    ShellEdges
        Where a seed has no cap outline, its cap edges have weight 0.
    """
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    centre = np.array([s.centre_px for s in seeds], float)
    outer = np.array(
        [outline_radius(s.outline_px, c, angle) for s, c in zip(seeds, centre, strict=True)]
    )
    has_cap = np.array([s.cap_outline_px is not None for s in seeds])
    cap = np.array(
        [
            outline_radius(s.outline_px if s.cap_outline_px is None else s.cap_outline_px, c, angle)
            for s, c in zip(seeds, centre, strict=True)
        ]
    )
    size = outer.mean(axis=1, keepdims=True)
    expected = np.where(has_cap[:, None], cap + USUAL_FOOT_REL * size, outer)
    searched = np.clip(expected, outer, outer + MISSED_FOOT_REL * size)
    half = BAND_REL * outer.mean(axis=1) + BAND_FINDER_PX * finder_px
    outer_band = _band(
        pixels_bgr, centre, searched, half, model=model, outward=OUTWARD, loudest=LOUDEST_EDGE
    )
    inner = np.minimum(cap, outer)
    half = CAP_BAND_REL * outer.mean(axis=1) + BAND_FINDER_PX * finder_px
    cap_band = _band(pixels_bgr, centre, inner, half, inside_px=outer_band.radius_px)
    visible = outer - inner > VISIBLE_FOOT_REL * outer.mean(axis=1, keepdims=True)
    cap_weight = cap_band.weight * visible * has_cap[:, None]
    return ShellEdges(
        centre, angle, outer_band, EdgeBand(cap_band.radius_px, cap_weight, cap_band.points_px)
    )
