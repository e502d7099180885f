"""Each shell as two rings, foot and cap rim, at their heights under the known view.

Edge points are taken from the photo to the plane at a ring's own height, so that a ring is
fitted where it is, in plan view, and a cap rim seen from the side is not mistaken for a bigger
shell. The outer edge belongs, ray by ray, to the ring that reaches farther out in the picture.
Each ring's radius is a Fourier series fitted by ridge regression with Cauchy weights (Holland &
Welsch 1977); the ridge is a prior on the size of the harmonics, and carries a ring over arcs
that the photo does not show.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Ring
from petitpied.domain.view import View
from petitpied.vision.edges import OUTER_REACH_PX, ShellEdges
from petitpied.vision.ring_geometry import Geometry, Rings, Seen

Floats = NDArray[np.float64]

#: highest harmonic: the outline is judged to 15 undulations (ISO 12181); a cap is smooth
FOOT_ORDER, CAP_ORDER = 15, 7
#: prior of a cap's harmonic k, relative to the radius: HARMONIC_REL / (k - 1)^1.5; of a foot's
#: against its cap's: FOOT_HARMONIC_REL / (k - 1), never under RUFFLE_REL. From out-of-round
#: shells of the tuning scenes (1.5 to 3 %, feet uneven by half as much).
HARMONIC_REL, FOOT_HARMONIC_REL, RUFFLE_REL = 0.03, 0.012, 0.004
#: prior of the foot's place and size about the cap, relative to the cap's radius
LEAN_REL, SPREAD_REL, SPREAD_SIGMA_REL = 0.03, 0.05, 0.05
#: a foot shows on a ray if the outer edge is this much beyond the cap's edge, relative to the
#: radius: twice the scatter of single edges on tuning scenes (0.2 mm on 22 mm)
SHOWS_REL = 0.018
#: an outer edge within this of the cap's silhouette is the cap's, relative to the radius: the
#: scatter of single edges
EXPLAINED_REL = 0.008
#: slant (tangent of the view's angle) from which a rim 3 mm above the foot hides 0.3 mm of it
HIDING_SLANT = 0.1
#: a foot is at least this wide somewhere, relative to the radius (0.65 mm on 22 mm)
FOOT_WIDTH_REL = 0.03
#: rounds of parting the edges between the rings and fitting, first and at better heights; on the
#: shared trays 7 and 2, 4 or 7 rounds gave diameters of 0.146, 0.122 and 0.110 mm root mean
#: square, these 0.112: rings of leaning feet settle slowly
ROUNDS, ROUNDS_AGAIN = 6, 6
#: with less than this share of rays showing a foot, it is not measured
FEWEST_SHOWING_REL = 0.12
#: neighbouring rays share ruffles and smoothing: one independent value every four rays
RAYS_A_VALUE = 4.0
#: edge scatter below this does not lower the weight of a ray (relative to the radius)
SCATTER_FLOOR_REL = 0.003
CAUCHY_SCALE = 2.385


@dataclass(frozen=True)
class Heights:
    """Heights above the liner, mm, and standard uncertainties: shared by the tray's shells.

    Defaults are common practice for a 35 to 50 mm shell, no source.
    """

    cap_rim_mm: float = 4.7
    foot_mm: float = 1.7  # where the foot is widest
    top_mm: float = 12.5
    cap_rim_u_mm: float = 0.8
    foot_u_mm: float = 0.4
    top_u_mm: float = 1.5
    bare_rim_mm: float = 1.2  # rim of a shell without foot: its cap stands on the liner
    bare_top_mm: float = 6.5
    source: str = "default"


@dataclass(frozen=True)
class FittedRings:
    """Two-ring fits of S shells; world frame, plan view, mm.

    ``foot`` is None where no foot shows. ``radius_u_mm`` is the standard uncertainty of the
    mean radius from edge scatter; ``centre_u_mm`` of each coordinate of the centre; ``shows``
    the share of rays on which the foot shows; ``scatter_mm`` the robust spread of the edge
    points about their ring.
    """

    cap: tuple[Ring, ...]
    foot: tuple[Ring | None, ...]
    cap_radius_u_mm: Floats
    foot_radius_u_mm: Floats
    cap_centre_u_mm: Floats
    foot_centre_u_mm: Floats
    shows_rel: Floats
    scatter_mm: Floats


def _scatter(residual: Floats, weight: Floats, radius: Floats) -> Floats:
    """Robust standard deviation a shell (S,) of residuals (S, N) that count."""
    counts = weight > 0
    number = counts.sum(axis=1)
    # those that do not count sort behind all others
    rising = np.sort(np.where(counts, np.abs(residual), np.inf), axis=1)
    each, half = np.arange(len(rising)), number // 2
    median = (rising[each, np.maximum(number - 1, 0) // 2] + rising[each, half]) / 2
    spread = np.where(number >= 8, 1.4826 * median, 1.4826 * 0.01 * radius)
    return np.maximum(spread, SCATTER_FLOOR_REL * radius)


@dataclass(frozen=True)
class _Update:
    ring: Rings
    normal: Floats  # (S, P, P), inverse of the covariance
    scatter: Floats  # (S,)


@dataclass(frozen=True)
class _Prior:
    """Normal prior of S rings: radius and centre shift (S, 3), harmonics (S, 2, K - 1) and
    their precisions (S, 3), (S, 2 (K - 1))."""

    target: Floats
    precision: Floats
    harmonics: Floats
    harmonic_precision: Floats


def _cap_prior(ring: Rings) -> _Prior:
    """No say in size and place; harmonics small."""
    shells, _, count = ring.harmonics.shape
    sigma = HARMONIC_REL / np.arange(1, count + 1) ** 1.5 * ring.radius[:, None]
    none = np.zeros((shells, 3))
    return _Prior(none, none, np.zeros_like(ring.harmonics), np.tile(1 / sigma**2, (1, 2)))


def _foot_prior(foot: Rings, cap: Rings) -> _Prior:
    """A foot goes round its cap, with its shape, a little wider, not far off its middle."""
    shells, _, count = foot.harmonics.shape
    radius = cap.radius[:, None]
    sigma = np.array([SPREAD_SIGMA_REL, LEAN_REL, LEAN_REL]) * radius
    target = np.column_stack([cap.radius * (1 + SPREAD_REL), cap.centre - foot.centre])
    k = np.arange(1, count + 1)
    harmonic = np.maximum(FOOT_HARMONIC_REL / k, RUFFLE_REL) * radius
    like_cap = np.zeros((shells, 2, count))
    like_cap[:, :, : cap.harmonics.shape[2]] = cap.harmonics
    return _Prior(target, 1 / sigma**2, like_cap, np.tile(1 / harmonic**2, (1, 2)))


def _step(
    ring: Rings,
    seen: Seen,
    weight: Floats,
    less: Floats,
    prior: _Prior,
) -> _Update:
    """One weighted ridge step. ``less`` (S, N) is taken off the points' reach."""
    order = 1 + ring.harmonics.shape[2]
    reach = seen.reach - less
    residual = reach - seen.radius
    scatter = _scatter(residual, weight, ring.radius)
    w = weight / (1 + (residual / (CAUCHY_SCALE * scatter[:, None])) ** 2)
    w = w / scatter[:, None] ** 2 / RAYS_A_VALUE
    weighted = (seen.basis * w).transpose(1, 0, 2)
    normal = weighted @ seen.basis.transpose(1, 2, 0)
    moment = (weighted @ reach[..., None])[..., 0]
    precision = np.concatenate([prior.precision, prior.harmonic_precision], axis=1)
    target = np.concatenate([prior.target, prior.harmonics.reshape(len(w), -1)], axis=1)
    each = np.arange(precision.shape[1])
    normal[:, each, each] += precision
    moment += precision * target
    solved = np.asarray(np.linalg.solve(normal, moment[..., None])[..., 0], float)
    harmonics = np.stack([solved[:, 3 : 2 + order], solved[:, 2 + order :]], axis=1)
    moved = replace(
        ring, centre=ring.centre + solved[:, 1:3], radius=solved[:, 0], harmonics=harmonics
    )
    return _Update(moved, np.asarray(normal, float), scatter)


def _start(
    geometry: Geometry, heights: Heights, edges: ShellEdges
) -> tuple[Rings, Rings, NDArray[np.bool_]]:
    """First circles, and on which rays the foot shows (S, N)."""
    shells = len(edges.centre_px)
    gap = edges.outer.radius_px - edges.cap.radius_px
    size = np.median(edges.outer.radius_px, axis=1)[:, None]
    shows = (gap > SHOWS_REL * size) & (edges.cap.weight > 0)
    full = np.full(shells, heights.cap_rim_mm)
    bare = _without_foot(edges, gap, shows)
    full[bare] = heights.bare_rim_mm
    foot_height = np.full(shells, heights.foot_mm)

    def circle(points: Floats, order: int, height: Floats) -> Rings:
        centre = np.median(points, axis=1)
        reach = np.hypot(*np.moveaxis(points - centre[:, None], 2, 0))
        return Rings(centre, np.median(reach, axis=1), np.zeros((shells, 2, order - 1)), height)

    cap = circle(geometry.at_height(geometry.cap, full), CAP_ORDER, full)
    foot = circle(geometry.at_height(geometry.outer, foot_height), FOOT_ORDER, foot_height)
    foot = replace(foot, centre=cap.centre.copy(), radius=cap.radius * (1 + SPREAD_REL))
    return cap, foot, shows & ~bare[:, None]


def _without_foot(edges: ShellEdges, gap: Floats, shows: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Shells (S,) on which no foot is seen: on too few rays, or nowhere wide enough to be one.

    Without a foot the best "cap edge" hugs the outer edge all the way round, at the least
    distance at which it is looked for; a foot is wider than that on a quarter of the rays, on
    the near side by parallax if nowhere else.
    """
    widest = np.percentile(np.where(shows, gap, 0.0), 75, axis=1)
    size = np.median(edges.outer.radius_px, axis=1)
    narrow = widest < np.maximum(FOOT_WIDTH_REL * size, 2.2 * OUTER_REACH_PX)
    return np.asarray(narrow | (shows.mean(axis=1) < FEWEST_SHOWING_REL), bool)


def _stacked(rings: Sequence[Ring], height: Floats) -> Rings:
    """Rings of one order as one set, at other heights (S,)."""
    return Rings(
        np.array([r.centre_mm for r in rings], float),
        np.array([r.radius_mm for r in rings], float),
        np.array([[r.cos_mm, r.sin_mm] for r in rings], float),
        height,
    )


def _again(before: FittedRings, cap: Rings, foot: Rings) -> tuple[Rings, Rings]:
    """First circles replaced by the rings ``before``; feet not seen stay circles."""
    known = [ring if ring is not None else foot.one(i) for i, ring in enumerate(before.foot)]
    return _stacked(before.cap, cap.height), _stacked(known, foot.height)


def fit_rings(
    view: View,
    edges: ShellEdges,
    heights: Heights,
    contact: Floats,
    before: FittedRings | None = None,
) -> FittedRings:
    """Fit foot and cap rings of all shells.

    Parameters
    ----------
    view : View
        Camera and pose; world frame mm.
    edges : ShellEdges
        Edge points of S shells.
    heights : Heights
        Ring heights, shared over the tray.
    contact : ndarray (S, RAYS)
        1 where a ray is free, 0 where a neighbour touches and the edge is not the shell's own.
    before : FittedRings, optional
        The same fit at slightly other heights: a start that saves rounds.

    Returns
    -------
    FittedRings
    """
    geometry = Geometry(view, edges)
    cap, foot, shows = _start(geometry, heights, edges)
    if before is not None:
        cap, foot = _again(before, cap, foot)
    bare = np.asarray(~shows.any(axis=1), bool)
    dome = np.where(bare, heights.bare_top_mm, heights.top_mm) - cap.height
    rays = geometry.outer.shape[1]
    both = np.concatenate([geometry.outer, geometry.cap], axis=1)
    outer_and_rim = geometry.at_height(both, cap.height)
    at_foot = geometry.at_height(geometry.outer, foot.height)
    outer_weight = edges.outer.weight * contact
    rim_weight = edges.cap.weight * contact
    for _ in range(ROUNDS if before is None else ROUNDS_AGAIN):
        all_by_cap, by_foot = cap.seen(outer_and_rim), foot.seen(at_foot)
        by_cap = all_by_cap.first(rays)
        slant = geometry.slant(cap, by_cap.turn)
        bulge = geometry.cap_bulge(cap, dome, slant)
        foot_bulge = geometry.foot_bulge(foot, geometry.slant(foot, by_foot.turn))
        beyond_cap = by_cap.reach - bulge - by_cap.radius
        beyond_foot = by_foot.reach - foot_bulge - by_foot.radius
        # an edge that the cap explains is no evidence for the foot, unless the foot is seen
        explained = beyond_cap < EXPLAINED_REL * cap.radius[:, None]
        # on the side away from the camera a cap hides its foot: there the dome's own shading
        # passes for a rim, unless the outer edge lies farther out than the cap can reach
        hidden = explained & (slant > HIDING_SLANT)
        seen = shows & ~hidden
        to_cap = np.where(bare[:, None], 1.0, explained & ~seen)
        # a foot may hide behind the outer edge, never reach beyond it
        to_foot = np.where((beyond_foot < 0) | (to_cap == 0), 1.0, 0.0)
        cap_step = _step(
            cap,
            all_by_cap,
            np.concatenate([outer_weight * to_cap, rim_weight * seen], axis=1),
            np.concatenate([bulge, np.zeros_like(bulge)], axis=1),
            _cap_prior(cap),
        )
        cap = cap_step.ring
        foot_step = _step(foot, by_foot, outer_weight * to_foot, foot_bulge, _foot_prior(foot, cap))
        foot = foot_step.ring
    return _collect(cap_step, foot_step, bare, shows)


def _collect(
    cap: _Update, foot: _Update, bare: NDArray[np.bool_], shows: NDArray[np.bool_]
) -> FittedRings:
    count = range(len(bare))
    cap_u, foot_u = (
        np.sqrt(np.diagonal(np.linalg.inv(step.normal), axis1=1, axis2=2)) for step in (cap, foot)
    )
    return FittedRings(
        tuple(cap.ring.one(i) for i in count),
        tuple(None if bare[i] else foot.ring.one(i) for i in count),
        cap_u[:, 0],
        foot_u[:, 0],
        np.sqrt((cap_u[:, 1] ** 2 + cap_u[:, 2] ** 2) / 2),
        np.sqrt((foot_u[:, 1] ** 2 + foot_u[:, 2] ** 2) / 2),
        shows.mean(axis=1),
        np.where(bare, cap.scatter, foot.scatter),
    )
