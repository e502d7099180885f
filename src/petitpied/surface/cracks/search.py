"""Cracks in the caps of one photo: dark lines found, followed, judged, measured."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.quantity import Quantity
from petitpied.domain.surface import Crack, CrackKind
from petitpied.surface.caps.cap_patch import CapPatches
from petitpied.surface.cracks.paths import Line, centred, find_lines, smoothed
from petitpied.surface.cracks.profile import evidence, profiles
from petitpied.surface.cracks.ridges import SIGMA_PX, Ridges, find_ridges, strong_answer
from petitpied.surface.cracks.strips import strip_features
from petitpied.surface.cracks.verdict import verdicts
from petitpied.surface.cracks.width import BLUR_PX, widths

Floats = NDArray[np.float64]

#: shorter ones are not told: pinholes and specks are as long
LEAST_LENGTH_MM = 3.0
#: verdict from which a line is a crack: the rim's own shade scores up to 0.75 (TUNING.md)
CRACK_SCORE = 0.8
#: a crack's two walls may both look like lines: the lesser one within this of the other is a wall
WALL_MM = 2.0
#: where a crack's tapering end is lost, each end; a rectangular doubt of about twice the finest
#: visible width's run-out on the tuning scenes
END_U_MM = 0.5
#: a centre line's crookedness below the smoothing, relative to its length
CROOKED_U_REL = 0.05
#: contrast of the faintest crack that "smallest width" speaks of: nine in ten cracks of the tuning
#: scenes are darker by more
FAINT_REL = 0.3


@dataclass(frozen=True)
class CapCracks:
    """Cracks of each cap, in the patches' order, the confidence of its likeliest dark line,
    told or not (0: no line), and the smallest crack width that this photo can show."""

    cracks: tuple[tuple[Crack, ...], ...]
    likeliest: tuple[float, ...]
    smallest_width_mm: Quantity


def find_cracks(
    pixels_bgr: NDArray[np.uint8], patches: CapPatches, least_score: float | None = None
) -> CapCracks:
    """All cracks in the caps of ``patches``, which show ``pixels_bgr``: lines that the judge
    gives ``least_score`` (else `CRACK_SCORE`).

    Lengths are of the centre line in plan view, longer than `LEAST_LENGTH_MM`; uncertainties are
    own only (the scale's share is the caller's to add).
    """
    ridges = find_ridges(patches)
    valley = smoothed(ridges.valley) if ridges.numbers else ridges.valley
    lines = [centred(patches, valley, line) for line in find_lines(patches, ridges)]
    lines = [li for li in lines if li.length_mm(patches.mm_per_px) >= LEAST_LENGTH_MM]
    scores = _scores(patches, ridges, lines)
    least = CRACK_SCORE if least_score is None else least_score
    good = [(s, line) for s, line in zip(scores, lines, strict=True) if s >= least]
    likeliest = [0.0] * len(patches.caps)
    for score, line in zip(scores, lines, strict=True):
        likeliest[line.cap] = max(likeliest[line.cap], round(float(score), 3))
    kept = _without_walls(good, patches.mm_per_px)
    opened = widths(pixels_bgr, patches, [line for _, line in kept])
    cracks: list[list[Crack]] = [[] for _ in patches.caps]
    for (score, line), width in zip(kept, opened, strict=True):
        cracks[line.cap].append(
            Crack(
                patches.to_photo_px(line.cap, line.path_px),
                _length(line, patches.mm_per_px),
                width,
                crack_kind(patches, line),
                round(float(score), 3),
            )
        )
    width = smallest_width(patches, ridges)
    return CapCracks(tuple(map(tuple, cracks)), tuple(likeliest), width)


def _scores(patches: CapPatches, ridges: Ridges, lines: Sequence[Line]) -> Floats:
    """How surely each line is a crack, 0 to 1."""
    if not lines:
        return np.zeros(0)
    across = profiles(patches, lines)
    return verdicts(evidence(patches, ridges, lines, across), strip_features(across))


def _length(line: Line, mm_per_px: float) -> Quantity:
    length = line.length_mm(mm_per_px)
    return Quantity(length, float(np.hypot(np.sqrt(2) * END_U_MM, CROOKED_U_REL * length)))


def _without_walls(
    lines: Sequence[tuple[float, Line]], mm_per_px: float
) -> list[tuple[float, Line]]:
    """The lines, longest first, less those that mostly run beside a longer one."""
    kept: list[tuple[float, Line]] = []
    for score, line in sorted(lines, key=lambda pair: -pair[1].length_mm(mm_per_px)):
        if not any(_beside(line, other, mm_per_px) for _, other in kept):
            kept.append((score, line))
    return kept


def _beside(line: Line, other: Line, mm_per_px: float) -> bool:
    if line.cap != other.cap:
        return False
    gap = line.path_px[:, None] - other.path_px[None]
    near = np.hypot(gap[..., 0], gap[..., 1]).min(axis=1) * mm_per_px < WALL_MM
    return bool(near.mean() > 0.5)


def crack_kind(patches: CapPatches, line: Line) -> CrackKind:
    """Shoulder: runs mostly along the rim in the outer half; across: passes the middle between its
    ends; else radial."""
    out = (line.path_px - (patches.side_px - 1) / 2) * patches.mm_per_px
    reach = np.hypot(*out.T)
    radius = patches.caps[line.cap].radius_mm
    along = np.gradient(out, axis=0)
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    way = out / np.maximum(reach, 1e-6)[:, None]
    rimwards = float(np.abs(along[:, 0] * way[:, 1] - along[:, 1] * way[:, 0]).mean())
    if reach.mean() > 0.5 * radius and rimwards > 0.7:
        return "shoulder"
    least = int(reach.argmin())
    ends = min(reach[0], reach[-1])
    inner = 0 < least < len(reach) - 1 and ends - reach[least] > 0.1 * radius
    return "across" if inner or reach.mean() < 0.3 * radius else "radial"


def smallest_width(patches: CapPatches, ridges: Ridges) -> Quantity:
    """Width of the narrowest crack, darker than the cap by `FAINT_REL`, that the search begins on.

    A bar of width w and contrast c, blurred to sigma_t in all, answers with sigma^2 c w / (sqrt(2
    pi) sigma_t^3); that must reach the threshold, which the cap's own texture and noise set. Median
    over the caps, its spread as the uncertainty; never under half a photo pixel.
    """
    mm = patches.mm_per_px
    px_per_mm = np.array([patches.view.px_per_mm(cap.centre_mm) for cap in patches.caps])
    blur_px = BLUR_PX / px_per_mm / mm
    total = np.sqrt(blur_px**2 + SIGMA_PX**2)
    need = np.array([strong_answer(float(floor)) for floor in ridges.floor])
    width = need * np.sqrt(2 * np.pi) * total**3 / (SIGMA_PX**2 * FAINT_REL) * mm
    width = np.maximum(width, 0.5 / px_per_mm)
    spread = float(width.std()) + 0.1 * float(np.median(width))
    return Quantity(float(np.median(width)), spread)
