"""From a closed outline in plan view to its size and shape numbers."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Ring

Floats = NDArray[np.float64]

#: highest order kept of the outline's Fourier series, in undulations per revolution
#: (15 UPR, one of the filter limits of ISO 12181-2; design of this tool)
UNDULATIONS = 15
#: angles on which outlines are resampled: 24 for each period of the highest order kept
ANGLES = 24 * UNDULATIONS
#: fewest vertices that can carry a 15th undulation's shape at least in part
MIN_VERTICES = 16


@dataclass(frozen=True, slots=True)
class Circle:
    """Centre (x, y) and radius; the unit is that of the points it was fitted to."""

    centre_mm: tuple[float, float]
    radius_mm: float


@dataclass(frozen=True, slots=True)
class OutlineSize:
    """Size and shape of one outline; lengths in the unit of its vertices, named mm.

    Definitions in `measure_outline`.
    """

    diameter_mm: float
    feret_min_mm: float
    feret_max_mm: float
    aspect_ratio: float
    circularity: float
    roundness_mm: float
    centroid_mm: tuple[float, float]
    perimeter_mm: float
    area_mm2: float


def least_squares_circle(points: Floats) -> Circle:
    """Circle with the smallest sum of squared radial distances to points (N, 2), N >= 3.

    Start: linear fit of ``x^2 + y^2`` about the points' mean (Kasa 1976); then
    Gauss-Newton on the radial distances with Levenberg's damping, as in Gander, Golub &
    Strebel, BIT 34 (1994) 558.

    Raises
    ------
    ValueError
        If the shape is another or the points lie on one line.
    """
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < 3:
        raise ValueError(f"points must have shape (N >= 3, 2), got {points.shape}")
    mean = points.mean(axis=0)
    spread = float(np.sqrt(((points - mean) ** 2).sum(axis=1).mean()))
    # 1e-9: six decimals above rounding in double precision; a curve flatter than that has
    # a radius beyond 10^8 times the points' spread
    if spread == 0 or np.linalg.svd((points - mean) / spread, compute_uv=False)[1] < 1e-9:
        raise ValueError("points on one line have no least-squares circle")
    p = (points - mean) / spread
    system = np.column_stack([2 * p, np.ones(len(p))])
    a, b, c = np.linalg.lstsq(system, (p**2).sum(axis=1), rcond=None)[0]
    state = _radial_gauss_newton(p, np.array([a, b, np.sqrt(c + a * a + b * b)]))
    centre = mean + spread * state[:2]
    return Circle((float(centre[0]), float(centre[1])), float(spread * state[2]))


def _radial_gauss_newton(p: Floats, start: Floats) -> Floats:
    """Minimise sum of (distance to (a, b) - r)^2 over (a, b, r); points of unit spread."""
    state, damping = start, 0.0
    residual, slope = _radial_residual(p, state)
    for _ in range(100):
        normal = slope.T @ slope
        step = np.linalg.lstsq(normal + damping * np.eye(3), -slope.T @ residual, rcond=None)[0]
        tried, tried_slope = _radial_residual(p, state + step)
        # 1e-12: steps below 1e-6 change the sum by less than its rounding; let them pass
        if tried @ tried > residual @ residual * (1 + 1e-12):
            damping = max(10 * damping, 1e-3)
            continue
        state, residual, slope, damping = state + step, tried, tried_slope, damping / 10
        if float(np.abs(step).max()) < 1e-13 * max(1.0, float(state[2])):
            break
    return state


def _radial_residual(p: Floats, state: Floats) -> tuple[Floats, Floats]:
    away = p - state[:2]
    distance = np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-300)
    slope = np.column_stack([-away / distance[:, None], -np.ones(len(p))])
    return distance - state[2], slope


def measure_outline(outline_mm: Floats) -> OutlineSize:
    """Size and shape of one closed outline.

    Parameters
    ----------
    outline_mm : ndarray of shape (N, 2)
        Vertices (x, y) in order, any frame of the plane, millimetres; N >= 16. A repeated
        last vertex is dropped. The outline is the polygon through the vertices.

    Returns
    -------
    OutlineSize
        ``area_mm2`` and ``centroid_mm`` of the polygon; ``diameter_mm`` of the circle with
        its area, ``sqrt(4 A / pi)`` (ISO 9276-6); ``feret_min_mm`` and ``feret_max_mm``,
        smallest and largest caliper width of its convex hull, exact; ``aspect_ratio`` is
        min / max (ISO 9276-6). The rest is of the smoothed outline: radius against angle
        about the least-squares circle's centre, cut sharply after the 15th undulation:
        ``perimeter_mm``; ``circularity`` ``sqrt(4 pi A / P^2)`` (ISO 9276-6) with area and
        perimeter of that same curve, so that it is 1 for a circle and never above;
        ``roundness_mm``, largest minus smallest radial deviation from the least-squares
        circle (ISO 12181, LSC), orders 2 to 15.

    Raises
    ------
    ValueError
        If the shape is another, the area is zero, or the outline does not run once around
        its least-squares centre.
    """
    return measure_outlines(_checked(outline_mm)[None])[0]


def measure_outlines(outlines_mm: Floats) -> tuple[OutlineSize, ...]:
    """`measure_outline` of many outlines (S, N, 2) at once, without a repeated last vertex."""
    area, centroid = areas_and_centroids(outlines_mm)
    spectrum = _smoothed_spectra(outlines_mm, centroid)
    radius = np.fft.irfft(spectrum, ANGLES)
    rate = np.fft.irfft(1j * np.arange(spectrum.shape[1]) * spectrum, ANGLES)
    perimeter = np.hypot(radius, rate).mean(axis=1) * 2 * np.pi
    round_perimeter = np.sqrt(4 * np.pi * np.pi * (radius**2).mean(axis=1))
    spectrum[:, :2] = 0
    deviation = 4 * np.fft.irfft(spectrum, 4 * ANGLES)  # peaks between the angles count
    roundness = np.ptp(deviation, axis=1)
    sizes = []
    for index, (shortest, longest) in enumerate(_ferets(outlines_mm).tolist()):
        sizes.append(
            OutlineSize(
                diameter_mm=float(np.sqrt(4 * area[index] / np.pi)),
                feret_min_mm=shortest,
                feret_max_mm=longest,
                aspect_ratio=shortest / longest,
                circularity=min(1.0, float(round_perimeter[index] / perimeter[index])),
                roundness_mm=float(roundness[index]),
                centroid_mm=(float(centroid[index, 0]), float(centroid[index, 1])),
                perimeter_mm=float(perimeter[index]),
                area_mm2=float(area[index]),
            )
        )
    return tuple(sizes)


def _checked(outline_mm: Floats) -> Floats:
    if outline_mm.ndim != 2 or outline_mm.shape[1] != 2:
        raise ValueError(f"outline_mm must have shape (N >= 16, 2), got {outline_mm.shape}")
    if not np.isfinite(outline_mm).all():
        raise ValueError("outline_mm holds values that are not finite")
    polygon = np.asarray(outline_mm, float)
    if len(polygon) > 1 and np.array_equal(polygon[0], polygon[-1]):
        polygon = polygon[:-1]
    if len(polygon) < MIN_VERTICES:
        raise ValueError(f"outline_mm must have shape (N >= 16, 2), got {outline_mm.shape}")
    return polygon


def areas_and_centroids(polygons: Floats) -> tuple[Floats, Floats]:
    """Areas (S,), positive, and area centroids (S, 2) of simple polygons (S, N, 2).

    Raises
    ------
    ValueError
        If one has no area.
    """
    origin = polygons.mean(axis=1)
    a = polygons - origin[:, None]
    b = np.roll(a, -1, axis=1)
    cross = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    twice = cross.sum(axis=1)
    if (twice == 0).any():
        raise ValueError("the outline has no area")
    moment = np.einsum("sn,sni->si", cross, a + b)
    return np.abs(twice) / 2, origin + moment / (3 * twice[:, None])


def _ferets(polygons: Floats) -> Floats:
    """Smallest and largest caliper width (S, 2) of polygons (S, N, 2), exact, by rotating
    calipers on the convex hulls: one jaw lies on an edge at the smallest (Freeman & Shapira
    1975), two vertices touch the jaws at the largest (Shamos 1978)."""
    # the hulls are sought in single precision: small numbers
    single = (polygons - polygons.mean(axis=1, keepdims=True)).astype(np.float32)
    corners = [np.ravel(cv2.convexHull(one, returnPoints=False)) for one in single]
    count = np.array([len(own) for own in corners])
    if (count < 3).any():
        raise ValueError("the outline has no area")
    # all hulls one after the other, counter-clockwise: where each corner's hull starts (C,)
    which = np.repeat(np.arange(len(polygons)), count)
    first = np.cumsum(count) - count
    start, stop = first[which], (first + count)[which]
    x, y = polygons[which, np.concatenate(corners)].T.copy()
    after, before = np.arange(1, len(x) + 1), np.arange(-1, len(x) - 1)
    after[first + count - 1], before[first] = first, first + count - 1
    edge_x, edge_y = x[after] - x, y[after] - y
    # from edge to edge a hull turns one way, but by rounding to single precision it may dent a
    # little: what is sought in must rise all the same
    last_x, last_y = edge_x[before], edge_y[before]
    turn = np.arctan2(last_x * edge_y - last_y * edge_x, last_x * edge_x + last_y * edge_y)
    heading = np.cumsum(np.maximum(turn, 0.0))
    heading -= heading[start]
    # the first edge of each hull that is turned by half a turn or more against each edge
    half_on = heading + np.pi
    half_on[half_on > 2 * np.pi] -= 2 * np.pi
    stretch = 8.0 * which
    opposite = np.searchsorted(heading + stretch, half_on + stretch)
    # the vertex farthest from each edge, and its neighbours, where rounding decides a tie
    across, span_squared = np.zeros(len(x)), np.zeros(len(x))
    for step in (-1, 0, 1):
        at = opposite + step
        at += np.where(at >= stop, start - stop, np.where(at < start, stop - start, 0))
        away_x, away_y = x[at] - x, y[at] - y
        np.maximum(across, edge_x * away_y - edge_y * away_x, out=across)
        np.maximum(span_squared, away_x * away_x + away_y * away_y, out=span_squared)
    widths = across / np.sqrt(edge_x * edge_x + edge_y * edge_y)
    longest = np.sqrt(np.maximum.reduceat(span_squared, first))
    return np.column_stack([np.minimum.reduceat(widths, first), longest])


def _smoothed_spectra(polygons: Floats, centres: Floats) -> NDArray[np.complex128]:
    """Fourier coefficients (S, 16), orders 0 to 15 of `ANGLES` radii about the LSC centres.

    The centre is the least-squares circle's of evenly spaced radii, not of the vertices,
    which may crowd where the outline was traced finely.
    """
    for _ in range(8):  # each round leaves of order 1 a share of about roundness / radius
        radius = radii_about_each(polygons, centres, ANGLES)
        spectrum = np.fft.rfft(radius)[:, : UNDULATIONS + 1]
        first = spectrum[:, 1]
        shift = 2 / ANGLES * np.column_stack([first.real, -first.imag])
        # 20 nm on a shell
        if (np.hypot(*shift.T) < 1e-6 * spectrum[:, 0].real / ANGLES).all():
            break
        centres = centres + shift
    return np.asarray(spectrum, complex)


def radii_about(polygon: Floats, centre: Floats, count: int) -> Floats:
    """Radius (count,) of a polygon (N, 2) along rays from ``centre``, at even angles from +x
    towards +y. A fold of the outline is read in order of angle.

    Raises
    ------
    ValueError
        If the polygon does not run once around the centre.
    """
    return np.asarray(radii_about_each(polygon[None], np.reshape(centre, (1, 2)), count)[0], float)


def radii_about_each(polygons: Floats, centres: Floats, count: int) -> Floats:
    """`radii_about` (S, count) of many polygons (S, N, 2), each about its centre (S, 2)."""
    shells, vertices = polygons.shape[:2]
    x, y = (polygons[..., axis] - centres[:, axis, None] for axis in (0, 1))
    angle = np.arctan2(y, x)
    turned = np.diff(angle, axis=1, append=angle[:, :1])
    turned -= 2 * np.pi * np.round(turned / (2 * np.pi))
    once = np.abs(np.abs(turned.sum(axis=1)) - 2 * np.pi) <= 1e-6
    if not once.all() or not (x * x + y * y).all():
        raise ValueError("the outline does not run once around its centre")
    if not (turned > 0).all():
        order = np.argsort(angle, axis=1)
        x, y, angle = (np.take_along_axis(own, order, axis=1) for own in (x, y, angle))
    # angles from the first vertex on, which so rise from vertex to vertex
    ray = np.arange(count) * (2 * np.pi / count)
    first = angle[:, :1].copy()
    angle -= first
    angle[angle < 0] += 2 * np.pi
    turn = np.remainder(ray - first, 2 * np.pi)
    # one search for all: each shell's angles on a stretch of the number line of its own
    row = np.arange(shells)[:, None]
    after = np.searchsorted((angle + 8.0 * row).ravel(), (turn + 8.0 * row).ravel())
    after = after.reshape(shells, count) - vertices * row
    start = np.maximum(after - 1, 0) + vertices * row  # no ray stands before the first vertex
    # where the ray crosses the chord from a vertex to the next
    along_x, along_y = np.roll(x, -1, axis=1) - x, np.roll(y, -1, axis=1) - y
    swept = x * along_y - y * along_x
    x, y, along_x, along_y, swept = (a.ravel().take(start) for a in (x, y, along_x, along_y, swept))
    below = np.cos(ray) * along_y - np.sin(ray) * along_x
    # vertices at one angle: the first
    flat = np.abs(swept) < 1e-12 * (x * x + y * y)
    crossing = swept / np.where(flat, 1.0, below)
    return np.asarray(np.where(flat, np.hypot(x, y), crossing) if flat.any() else crossing, float)


def mean_radii(curves: Floats, centres: Floats) -> Floats:
    """Mean radii (S,), over even angles about ``centres`` (S, 2), of smooth closed curves given by
    points (S, N, 2) at even steps of their parameter.

    The radius integrated over the angle, as an integral over the parameter of a periodic smooth
    function: the mean over the points, next to exact.

    Raises
    ------
    ValueError
        If a curve does not run once around its centre.
    """
    away = (curves - centres[:, None]).view(complex)[..., 0]
    count = away.shape[1]
    order = np.fft.fftfreq(count, 1 / count)
    rate = np.fft.ifft(1j * order * np.fft.fft(away, axis=1), axis=1)
    swept = away.real * rate.imag - away.imag * rate.real
    squared = away.real**2 + away.imag**2
    if not squared.all() or (np.abs((swept / squared).mean(axis=1) - 1) > 1e-6).any():
        raise ValueError("the outline does not run once around its centre")
    return np.asarray((swept / np.sqrt(squared)).mean(axis=1), float)


def ring_points(ring: Ring, count: int) -> Floats:
    """The ring's vertices (count, 2), as `Ring.points_mm`, by inverse FFT (many rings a photo)."""
    return np.asarray(rings_points([ring], count)[0], float)


def rings_points(rings: Sequence[Ring], count: int) -> Floats:
    """`ring_points` of many rings: (S, count, 2)."""
    spectrum = np.zeros((len(rings), count // 2 + 1), complex)
    for row, ring in zip(spectrum, rings, strict=True):
        orders = len(ring.cos_mm)
        if count < 2 * (orders + 2):
            raise ValueError(f"count must be at least {2 * (orders + 2)}, got {count}")
        row[0] = ring.radius_mm * count
        row[2 : 2 + orders] = (ring.cos_mm - 1j * ring.sin_mm) * (count / 2)
    centre = np.array([ring.centre_mm for ring in rings]).reshape(-1, 1, 2)
    return _around(centre, np.fft.irfft(spectrum, count))


def _around(centre: Floats, radius: Floats) -> Floats:
    """Points (S, N, 2) at radii (S, N) and even angles about centres (S, 1, 2)."""
    t = np.arange(radius.shape[1]) * (2 * np.pi / radius.shape[1])
    return np.asarray(centre + radius[..., None] * np.column_stack([np.cos(t), np.sin(t)]), float)


def union_outline(a: Ring, b: Ring, count: int = ANGLES) -> Floats:
    """Plan-view outline (count, 2), mm, of two overlapping star-shaped rings together.

    The larger of both radii at even angles about the middle of the two centres; the rings'
    heights play no part (orthographic view from above).

    Raises
    ------
    ValueError
        If the middle lies outside one of the rings.
    """
    first, second = (rings_points([ring], 2 * count) for ring in (a, b))
    middle = np.add(a.centre_mm, b.centre_mm)[None] / 2
    return np.asarray(union_outlines(first, second, middle)[0], float)


def union_outlines(first: Floats, second: Floats, middles: Floats) -> Floats:
    """`union_outline` (S, N, 2) of many pairs of rings, given by 2 N points each (S, 2 N, 2),
    about middles (S, 2): twice as fine, so that reading between vertices costs a quarter as
    much."""
    count = first.shape[1] // 2
    radius = np.maximum(
        radii_about_each(first, middles, count), radii_about_each(second, middles, count)
    )
    return _around(middles[:, None], radius)


def ring_centroid(ring: Ring) -> Floats:
    """Area centroid (2,) mm of the ring; differs from its centre by products of its orders."""
    return np.asarray(areas_and_centroids(rings_points([ring], ANGLES))[1][0], float)
