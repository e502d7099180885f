"""Parts of the tray that the photo does not show: washed out by a reflection, black, unlike liner
and shells alike, or unsharp. Shells may be missing there, and edges that run through them lie."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Seed

Floats = NDArray[np.float64]
Masks = NDArray[np.bool_]

#: long side of the grid that is looked at, points
GRID = 640
#: white at its limit in every channel, and black, of 8 bits. Paper in a well exposed photo has 240
#: and less, a black mat 12 and more (traced and real trays looked at)
WASHED_OUT, BLACK = 252, 4
#: a part is at least this large, relative to a shell's area, outside of the shells that were found,
#: and this wide, relative to a shell's diameter: smaller ones are glints and gaps
LEAST_AREA_REL, LEAST_WIDTH_REL = 0.35, 0.25
#: more of an outline than this in such a part: its size is doubtful; than the larger: not measured
DOUBTFUL_REL, UNMEASURED_REL = 0.02, 0.12
#: profiles across outlines: from so far inside to so far outside, relative to the radius; rays
PROFILE_REL, PROFILE_RAYS, PROFILE_SAMPLES = 0.22, 24, 33
#: an outline is unsharp if its edges are this many times as wide as the tray's, and that many px
#: wider (a part of a photo that is out of focus, or a drop of fat on the lens)
UNSHARP_TIMES, UNSHARP_PX, FEWEST_SHARP = 2.0, 4.0, 6

#: a photo's parts in words, by rows and columns
PLACES = (
    ("at the upper left", "at the top", "at the upper right"),
    ("at the left", "in the middle", "at the right"),
    ("at the lower left", "at the bottom", "at the lower right"),
)


@dataclass(frozen=True)
class LostPart:
    """``what``: in words; ``place``: where in the photo, in words; ``share_rel``: of the tray."""

    what: str
    place: str
    share_rel: float


@dataclass(frozen=True)
class LostParts:
    """The parts, where they are on a grid (rows, columns) over the photo, and its step, px."""

    parts: tuple[LostPart, ...]
    mask: Masks
    step_px: int

    def share(self, outline_px: Floats) -> float:
        """How much of an outline (N, 2) lies in them."""
        if not self.parts:
            return 0.0
        rows, columns = self.mask.shape
        at = np.rint(outline_px / self.step_px).astype(int)
        return float(self.mask[at[:, 1].clip(0, rows - 1), at[:, 0].clip(0, columns - 1)].mean())


def lost_parts(pixels_bgr: NDArray[np.uint8], seeds: Sequence[Seed]) -> LostParts:
    """Washed-out and black parts of the tray about the shells found, in a photo (H, W, 3)."""
    step = max(1, max(pixels_bgr.shape[:2]) // GRID)
    few = np.ascontiguousarray(pixels_bgr[::step, ::step])
    nothing = LostParts((), np.zeros(few.shape[:2], bool), step)
    if not seeds:
        return nothing
    outlines = [np.asarray(seed.outline_px / step, np.float32) for seed in seeds]
    areas = [abs(cv2.contourArea(outline)) for outline in outlines]
    diameter = 2 * float(np.sqrt(np.median(areas) / np.pi))
    least = LEAST_AREA_REL * np.pi / 4 * diameter**2
    masks = [
        (mask, what)
        for mask, what in (
            (cv2.inRange(few, (WASHED_OUT,) * 3, (255,) * 3), "washed out"),
            (cv2.inRange(few, (0,) * 3, (BLACK,) * 3), "black"),
        )
        if cv2.countNonZero(mask) >= least
    ]
    if not masks:
        return nothing
    tray, shells = _tray(few.shape[:2], outlines, diameter), _filled(few.shape[:2], outlines)
    parts, lost = [], nothing.mask.copy()
    wide = max(3, round(LEAST_WIDTH_REL * diameter)) | 1
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (wide, wide))
    for mask, what in masks:
        wide_enough = cv2.morphologyEx(mask, cv2.MORPH_OPEN, brush)
        count, label = cv2.connectedComponents(wide_enough)
        for number in range(1, count):
            own = label == number
            beside = int((own & tray & ~shells).sum())
            if beside < least:
                continue
            lost |= own
            share = float((own & tray).sum() / max(tray.sum(), 1))
            parts.append(LostPart(what, _place(own & tray), share))
    return LostParts(tuple(parts), lost, step)


def _filled(shape: tuple[int, ...], outlines: Sequence[NDArray[np.float32]]) -> Masks:
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.rint(outline).astype(np.int32) for outline in outlines], 1)
    return np.asarray(mask > 0, bool)


def _tray(
    shape: tuple[int, ...], outlines: Sequence[NDArray[np.float32]], diameter: float
) -> Masks:
    """Where shells may be: the smallest rectangle, at any turn, about those that were found, and
    half a shell more."""
    middle, size, turn = cv2.minAreaRect(np.concatenate(outlines))
    grown = (size[0] + diameter, size[1] + diameter)
    corners = cv2.boxPoints((middle, grown, turn))
    return _filled(shape, [np.asarray(corners, np.float32)])


def _place(mask: Masks) -> str:
    """Where a part's middle lies in the photo, by thirds."""
    y, x = np.nonzero(mask)
    rows, columns = mask.shape
    return PLACES[min(2, int(3 * y.mean() / rows))][min(2, int(3 * x.mean() / columns))]


def edge_widths_px(pixels_bgr: NDArray[np.uint8], outlines_px: Sequence[Floats]) -> Floats:
    """How wide the edge along each outline is (S,): contrast over the steepest slope, the median
    of the rays that have contrast; nan where few have."""
    widths = np.full(len(outlines_px), np.nan)
    reach = np.linspace(-PROFILE_REL, PROFILE_REL, PROFILE_SAMPLES)
    lines, steps = [], np.zeros(len(outlines_px))
    for k, outline in enumerate(outlines_px):
        some = outline[np.linspace(0, len(outline) - 1, PROFILE_RAYS).astype(int)]
        middle = outline.mean(axis=0)
        arm = some - middle
        lines.append(middle + arm[:, None] * (1 + reach)[:, None])
        steps[k] = float(np.hypot(*arm.T).mean()) * (reach[1] - reach[0])
    if not lines:
        return widths
    at = np.concatenate(lines).astype(np.float32)
    seen = cv2.remap(pixels_bgr, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
    green = np.asarray(seen)[..., 1].astype(np.float32)
    profiles = green.reshape(len(outlines_px), PROFILE_RAYS, PROFILE_SAMPLES)
    contrast = np.percentile(profiles, 90, axis=2) - np.percentile(profiles, 10, axis=2)
    slope = np.abs(np.diff(profiles, axis=2)).max(axis=2)
    for k in range(len(widths)):
        clear = contrast[k] > 12
        if clear.sum() >= PROFILE_RAYS // 3:
            widths[k] = steps[k] * float(np.median(contrast[k][clear] / slope[k][clear]))
    return widths


def unsharp(widths_px: Floats) -> Masks:
    """Which outlines (S,) are unsharp beside the tray's others."""
    known = widths_px[np.isfinite(widths_px)]
    if len(known) < FEWEST_SHARP:
        return np.zeros(len(widths_px), bool)
    usual = float(np.percentile(known, 25))
    wide = np.nan_to_num(widths_px, nan=0.0)
    return np.asarray((wide > UNSHARP_TIMES * usual) & (wide > usual + UNSHARP_PX), bool)
