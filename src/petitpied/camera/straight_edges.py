"""Long straight edges of the tray (rim, floor, liner, mat, table) and what they say of the view.

Edges that are straight, parallel and square in life, at any height, pin the tilt by their
vanishing points and the lens distortion as plumb lines do (Brown, "Close-range camera
calibration", 1971). Each is only a witness of stated reliability: trays are straight and square
to about `STRAIGHT_SIGMA_MM`, and a witness that disagrees with the others loses its say.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.camera.view_slopes import plane_slopes
from petitpied.domain.view import View
from petitpied.numerics.medians import medians
from petitpied.photo.reduce import reduced

Floats = NDArray[np.float64]

#: long side, px, of the reduced copy that is searched for segments: on 53 traced trays 512 gave as
#: good diameters as 640 (0.108 against 0.110 mm), in two thirds of the time; 900 no better a tilt
SEARCH_SIZE_PX = 512
#: a segment longer than this share of the copy's long side may be part of a tray's edge
SEGMENT_REL = 0.04
#: an edge must be this long, relative to the shorter side of the picture
EDGE_REL = 0.45
#: segments of one edge lie within this of one line, relative to the picture's long side
OFFSET_REL = 0.004
#: tilt guesses are good to about a degree, trays are square to much less
SQUARE_DEG = 2.5
#: how straight, and how parallel over its length, an edge of a tray is: a standard
#: uncertainty of 0.25 mm over 400 mm (common practice, no source)
STRAIGHT_SIGMA_MM = 0.25
#: samples along an edge, and half width of the profile across it, px of the photo
SAMPLES, PROFILE_HALF_PX = 96, 9
#: residuals beyond this many sigmas hardly count (see `_bounded`)
WITNESS_SCALE = 2.0


@dataclass(frozen=True)
class StraightEdge:
    """Start, middle and end (3, 2) px of an edge's fitted parabola; direction class 0 or 1."""

    points_px: Floats
    direction: int


def _segments(grey: NDArray[np.uint8]) -> Floats:
    """Line segments (N, 2, 2) px of the photo (von Gioi et al., "LSD", 2010)."""
    factor = min(1.0, SEARCH_SIZE_PX / max(grey.shape))
    small = reduced(grey, (round(grey.shape[1] * factor), round(grey.shape[0] * factor)))
    lines = cv2.createLineSegmentDetector(cv2.LSD_REFINE_NONE).detect(small)[0]
    if lines is None:
        return np.zeros((0, 2, 2))
    ends = (np.asarray(lines, float).reshape(-1, 2, 2) + 0.5) / factor - 0.5
    length = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    return np.asarray(ends[length > SEGMENT_REL * max(grey.shape)], float)


def _main_angle(angle: Floats, length: Floats) -> float:
    """The angle, mod 90 degrees, with most length of segments within a degree of it."""
    around = (angle[:, None] - angle[None] + 45) % 90 - 45
    support = (length[None] * np.exp(-0.5 * around**2)).sum(axis=1)
    best = int(np.argmax(support))
    near = np.abs(around[:, best]) < SQUARE_DEG
    return float(angle[best] + np.average(around[near, best], weights=length[near]))


@dataclass(frozen=True)
class _Strip:
    """A line in the plane: unit direction, offset along the normal, extent along it, mm."""

    unit: Floats
    normal: Floats
    offset: float
    start: float
    stop: float


def _strips(ends_mm: Floats, angle_deg: float, tolerance_mm: float) -> list[_Strip]:
    """Group segments that lie on one line of direction ``angle_deg``."""
    along = ends_mm[:, 1] - ends_mm[:, 0]
    bearing = np.rad2deg(np.arctan2(along[:, 1], along[:, 0]))
    close = np.abs((bearing - angle_deg + 90) % 180 - 90) < SQUARE_DEG
    a = np.deg2rad(angle_deg)
    unit, normal = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
    chosen = ends_mm[close]
    if not len(chosen):
        return []
    offset = (chosen.mean(axis=1) @ normal).ravel()
    order = np.argsort(offset)
    groups = np.split(order, np.nonzero(np.diff(offset[order]) > tolerance_mm)[0] + 1)
    strips = []
    for group in groups:
        reach = chosen[group].reshape(-1, 2) @ unit
        weight = np.hypot(*(chosen[group, 1] - chosen[group, 0]).T)
        # at least half of the extent must be covered by segments
        if weight.sum() > 0.5 * np.ptp(reach):
            middle = float(np.average(offset[group], weights=weight))
            strips.append(_Strip(unit, normal, middle, float(reach.min()), float(reach.max())))
    return strips


def _slopes_across(grey: NDArray[np.uint8], ends_px: Floats) -> tuple[Floats, Floats, Floats]:
    """Change of brightness across each of E edges about ends (E, 2, 2): (E, SAMPLES, R), at
    distances (R,) along the normals (E, 2), px."""
    part = np.linspace(0.02, 0.98, SAMPLES)
    chord = ends_px[:, 1] - ends_px[:, 0]
    along = chord / np.hypot(chord[:, :1], chord[:, 1:])
    normal = np.column_stack([-along[:, 1], along[:, 0]])
    reach = np.arange(-PROFILE_HALF_PX - 2, PROFILE_HALF_PX + 2.01, 0.5)
    base = ends_px[:, 0, None] + part[:, None] * chord[:, None]
    x, y = (
        (base[..., axis, None] + reach * normal[:, axis, None, None]).astype(np.float32)
        for axis in (0, 1)
    )
    rows = (len(ends_px) * SAMPLES, len(reach))
    seen = cv2.remap(grey, x.reshape(rows), y.reshape(rows), cv2.INTER_LINEAR)
    profiles = np.asarray(seen, np.float32).reshape(x.shape)
    smooth = np.array([cv2.GaussianBlur(one, (7, 3), 1.5, sigmaY=0.7) for one in profiles])
    return np.asarray((smooth[:, :, 5:-3] - smooth[:, :, 3:-5]) / 2), reach[4:-4], normal


def _traces(grey: NDArray[np.uint8], ends_px: Floats) -> list[Floats | None]:
    """Start, middle, end (3, 2) of the edges near ends (E, 2, 2); None where one is no clear
    curve."""
    if not len(ends_px):
        return []
    slope, reach, normal = _slopes_across(grey, ends_px)
    steepest = np.abs(slope).argmax(axis=2)[..., None]
    slope = slope * np.sign(medians(np.take_along_axis(slope, steepest, axis=2)[..., 0]))[
        :, None, None
    ]
    peak = slope.argmax(axis=2)
    strong = np.take_along_axis(slope, peak[..., None], axis=2)[..., 0]
    offset, typical = reach[peak], medians(strong)[:, None]
    part = np.linspace(0.02, 0.98, SAMPLES)
    basis = np.vander(part, 3)
    products = (basis[:, :, None] * basis[:, None]).reshape(SAMPLES, 9)
    keep = strong > 0.35 * typical
    clear = np.ones(len(ends_px), bool)
    fit = np.zeros((len(ends_px), 3))
    for limit in (4.0, 2.0, 1.0):
        clear &= keep.sum(axis=1) >= SAMPLES // 2
        kept = keep[clear].astype(float)
        normals = (kept @ products).reshape(-1, 3, 3)
        fit[clear] = np.linalg.solve(normals, ((kept * offset[clear]) @ basis)[..., None])[..., 0]
        keep = (np.abs(offset - fit @ basis.T) < limit) & (strong > 0.25 * typical)
    clear &= keep.sum(axis=1) >= SAMPLES // 2
    three = np.array([part[0], 0.5, part[-1]])
    line = ends_px[:, :1] + three[:, None] * (ends_px[:, 1:] - ends_px[:, :1])
    points = line + (fit @ np.vander(three, 3).T)[..., None] * normal[:, None]
    return [own if seen else None for own, seen in zip(points, clear, strict=True)]


def find_straight_edges(grey: NDArray[np.uint8], view: View) -> tuple[StraightEdge, ...]:
    """Long edges in the two directions that most of the picture's segments share.

    Parameters
    ----------
    grey : ndarray of shape (height, width), uint8
        The photo.
    view : View
        A first view, good to a degree or two of tilt: used to tell directions apart only.
    """
    ends = _segments(grey)
    if len(ends) < 4:
        return ()
    plane = view.to_plane(ends.reshape(-1, 2)).reshape(-1, 2, 2)
    along = plane[:, 1] - plane[:, 0]
    length = np.hypot(*along.T)
    angle = _main_angle(np.rad2deg(np.arctan2(along[:, 1], along[:, 0])) % 90, length)
    height, width = grey.shape
    frame = view.to_plane(np.array([[0, 0], [width, 0], [width, height], [0, height]], float))
    sides = np.hypot(*(frame - np.roll(frame, 1, axis=0)).T)
    lines: list[Floats] = []
    directions: list[int] = []
    for direction, turn in enumerate((0.0, 90.0)):
        for strip in _strips(plane, angle + turn, OFFSET_REL * float(sides.max())):
            if strip.stop - strip.start < EDGE_REL * float(sides.min()):
                continue
            span = np.outer([strip.start, strip.stop], strip.unit)
            lines.append(span + strip.offset * strip.normal)
            directions.append(direction)
    places = view.project(np.array(lines).reshape(-1, 2)).reshape(-1, 2, 2)
    return tuple(
        StraightEdge(points, direction)
        for points, direction in zip(_traces(grey, places), directions, strict=True)
        if points is not None
    )


def _bounded(sigmas: Floats) -> Floats:
    """Residuals whose square is the Geman-McClure loss: bounded for a false witness."""
    return np.asarray(sigmas / np.sqrt(1 + (sigmas / WITNESS_SCALE) ** 2), float)


def _bounded_slope(sigmas: Floats) -> Floats:
    return np.asarray((1 + (sigmas / WITNESS_SCALE) ** 2) ** -1.5, float)


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0], float)


@dataclass(frozen=True)
class _Edges:
    """Edges in plan view: ``chord`` from start to end and ``out`` from its middle to the edge's
    (E, 2), ``length`` (E,), ``turn`` (E,) exp(4 i a) of the angle a from the own axis: axes at
    right angles and opposite directions count as one."""

    chord: Floats
    out: Floats
    length: Floats
    turn: NDArray[np.complex128]

    @property
    def common(self) -> np.complex128:
        """Sum of the turns by length: its angle is that of the frame that they share."""
        return np.complex128((self.length * self.turn).sum())

    def sigmas(self) -> Floats:
        """Sagittas, and angles from the common frame (2 E,), in sigmas.

        An edge that may be bowed by b over its length may be turned by 2 b over its length, and
        b is `STRAIGHT_SIGMA_MM` for 400 mm.
        """
        bow = _cross(self.chord, self.out) / self.length**2
        off = np.angle(self.turn / self.common) / 4
        return np.concatenate([bow, off / 2]) * (400 / STRAIGHT_SIGMA_MM)


class StraightnessEvidence:
    """Residuals, in sigmas, of edges that should be straight, parallel and square."""

    def __init__(self, edges: tuple[StraightEdge, ...]) -> None:
        self.points = np.concatenate([e.points_px for e in edges])
        self.square = np.array([e.direction for e in edges]) * np.pi / 2
        self._last: tuple[View, Floats] | None = None

    def _plane(self, view: View) -> Floats:
        """Places (3 E, 2) of the points on the liner; those of the last view are kept, since a
        fit asks for residuals and then for their slopes."""
        if self._last is None or self._last[0] is not view:
            self._last = view, view.to_plane(self.points)
        return self._last[1]

    def _edges(self, plane: Floats) -> _Edges:
        start, middle, end = np.moveaxis(plane.reshape(-1, 3, 2), 1, 0)
        chord = end - start
        angle = np.arctan2(chord[:, 1], chord[:, 0]) - self.square
        length = np.hypot(chord[:, 0], chord[:, 1])
        return _Edges(chord, middle - (start + end) / 2, length, np.exp(4j * angle))

    def __call__(self, view: View) -> Floats:
        """Two residuals an edge: sagitta, and angle from the common frame's axes."""
        return _bounded(self._edges(self._plane(view)).sigmas())

    def slopes(self, view: View) -> Floats:
        """Derivatives (2 E, 14) of the residuals by the view's parameters."""
        plane = self._plane(view)
        edges = self._edges(plane)
        moves = np.moveaxis(plane_slopes(view, plane), 2, 0).reshape(-1, len(self.square), 3, 2)
        start, middle, end = np.moveaxis(moves, 2, 0)
        chord, out = end - start, middle - (start + end) / 2
        squared = edges.length**2
        grown = (edges.chord * chord).sum(axis=-1)
        bow = _cross(chord, edges.out) + _cross(edges.chord, out)
        bow = (bow - 2 * _cross(edges.chord, edges.out) * grown / squared) / squared
        turned = _cross(edges.chord, chord) / squared
        together = ((grown / edges.length + 4j * edges.length * turned) * edges.turn).sum(axis=1)
        off = turned - np.imag(together / edges.common)[:, None] / 4
        slopes = np.concatenate([bow, off / 2], axis=1).T * (400 / STRAIGHT_SIGMA_MM)
        return np.asarray(slopes * _bounded_slope(edges.sigmas())[:, None], float)
