"""A plain ID-1 card (a bank card) beside the printed one: how large is the print truly?

ISO/IEC 7810 fixes ID-1 at 85.60 x 53.98 mm. In the plane that the printed card spans, two pairs
of parallel edges at about these distances, square to each other, are looked for; their distances
in the print's own millimetres give its scale.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain import card
from petitpied.domain.errors import CardError
from petitpied.domain.quantity import Quantity
from petitpied.domain.view import View

Floats = NDArray[np.float64]

SIDES_MM = (card.WIDTH_MM, card.HEIGHT_MM)
#: thickness of an ID-1 card (ISO/IEC 7810: 0.76 mm nominal); a printed page is some 0.1 mm
ID1_THICKNESS_MM, PAGE_THICKNESS_MM = 0.76, 0.1
#: print scales looked for
SCALES = (0.88, 1.12)
#: the plane is resampled at this and searched as far from the printed card
PX_PER_MM, REACH_MM = 6.0, 130.0
#: a side shows an edge over at least this share of its straight part
SIDE_SEEN_REL = 0.45
PARALLEL_DEG, SQUARE_DEG = 2.0, 2.0
#: standard uncertainty of a distance of two edges: which of the card's upper and lower edge is
#: seen, and its rounding, mm; and limits of ISO/IEC 7810 on the sides (85.47 to 85.72 mm)
EDGE_U_MM, SIZE_U_MM = 0.12, 0.07
#: sides that tell scales this much apart are not those of one ID-1 card
AGREE_REL = 0.012


@dataclass(frozen=True)
class _Line:
    """A straight edge in the plane: middle, unit direction, half length, mm."""

    middle: Floats
    unit: Floats
    half: float

    @property
    def normal(self) -> Floats:
        return np.array([-self.unit[1], self.unit[0]])


def print_scale_by_id1(grey: NDArray[np.uint8], view: View, middle_mm: Floats) -> Quantity:
    """Printed size over nominal size, with its standard uncertainty.

    Parameters
    ----------
    grey : ndarray of shape (height, width), uint8
    view : View
        Of the printed card taken at its nominal size, z = 0 on the table.
    middle_mm : ndarray of shape (2,)
        Middle of the printed card.

    Raises
    ------
    CardError
        No ID-1 card beside it, or an unclear one.
    """
    flat, corner = _resampled(grey, view, middle_mm)
    lines = _segments(flat, corner)
    best = _rectangle(lines, middle_mm)
    if best is None:
        raise CardError(
            what="no ID-1 card found beside the printed card",
            why=f"no plain rectangle of about {SIDES_MM[0]:.2f} x {SIDES_MM[1]:.2f} mm can be seen",
            next_step="lay a bank card right beside the printed card, wholly in view and on a "
            "ground of another colour, and photograph both from straight above; or give the "
            "measured bar with --bar",
        )
    distances = [_distance(flat, corner, *pair) for pair in best]
    scales = [side / seen for side, seen in zip(SIDES_MM, distances, strict=True)]
    if abs(scales[0] / scales[1] - 1) > AGREE_REL:
        raise CardError(
            what="the card beside the printed one is no plain ID-1 card",
            why=f"it measures {distances[0]:.1f} x {distances[1]:.1f} mm by the print "
            "and its sides tell different scales",
            next_step="use a bank card without a holder, lying flat, photographed from straight "
            "above; or give the measured bar with --bar",
        )
    weight = np.array(SIDES_MM) ** 2
    u_rel = np.hypot(EDGE_U_MM, SIZE_U_MM) / np.hypot(*SIDES_MM)
    scale = float((weight * scales).sum() / weight.sum())
    return Quantity(scale, float(np.hypot(u_rel, abs(scales[0] - scales[1]) / 2)) * scale)


def _resampled(grey: NDArray[np.uint8], view: View, middle: Floats) -> tuple[Floats, Floats]:
    """The plane of the ID-1 card's face about the printed card, and its corner's place, mm."""
    count = round(2 * REACH_MM * PX_PER_MM)
    corner = middle - REACH_MM
    steps = np.arange(0, count, 8)
    x, y = np.meshgrid(steps, steps)
    at = np.column_stack([x.ravel(), y.ravel()]) / PX_PER_MM + corner
    seen = view.project(at, ID1_THICKNESS_MM).reshape(len(steps), len(steps), 2)
    fine = cv2.resize(
        seen.astype(np.float32), (len(steps) * 8, len(steps) * 8), interpolation=cv2.INTER_LINEAR
    )
    # `resize` puts node i at 8 i + 3.5: moved back, so that pixel j is at j / PX_PER_MM
    shift = np.array([[1, 0, -3.5], [0, 1, -3.5]])
    fine = cv2.warpAffine(fine, shift, (count, count), borderMode=cv2.BORDER_REPLICATE)
    flat = cv2.remap(grey, fine, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)  # type: ignore[call-overload]
    return np.asarray(flat), corner


def _segments(flat: Floats, corner: Floats) -> list[_Line]:
    """Straight edges of at least a quarter of the shorter side."""
    found = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD).detect(flat.astype(np.uint8))[0]
    if found is None:
        return []
    ends = np.asarray(found, float).reshape(-1, 2, 2) / PX_PER_MM + corner
    lines = []
    for start, end in ends:
        length = float(np.hypot(*(end - start)))
        if length > 0.25 * SIDES_MM[1]:
            lines.append(_Line((start + end) / 2, (end - start) / length, length / 2))
    return sorted(lines, key=lambda line: -line.half)[:120]


def _pairs(lines: Sequence[_Line], gap_mm: float, side_mm: float) -> list[tuple[_Line, _Line]]:
    """Parallel edges about ``gap_mm`` apart that face each other over a side of ``side_mm``."""
    low, high = gap_mm / SCALES[1], gap_mm / SCALES[0]
    pairs = []
    for i, one in enumerate(lines):
        for two in lines[i + 1 :]:
            if abs(float(one.normal @ two.unit)) > np.sin(np.deg2rad(PARALLEL_DEG)):
                continue
            across = two.middle - one.middle
            gap, slip = abs(float(across @ one.normal)), abs(float(across @ one.unit))
            if low < gap < high and slip < side_mm / 2 and min(one.half, two.half) < side_mm:
                pairs.append((one, two))
    return pairs


def _rectangle(
    lines: Sequence[_Line], printed: Floats
) -> tuple[tuple[_Line, _Line], tuple[_Line, _Line]] | None:
    """The pairs that bound the length and the width of an ID-1 card, longest edges first."""
    best, score = None, 0.0
    pairs = product(
        _pairs(lines, SIDES_MM[0], SIDES_MM[1]), _pairs(lines, SIDES_MM[1], SIDES_MM[0])
    )
    for ends, sides in pairs:
        if abs(float(ends[0].unit @ sides[0].unit)) > np.sin(np.deg2rad(SQUARE_DEG)):
            continue
        length = abs(float((ends[1].middle - ends[0].middle) @ ends[0].normal))
        width = abs(float((sides[1].middle - sides[0].middle) @ sides[0].normal))
        if abs(length / width * SIDES_MM[1] / SIDES_MM[0] - 1) > 2 * AGREE_REL:
            continue
        middle = _middle(ends, sides)
        if np.hypot(*(middle - printed)) < SIDES_MM[1] / 2:  # the printed card's own outline
            continue
        seen = [min(1.0, 2 * line.half / width) for line in ends]
        seen += [min(1.0, 2 * line.half / length) for line in sides]
        off = [abs(float((e.middle - middle) @ e.unit)) / width for e in ends]
        off += [abs(float((s.middle - middle) @ s.unit)) / length for s in sides]
        if max(off) > 0.5 or min(seen) < 0.25 or np.mean(seen) < SIDE_SEEN_REL:
            continue
        if np.mean(seen) > score:
            best, score = (ends, sides), float(np.mean(seen))
    return best


def _middle(ends: tuple[_Line, _Line], sides: tuple[_Line, _Line]) -> Floats:
    """Where the middle lines of the two pairs cross."""
    normals = np.array([ends[0].normal, sides[0].normal])
    offsets = [np.mean([line.middle @ n for line in pair])
               for pair, n in zip((ends, sides), normals, strict=True)]  # fmt: skip
    return np.asarray(np.linalg.solve(normals, offsets), float)


def _distance(flat: Floats, corner: Floats, one: _Line, two: _Line) -> float:
    """Distance of two parallel edges, mm, each placed to sub-pixel and robustly fitted."""
    unit = one.unit + two.unit * np.sign(one.unit @ two.unit)
    unit = unit / np.hypot(*unit)
    normal = np.array([-unit[1], unit[0]])
    return abs(_offset(flat, corner, two, normal) - _offset(flat, corner, one, normal))


def _offset(flat: Floats, corner: Floats, line: _Line, normal: Floats) -> float:
    along = np.linspace(-0.85, 0.85, 60) * line.half
    reach = np.arange(-1.5, 1.51, 1 / (2 * PX_PER_MM))
    at = line.middle + along[:, None, None] * line.unit + reach[None, :, None] * normal
    where = ((at - corner) * PX_PER_MM).astype(np.float32)
    profile = cv2.remap(flat, where[..., 0], where[..., 1], cv2.INTER_LINEAR).astype(float)
    slope = np.abs(np.gradient(profile, axis=1))
    near = slope * (slope > 0.5 * slope.max(axis=1, keepdims=True))
    place = (near * reach).sum(axis=1) / np.maximum(near.sum(axis=1), 1e-9)
    return float(line.middle @ normal + np.median(place))
