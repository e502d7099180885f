"""From a closed outline in plan view to its size and shape numbers."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError

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
    polygon = _checked(outline_mm)
    area, centroid = _area_and_centroid(polygon)
    shortest, longest = _ferets(polygon)
    spectrum = _smoothed_spectrum(polygon)
    radius = np.fft.irfft(spectrum, ANGLES)
    rate = np.fft.irfft(1j * np.arange(len(spectrum)) * spectrum, ANGLES)
    perimeter = float(np.hypot(radius, rate).mean() * 2 * np.pi)
    smoothed_area = float(np.pi * (radius**2).mean())
    spectrum[:2] = 0
    deviation = 4 * np.fft.irfft(spectrum, 4 * ANGLES)  # peaks between the angles count
    return OutlineSize(
        diameter_mm=float(np.sqrt(4 * area / np.pi)),
        feret_min_mm=shortest,
        feret_max_mm=longest,
        aspect_ratio=shortest / longest,
        circularity=min(1.0, float(np.sqrt(4 * np.pi * smoothed_area) / perimeter)),
        roundness_mm=float(np.ptp(deviation)),
        centroid_mm=(float(centroid[0]), float(centroid[1])),
        perimeter_mm=perimeter,
        area_mm2=area,
    )


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


def _area_and_centroid(polygon: Floats) -> tuple[float, Floats]:
    """Area (positive) and area centroid (2,) of a simple polygon (N, 2)."""
    origin = polygon.mean(axis=0)
    a = polygon - origin
    b = np.roll(a, -1, axis=0)
    cross = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    twice = float(cross.sum())
    if twice == 0:
        raise ValueError("the outline has no area")
    return abs(twice) / 2, origin + cross @ (a + b) / (3 * twice)


def _ferets(polygon: Floats) -> tuple[float, float]:
    """Smallest and largest caliper width, exact, by rotating calipers on the convex hull: one
    jaw lies on an edge at the smallest (Freeman & Shapira 1975), two vertices touch the jaws
    at the largest (Shamos 1978)."""
    try:
        hull = polygon[ConvexHull(polygon).vertices]  # counter-clockwise
    except QhullError as fault:
        raise ValueError("the outline has no area") from fault
    count = len(hull)
    edge = np.roll(hull, -1, axis=0) - hull
    heading = np.arctan2(edge[:, 1], edge[:, 0])
    heading = np.remainder(heading - heading[0], 2 * np.pi)
    heading[0] = 0.0
    opposite = np.searchsorted(np.concatenate([heading, heading + 2 * np.pi]), heading + np.pi)
    # the vertex farthest from each edge, and its neighbours, where rounding decides a tie
    near = hull[(opposite[:, None] + np.array([-1, 0, 1])) % count] - hull[:, None]
    across = edge[:, None, 0] * near[..., 1] - edge[:, None, 1] * near[..., 0]
    widths = across.max(axis=1) / np.hypot(edge[:, 0], edge[:, 1])
    spans = np.hypot(near[..., 0], near[..., 1])
    return float(widths.min()), float(spans.max())


def _smoothed_spectrum(polygon: Floats) -> NDArray[np.complex128]:
    """Fourier coefficients, orders 0 to 15 of `ANGLES` radii about the LSC centre.

    The centre is the least-squares circle's of evenly spaced radii, not of the vertices,
    which may crowd where the outline was traced finely.
    """
    centre = _area_and_centroid(polygon)[1]
    for _ in range(8):  # each round leaves of order 1 a share of about roundness / radius
        spectrum = np.fft.rfft(radii_about(polygon, centre, ANGLES))[: UNDULATIONS + 1]
        shift = 2 / ANGLES * np.array([spectrum[1].real, -spectrum[1].imag])
        if np.hypot(*shift) < 1e-6 * spectrum[0].real / ANGLES:  # 20 nm on a shell
            break
        centre = centre + shift
    return np.asarray(spectrum, complex)


def radii_about(polygon: Floats, centre: Floats, count: int) -> Floats:
    """Radius (count,) of a polygon (N, 2) along rays from ``centre``, at even angles from +x
    towards +y. A fold of the outline is read in order of angle.

    Raises
    ------
    ValueError
        If the polygon does not run once around the centre.
    """
    away = polygon - centre
    angle, radius = np.arctan2(away[:, 1], away[:, 0]), np.hypot(away[:, 0], away[:, 1])
    turned = np.diff(angle, append=angle[:1])
    turned -= 2 * np.pi * np.round(turned / (2 * np.pi))
    if abs(abs(float(turned.sum())) - 2 * np.pi) > 1e-6 or radius.min() <= 0:
        raise ValueError("the outline does not run once around its centre")
    order = np.argsort(angle)
    angle, radius = angle[order], radius[order]
    ray = np.arange(count) * (2 * np.pi / count)
    ray[ray > np.pi] -= 2 * np.pi
    after = np.searchsorted(angle, ray)
    before = after - 1
    after = after % len(angle)
    from_before = np.remainder(ray - angle[before], 2 * np.pi)
    to_after = np.remainder(angle[after] - ray, 2 * np.pi)
    r0, r1 = radius[before], radius[after]
    # where the ray crosses the chord between two vertices; vertices at one angle: the first
    below = r0 * np.sin(from_before) + r1 * np.sin(to_after)
    flat = from_before + to_after < 1e-12
    crossing = r0 * r1 * np.sin(from_before + to_after) / np.where(flat, 1.0, below)
    return np.asarray(np.where(flat, r0, crossing), float)


def ring_points(ring: Ring, count: int) -> Floats:
    """The ring's vertices (count, 2), as `Ring.points_mm`, by inverse FFT (many rings a photo)."""
    orders = len(ring.cos_mm)
    if count < 2 * (orders + 2):
        raise ValueError(f"count must be at least {2 * (orders + 2)}, got {count}")
    spectrum = np.zeros(count // 2 + 1, complex)
    spectrum[0] = ring.radius_mm * count
    spectrum[2 : 2 + orders] = (ring.cos_mm - 1j * ring.sin_mm) * (count / 2)
    t = np.arange(count) * (2 * np.pi / count)
    radius = np.fft.irfft(spectrum, count)
    return np.column_stack(
        [ring.centre_mm[0] + radius * np.cos(t), ring.centre_mm[1] + radius * np.sin(t)]
    )


def union_outline(a: Ring, b: Ring, count: int = ANGLES) -> Floats:
    """Plan-view outline (count, 2), mm, of two overlapping star-shaped rings together.

    The larger of both radii at even angles about the middle of the two centres; the rings'
    heights play no part (orthographic view from above).

    Raises
    ------
    ValueError
        If the middle lies outside one of the rings.
    """
    middle = (np.array(a.centre_mm) + np.array(b.centre_mm)) / 2
    # twice as fine as asked for, so that reading between vertices costs a quarter as much
    radius = np.maximum(
        radii_about(ring_points(a, 2 * count), middle, count),
        radii_about(ring_points(b, 2 * count), middle, count),
    )
    t = np.arange(count) * (2 * np.pi / count)
    return np.asarray(middle + radius[:, None] * np.column_stack([np.cos(t), np.sin(t)]), float)


def ring_centroid(ring: Ring) -> Floats:
    """Area centroid (2,) mm of the ring; differs from its centre by products of its orders."""
    return _area_and_centroid(ring_points(ring, ANGLES))[1]
