"""What a dark line looks like across and along: its evidence for or against being a crack.

Profiles are taken across the line in the patch picture, every `STEP_MM` along it. All evidence is
relative (to the cap beside the line, to the cap's own texture) or in mm, so that it means the same
on every flavour, light and scale.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.surface.caps.cap_patch import CapPatches
from petitpied.surface.cracks.paths import STEP_MM, Line, arc_length, directions, normals
from petitpied.surface.cracks.ridges import Ridges

Floats = NDArray[np.float64]

#: reach of a profile to either side, mm: the widest crack and as much again of cap beside it
REACH_MM = 2.4
STEP_ACROSS_MM = 0.1
#: middle of the profile, where a crack is dark, and the shoulders beside it, mm from the centre
MIDDLE_MM, SHOULDER_MM = 0.35, (0.9, 2.0)
#: width is judged at half the depth
HALF = 0.5
#: names of the evidence, in the order of `evidence`
EVIDENCE = (
    "log_length",  # of the length in mm
    "depth",  # how much darker the middle is than both shoulders: mean along the line
    "depth_low",  # 20th percentile along the line
    "depth_darker_side",  # against the darker shoulder only: a step has none
    "depth_darker_side_low",
    "step",  # difference of the shoulders over depth: a seam's step
    "depth_noise",  # depth over the cap's median answer
    "answer",  # median answer of the filter along the line
    "answer_low",  # 10th percentile
    "answer_cap",  # median answer over the cap's other places' 99th percentile
    "fade",  # depth at the two ends over depth in the middle: a sprinkle's ends are blunt
    "uneven",  # interquartile range of the depth along the line over it
    "unbroken",  # part of the line where the middle is darker than both shoulders
    "width",  # at half depth, mm, median along the line
    "width_spread",  # its interquartile range over it
    "lip",  # brightest of the near shoulders against the far ones
    "red",  # darkening of red against green, log ratio
    "blue",  # darkening of blue against green, log ratio
    "straight",  # distance of the ends over the length
    "turning",  # mean turn, degrees a mm
    "rim",  # mean distance to the rim over the cap's radius
    "rim_least",  # least distance to the rim, mm
    "rimwards",  # how much it runs along the rim: mean |cos| to the rim's direction
    "others",  # log of 1 + length of the other lines of the cap, mm
    "pieces",  # bridged pieces
    "shade",  # brightness of the surroundings over the cap's median
    # against what lies on a cap: sprinkles, beads, threads of chocolate
    "flat",  # width at 0.8 of the depth over that at 0.25: a bar's floor is flat
    "taper",  # width at the two ends over that in the middle
    "gloss",  # brightest of the middle above its bottom, over the depth: a highlight
    "gloss_high",  # its 85th percentile along the line
    "colour_uneven",  # scatter of the middle's log colour along the line
    "dark",  # log of the bottom over the darker shoulder, 20th percentile
    "edge",  # steepest step across over the depth
    "bright",  # brightest place near over the shoulders, 85th percentile
    "saturation",  # log ratio of strongest to weakest channel, middle against shoulders
    "hue",  # distance of the middle's colour from the shoulders', brightness apart
    "shadow",  # difference of the darkest places just beside, over the shoulders
    "width_high",  # 90th percentile of the width, mm
)
#: levels of the depth at which a floor's and a mouth's width are taken
FLOOR_LEVEL, MOUTH_LEVEL = 0.8, 0.25


@dataclass(frozen=True)
class Profiles:
    """Across all lines, one after the other: ``grey`` (N, M) and ``bgr`` (N, M, 3), 0 to 255, at
    ``offset_mm`` (M,); ``starts`` (L + 1,): where each line's profiles begin, and N."""

    grey: Floats
    bgr: NDArray[np.float32]
    offset_mm: Floats
    starts: NDArray[np.int64]

    def means(self, values: Floats) -> Floats:
        """Mean (L,) of values (N,) over each line."""
        return np.asarray(np.add.reduceat(values, self.starts[:-1]) / np.diff(self.starts), float)

    def quantiles(self, values: Floats, share: float) -> Floats:
        """Quantile (L,) of values (N,) over each line: the nearest lower one."""
        line = np.repeat(np.arange(len(self.starts) - 1), np.diff(self.starts))
        ordered = values[np.lexsort((values, line))]
        at = self.starts[:-1] + (share * (np.diff(self.starts) - 1)).astype(int)
        return np.asarray(ordered[at], float)


def profiles(patches: CapPatches, lines: Sequence[Line]) -> Profiles:
    """Profiles of all lines from the mosaic, sampled in one go."""
    count = round(REACH_MM / STEP_ACROSS_MM)
    offset_mm = np.arange(-count, count + 1) * STEP_ACROSS_MM
    middles, across = [], []
    for line in lines:
        rows, cols = patches.window(line.cap)
        middles.append(line.path_px + np.array([cols.start, rows.start]))
        across.append(normals(line.path_px))
    reach = (offset_mm / patches.mm_per_px)[None, :, None]
    places = np.concatenate(middles)[:, None] + reach * np.concatenate(across)[:, None]
    at: Any = places.astype(np.float32)
    bgr: Any = cv2.remap(patches.mosaic_bgr, at, None, cv2.INTER_LINEAR)  # type: ignore[call-overload]
    weights = np.array([0.114, 0.587, 0.299], np.float32)  # ITU-R BT.601, as OpenCV's grey
    bgr = bgr.astype(np.float32)
    starts = np.concatenate([[0], np.cumsum([len(m) for m in middles])])
    return Profiles(np.asarray(bgr @ weights, np.float64), bgr, np.asarray(offset_mm), starts)


def evidence(
    patches: CapPatches, ridges: Ridges, lines: Sequence[Line], across: Profiles
) -> Floats:
    """Evidence (L, len(EVIDENCE)) of each line (at least one) from the profiles of all."""
    caps = _caps(patches, ridges, {line.cap for line in lines})
    lengths = np.array([line.length_mm(patches.mm_per_px) for line in lines])
    total = np.zeros(len(patches.caps))
    np.add.at(total, [line.cap for line in lines], lengths)
    floor, high, median = (
        np.array([getattr(caps[line.cap], name) for line in lines])
        for name in ("floor", "high", "median")
    )
    depth = _depth_evidence(across)
    answer = _answer(patches, ridges, lines)
    around = across.quantiles(across.grey[:, [0, -1]].mean(axis=1), 0.5)
    values = {
        "log_length": np.log(np.maximum(lengths, 0.1)),
        **depth,
        "depth_noise": np.log(np.maximum(depth["depth"], 1e-3) / np.maximum(floor, 1e-4)),
        "answer": across.quantiles(answer, 0.5),
        "answer_low": across.quantiles(answer, 0.1),
        "answer_cap": np.log((across.quantiles(answer, 0.5) + 1e-4) / (high + 1e-4)),
        **_shape_evidence(patches, lines, across),
        "others": np.log1p(np.maximum(total[[line.cap for line in lines]] - lengths, 0)),
        "pieces": np.array([float(line.joined) for line in lines]),
        "shade": np.log(around / np.maximum(median, 1.0) + 0.01),
        **_topping_evidence(across),
    }
    return np.column_stack([values[name] for name in EVIDENCE])


@dataclass(frozen=True)
class _CapFacts:
    floor: float  # median answer
    high: float  # 99th percentile of the answer
    median: float  # brightness


def _caps(patches: CapPatches, ridges: Ridges, which: set[int]) -> dict[int, _CapFacts]:
    facts = {}
    for index in which:
        rows, cols = patches.window(index)
        window = (slice(rows.start, rows.stop, 3), slice(cols.start, cols.stop, 3))
        inside = patches.inside[window] > 0
        answer = ridges.answer[window][inside]
        bright = patches.mosaic_bgr[window][..., 1][inside]
        facts[index] = _CapFacts(
            float(ridges.floor[index]),
            float(np.percentile(answer, 97)),
            float(np.median(bright)),
        )
    return facts


def _depth_evidence(across: Profiles) -> dict[str, Floats]:
    x, grey = across.offset_mm, across.grey
    low, high = SHOULDER_MM
    core = np.abs(x) <= MIDDLE_MM
    middle = grey[:, core].min(axis=1)
    left, right = shoulders(grey, x)
    far = np.maximum((left + right) / 2, 4.0)
    depth = 1 - middle / far
    darker = 1 - middle / np.maximum(np.minimum(left, right), 4.0)
    near = grey[:, (np.abs(x) >= 0.4) & (np.abs(x) <= 1.2)].max(axis=1)
    width = level_widths(grey, x, HALF)
    usual = across.quantiles(width, 0.5)
    spread = across.quantiles(width, 0.75) - across.quantiles(width, 0.25)
    beside = (np.abs(x) >= low) & (np.abs(x) <= high)
    inner, outer = (
        np.column_stack([across.means(across.bgr[:, m, i].mean(axis=1)) for i in range(3)]) + 3.0
        for m in (core, beside)
    )
    dark = np.log(inner / outer)
    return {
        "depth": across.means(depth),
        "depth_low": across.quantiles(depth, 0.2),
        "depth_darker_side": across.means(darker),
        "depth_darker_side_low": across.quantiles(darker, 0.2),
        "step": np.abs(across.means(right - left)) / np.maximum(across.means(far - middle), 1.0),
        "fade": _at_ends(across, darker) / np.maximum(across.quantiles(darker, 0.5), 0.02),
        "uneven": (across.quantiles(darker, 0.75) - across.quantiles(darker, 0.25))
        / np.maximum(across.quantiles(darker, 0.5), 0.02),
        "unbroken": across.means((darker > 0.03).astype(float)),
        "width": usual,
        "width_spread": spread / np.maximum(usual, 0.1),
        "lip": across.means(near / far) - 1,
        "red": dark[:, 2] - dark[:, 1],
        "blue": dark[:, 0] - dark[:, 1],
    }


def _topping_evidence(across: Profiles) -> dict[str, Floats]:
    """Of something that lies on the cap: its own colour, a flat dark top, a highlight, a shadow
    beside it."""
    x, grey, bgr = across.offset_mm, across.grey, across.bgr

    def within(low: float, high: float) -> NDArray[np.bool_]:
        return np.asarray((np.abs(x) >= low) & (np.abs(x) <= high))

    left, right = shoulders(grey, x)
    top = np.maximum(np.minimum(left, right), 4.0)
    core = within(0.0, MIDDLE_MM)
    bottom = grey[:, core].min(axis=1)
    depth = np.maximum(top - bottom, 2.0)
    floor, half, mouth = (level_widths(grey, x, v) for v in (FLOOR_LEVEL, HALF, MOUTH_LEVEL))
    gloss = (grey[:, within(0.0, 0.25)].max(axis=1) - bottom) / depth
    middle = np.log(bgr[:, within(0.0, 0.15)].mean(axis=1) + 3.0).astype(float)
    scatter = [
        np.sqrt(np.maximum(across.means(c**2) - across.means(c) ** 2, 0.0)) for c in middle.T
    ]
    steepest = np.abs(np.diff(grey, axis=1))[:, np.abs(x[1:]) < 1.3].max(axis=1)
    near = grey[:, within(0.0, 1.2)].max(axis=1) / np.maximum((left + right) / 2, 4.0)
    inner, outer = (
        np.log(v + 3.0).astype(float)
        for v in (bgr[:, core].min(axis=1), bgr[:, within(*SHOULDER_MM)].mean(axis=1))
    )
    tint = (v - v.mean(axis=1, keepdims=True) for v in (inner, outer))
    beside = [grey[:, (s * x >= 0.5) & (s * x <= 1.3)].min(axis=1) for s in (-1, 1)]
    return {
        "flat": across.quantiles(floor / np.maximum(mouth, 0.1), 0.5),
        "taper": _at_ends(across, half) / np.maximum(across.quantiles(half, 0.5), 0.1),
        "gloss": across.quantiles(gloss, 0.5),
        "gloss_high": across.quantiles(gloss, 0.85),
        "colour_uneven": np.mean(scatter, axis=0),
        "dark": across.quantiles(np.log((bottom + 3) / (top + 3)), 0.2),
        "edge": across.quantiles(steepest / depth, 0.5),
        "bright": across.quantiles(near, 0.85),
        "saturation": across.means(np.ptp(inner, axis=1) - np.ptp(outer, axis=1)),
        "hue": across.means(np.linalg.norm(np.subtract(*tint), axis=1)),
        "shadow": np.abs(across.means((beside[1] - beside[0]) / top)),
        "width_high": across.quantiles(half, 0.9),
    }


def _at_ends(across: Profiles, values: Floats) -> Floats:
    """Mean (L,) of values (N,) over the three points at each end of each line."""
    first, last = across.starts[:-1], across.starts[1:] - 1
    reach = np.minimum(np.arange(3)[:, None], (last - first)[None] // 2)
    return np.asarray((values[first + reach] + values[last - reach]).mean(axis=0) / 2, float)


def shoulders(grey: Floats, offset_mm: Floats) -> tuple[Floats, Floats]:
    """Median brightness (N,) beside the middle of profiles (N, M), left and right."""
    low, high = SHOULDER_MM
    sides = (-offset_mm, offset_mm)
    left, right = (
        np.median(grey[:, (x >= low - 1e-9) & (x <= high + 1e-9)], axis=1) for x in sides
    )
    return left, right


def level_widths(grey: Floats, offset_mm: Floats, level: float) -> Floats:
    """Width (N,) of the dark middle of each profile (N, M) at a part ``level`` of its depth below
    the shoulders, mm, below a sample.

    The depth counts from the darker of the two shoulders' medians (`SHOULDER_MM`), so that a step
    in the light beside a crack does not widen it.
    """
    left, right = shoulders(grey, offset_mm)
    core = np.flatnonzero(np.abs(offset_mm) <= MIDDLE_MM + 1e-9)
    bottom = core[grey[:, core].argmin(axis=1)]
    top = np.minimum(left, right)
    line = top - level * (top - grey[np.arange(len(grey)), bottom])
    step = float(offset_mm[1] - offset_mm[0])
    above = grey > line[:, None]
    right_way = _way_up(grey, above, line, bottom)
    count = grey.shape[1] - 1
    left_way = _way_up(grey[:, ::-1], above[:, ::-1], line, count - bottom)
    return step * (right_way + left_way)


def _way_up(
    grey: Floats, above: NDArray[np.bool_], line: Floats, bottom: NDArray[np.int64]
) -> Floats:
    """Samples (N,) from each profile's bottom rightwards to where it first rises over ``line``."""
    index = np.arange(grey.shape[1])
    beyond = above & (index > bottom[:, None])
    first = np.where(beyond.any(axis=1), beyond.argmax(axis=1), grey.shape[1] - 1)
    i = np.arange(len(grey))
    high, low = grey[i, first], grey[i, first - 1]
    part = np.where(high > low, (line - low) / np.where(high > low, high - low, 1.0), 1.0)
    return np.asarray(first - 1 + np.clip(part, 0, 1) - bottom, np.float64)


def _answer(patches: CapPatches, ridges: Ridges, lines: Sequence[Line]) -> Floats:
    """Filter's answer (N,) at every point of the lines."""
    places = []
    for line in lines:
        rows, cols = patches.window(line.cap)
        places.append(np.round(line.path_px).astype(int) + np.array([cols.start, rows.start]))
    x, y = np.clip(np.concatenate(places), 0, np.array(ridges.answer.shape[::-1]) - 1).T
    return np.asarray(ridges.answer[y, x], float)


def _shape_evidence(
    patches: CapPatches, lines: Sequence[Line], across: Profiles
) -> dict[str, Floats]:
    middle = (patches.side_px - 1) / 2
    inset, turn, rimwards = [], [], []
    for line in lines:
        rows, cols = patches.window(line.cap)
        x, y = np.clip(np.round(line.path_px).astype(int), 0, patches.side_px - 1).T
        inset.append(patches.inset_mm[rows, cols][y, x])
        along = directions(line.path_px)
        out = line.path_px - middle
        cross = along[:, 0] * out[:, 1] - along[:, 1] * out[:, 0]
        rimwards.append(np.abs(cross) / np.maximum(np.hypot(out[:, 0], out[:, 1]), 1e-6))
        bend = along[:-1, 0] * along[1:, 1] - along[:-1, 1] * along[1:, 0]
        turn.append(np.append(np.abs(np.arcsin(np.clip(bend, -1, 1))), 0.0))
    every = np.concatenate(inset).astype(float)
    radius = np.array([patches.caps[line.cap].radius_mm for line in lines])
    ends = np.array([np.hypot(*(line.path_px[-1] - line.path_px[0])) for line in lines])
    length = np.array([max(arc_length(line.path_px)[-1], 1e-6) for line in lines])
    return {
        "straight": ends / length,
        "turning": np.rad2deg(across.means(np.concatenate(turn))) / STEP_MM,
        "rim": across.means(every) / radius,
        "rim_least": across.quantiles(every, 0.0),
        "rimwards": across.means(np.concatenate(rimwards)),
    }
