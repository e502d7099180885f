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

from petitpied.surface.cap_patch import CapPatches
from petitpied.surface.cracks_paths import STEP_MM, Line, arc_length, normals
from petitpied.surface.cracks_ridges import Ridges

Floats = NDArray[np.float64]

#: reach of a profile to either side, mm: the widest crack and as much again of cap beside it
REACH_MM = 2.4
STEP_ACROSS_MM = 0.1
#: middle of the profile, where a crack is dark, and the shoulders beside it, mm from the centre
MIDDLE_MM, SHOULDER_MM = 0.35, (0.9, 2.0)
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
)


@dataclass(frozen=True)
class Profiles:
    """Across one line: ``grey`` (N, M) and ``bgr`` (N, M, 3), 0 to 255, at ``offset_mm`` (M,)."""

    grey: Floats
    bgr: Floats
    offset_mm: Floats


def profiles(patches: CapPatches, lines: Sequence[Line]) -> list[Profiles]:
    """Profiles of all lines from the mosaic, sampled in one go."""
    count = round(REACH_MM / STEP_ACROSS_MM)
    offset_mm = np.arange(-count, count + 1) * STEP_ACROSS_MM
    places = []
    for line in lines:
        rows, cols = patches.window(line.cap)
        across = normals(line.path_px)
        start = line.path_px + np.array([cols.start, rows.start])
        reach = (offset_mm / patches.mm_per_px)[None, :, None]
        places.append((start[:, None] + reach * across[:, None]).astype(np.float32))
    every = np.concatenate(places)
    bgr: Any = cv2.remap(patches.mosaic_bgr, every, None, cv2.INTER_LINEAR)  # type: ignore[call-overload]
    cuts = np.cumsum([len(p) for p in places])[:-1]
    weights = np.array([0.114, 0.587, 0.299])  # ITU-R BT.601, as OpenCV's grey
    parts: Any = np.split(np.asarray(bgr, np.float64), cuts)
    offsets = np.asarray(offset_mm, np.float64)
    return [Profiles(part @ weights, part, offsets) for part in parts]


def evidence(patches: CapPatches, ridges: Ridges, lines: Sequence[Line]) -> Floats:
    """Evidence (L, len(EVIDENCE)) of each line."""
    if not lines:
        return np.zeros((0, len(EVIDENCE)))
    across = profiles(patches, lines)
    caps = _caps(patches, ridges, {line.cap for line in lines})
    lengths = np.array([line.length_mm(patches.mm_per_px) for line in lines])
    total = np.zeros(len(patches.caps))
    np.add.at(total, [line.cap for line in lines], lengths)
    rows = []
    for line, profile, length in zip(lines, across, lengths, strict=True):
        cap = caps[line.cap]
        depth = _depth_evidence(profile)
        values = {
            "log_length": np.log(max(length, 0.1)),
            **depth,
            "depth_noise": np.log(max(depth["depth"], 1e-3) / max(cap.floor, 1e-4)),
            **_answer_evidence(patches, ridges, line, cap),
            **_shape_evidence(patches, line),
            "others": np.log1p(total[line.cap] - length),
            "pieces": float(line.joined),
            "shade": np.log(np.median(profile.grey[:, [0, -1]]) / max(cap.median, 1.0) + 0.01),
        }
        rows.append([float(values[name]) for name in EVIDENCE])
    return np.array(rows)


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


def _depth_evidence(profile: Profiles) -> dict[str, float]:
    x, grey = profile.offset_mm, profile.grey
    middle = grey[:, np.abs(x) <= MIDDLE_MM].min(axis=1)
    low, high = SHOULDER_MM
    left = np.median(grey[:, (x <= -low) & (x >= -high)], axis=1)
    right = np.median(grey[:, (x >= low) & (x <= high)], axis=1)
    far = np.maximum((left + right) / 2, 4.0)
    depth = 1 - middle / far
    darker = 1 - middle / np.maximum(np.minimum(left, right), 4.0)
    near = grey[:, (np.abs(x) >= 0.4) & (np.abs(x) <= 1.2)].max(axis=1)
    width = half_widths(grey, x)
    spread = np.subtract(*np.percentile(width, (75, 25))) / max(float(np.median(width)), 0.1)
    bgr = profile.bgr + 3.0
    inner = bgr[:, np.abs(x) <= MIDDLE_MM].mean(axis=(0, 1))
    outer = bgr[:, (np.abs(x) >= low) & (np.abs(x) <= high)].mean(axis=(0, 1))
    dark = np.log(inner / outer)
    return {
        "depth": float(depth.mean()),
        "depth_low": float(np.percentile(depth, 20)),
        "depth_darker_side": float(darker.mean()),
        "depth_darker_side_low": float(np.percentile(darker, 20)),
        "step": float(np.abs((right - left).mean()) / max(float((far - middle).mean()), 1.0)),
        "unbroken": float((darker > 0.03).mean()),
        "width": float(np.median(width)),
        "width_spread": float(spread),
        "lip": float((near / far).mean() - 1),
        "red": float(dark[2] - dark[1]),
        "blue": float(dark[0] - dark[1]),
    }


def half_widths(grey: Floats, offset_mm: Floats) -> Floats:
    """Width (N,) of the dark middle of each profile (N, M) at half its depth, mm, below a sample.

    The depth counts from the darker of the two shoulders' medians (`SHOULDER_MM`), so that a step
    in the light beside a crack does not widen it.
    """
    low, high = SHOULDER_MM
    x = offset_mm
    left = np.median(grey[:, (x <= -low) & (x >= -high)], axis=1)
    right = np.median(grey[:, (x >= low) & (x <= high)], axis=1)
    core = np.flatnonzero(np.abs(x) <= MIDDLE_MM)
    bottom = core[grey[:, core].argmin(axis=1)]
    i = np.arange(len(grey))
    half = (np.minimum(left, right) + grey[i, bottom]) / 2
    return _crossing(grey, x, bottom, half, 1) + _crossing(grey, x, bottom, half, -1)


def _crossing(
    grey: Floats, x: Floats, bottom: NDArray[np.int64], level: Floats, side: int
) -> Floats:
    """Way (N,) from each profile's bottom to where it first rises over ``level`` on a side."""
    out = np.empty(len(grey))
    step = abs(float(x[1] - x[0]))
    for n in range(len(grey)):
        row = grey[n, bottom[n] :] if side > 0 else grey[n, bottom[n] :: -1]
        over = np.flatnonzero(row > level[n])
        if len(over) == 0 or over[0] == 0:
            out[n] = step * (len(row) - 1) if len(over) == 0 else 0.0
            continue
        k = int(over[0])
        part = (level[n] - row[k - 1]) / (row[k] - row[k - 1])
        out[n] = step * (k - 1 + part)
    return out


def _answer_evidence(
    patches: CapPatches, ridges: Ridges, line: Line, cap: _CapFacts
) -> dict[str, float]:
    rows, cols = patches.window(line.cap)
    at = np.round(line.path_px).astype(int) + np.array([cols.start, rows.start])
    at = np.clip(at, 0, np.array(ridges.answer.shape[::-1]) - 1)
    answer = ridges.answer[at[:, 1], at[:, 0]]
    median = float(np.median(answer))
    return {
        "answer": median,
        "answer_low": float(np.percentile(answer, 10)),
        "answer_cap": float(np.log((median + 1e-4) / (cap.high + 1e-4))),
    }


def _shape_evidence(patches: CapPatches, line: Line) -> dict[str, float]:
    path = line.path_px
    rows, cols = patches.window(line.cap)
    at = np.clip(np.round(path).astype(int), 0, patches.side_px - 1)
    inset = patches.inset_mm[rows, cols][at[:, 1], at[:, 0]]
    middle = (patches.side_px - 1) / 2
    out = path - middle
    out /= np.maximum(np.hypot(*out.T), 1e-6)[:, None]
    along = np.gradient(path, axis=0)
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    turn = np.angle(np.exp(1j * np.diff(np.arctan2(along[:, 1], along[:, 0]))))
    return {
        "straight": float(np.hypot(*(path[-1] - path[0])) / max(arc_length(path)[-1], 1e-6)),
        "turning": float(np.rad2deg(np.abs(turn).mean()) / STEP_MM) if len(turn) else 0.0,
        "rim": float(inset.mean() / patches.caps[line.cap].radius_mm),
        "rim_least": float(inset.min()),
        "rimwards": float(np.abs(along[:, 0] * out[:, 1] - along[:, 1] * out[:, 0]).mean()),
    }
