"""Each shell as two rings, foot and cap rim, at their heights under the known view.

Edge points are taken from the photo to the plane at a ring's own height, so that a ring is
fitted where it is, in plan view, and a cap rim seen from the side is not mistaken for a bigger
shell. The outer edge belongs, ray by ray, to the ring that reaches farther out in the picture.
Each ring's radius is a Fourier series fitted by ridge regression with Cauchy weights (Holland &
Welsch 1977); the ridge is a prior on the size of the harmonics, and carries a ring over arcs
that the photo does not show.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from petitpied.contours.edges import ShellEdges
from petitpied.contours.ring_geometry import Geometry, Rings
from petitpied.contours.ring_steps import (
    BLUNTNESS,
    Parallax,
    TrayFeet,
    Update,
    cap_step,
    foot_step,
    shaped,
    tray_feet,
)
from petitpied.domain.shell import Ring
from petitpied.domain.view import View
from petitpied.numerics.medians import medians

Floats = NDArray[np.float64]

#: highest harmonic: the outline is judged to 15 undulations (ISO 12181); a cap is smooth
FOOT_ORDER, CAP_ORDER = 15, 7
#: a foot shows on a ray if the outer edge is this much beyond the cap's edge, relative to the
#: radius: twice the scatter of single edges on tuning scenes (0.2 mm on 22 mm)
SHOWS_REL = 0.018
#: an outer edge counts in full for the ring that reaches farther by this, less for nearer ones,
#: relative to the radius: twice the scatter of single edges. Tuned on traced trays from 400 mm
OWN_REL = 0.02
#: an outer edge this far beyond the cap's silhouette is the foot's, wherever the foot was thought
#: to end, relative to the radius: six times the scatter of single edges; with three times it,
#: domes a little blunter than thought passed for feet on the same trays
BEYOND_REL = 0.06
#: slant (tangent of the view's angle) from which a rim 3 mm above the foot hides 0.3 mm of it
HIDING_SLANT = 0.1
#: a foot is at least this wide somewhere, relative to the radius (0.65 mm on 22 mm), and in the
#: photo: on 36 traced trays at 12 megapixels and reduced to 2.5, 99 % of the feet that show have
#: 0.038 and 2.7 px or more, where none does they have at most 0.029 and 1.7 px
FOOT_WIDTH_REL, FOOT_WIDTH_PX = 0.03, 2.0
#: rounds of parting the edges between the rings and fitting, first and at better heights: on 46
#: traced trays (one ray in one to four for the first fit, 4 and 4, 5 and 3, 5 and 2 rounds)
#: diameters have 0.106 to 0.108 mm root mean square, caps 0.140 to 0.142
ROUNDS, ROUNDS_AGAIN = 5, 3
#: steps to the start: each moves a ring's middle, about which its form is told
STARTS = 3
#: a cap under which no foot is wide enough to be measured stands on one if its two edges part on
#: the near side by this much more than on the far side, relative to the radius: on 24 traced
#: trays caps on the liner have up to 0.004. If not, it may stand on one that lies deep under it,
#: on trays where more than this share of the shells that the camera sees slantwise stand
STANDS_REL, NEAR_COS, STANDS_SLANT, STANDS_SHARE = 0.006, 0.7, 0.12, 0.3
#: with less than this share of rays showing a foot, it is not measured
FEWEST_SHOWING_REL = 0.12


@dataclass(frozen=True)
class Heights:
    """Heights above the liner, mm, and standard uncertainties: shared by the tray's shells.

    Defaults are common practice for a 35 to 50 mm shell, no source.
    """

    cap_rim_mm: float = 4.7
    foot_mm: float = 1.5  # where the foot is widest
    top_mm: float = 12.5
    cap_rim_u_mm: float = 0.8
    foot_u_mm: float = 0.5
    top_u_mm: float = 1.5
    bare_rim_mm: float = 1.2  # rim of a shell without foot: its cap stands on the liner
    bare_top_mm: float = 6.5
    source: str = "default"

    def rims_mm(self, stands: Floats) -> Floats:
        """Of caps that stand on a foot (1), on the liner (0), or nobody knows (1/2)."""
        return self.bare_rim_mm + stands * (self.cap_rim_mm - self.bare_rim_mm)

    def tops_mm(self, stands: Floats) -> Floats:
        """The same of their tops."""
        return self.bare_top_mm + stands * (self.top_mm - self.bare_top_mm)


@dataclass(frozen=True)
class FittedRings:
    """Two-ring fits of S shells; world frame, plan view, mm.

    ``foot`` is None where no foot shows. ``radius_u_mm`` is the standard uncertainty of the
    mean radius from edge scatter; ``centre_u_mm`` of each coordinate of the centre; ``shows``
    the share of rays on which the foot shows; ``scatter_mm`` the robust spread of the edge
    points about their ring; ``bluntness`` how blunt the domes are,
    ``parallax`` what the leans say of the heights.
    """

    cap: tuple[Ring, ...]
    foot: tuple[Ring | None, ...]
    cap_radius_u_mm: Floats
    foot_radius_u_mm: Floats
    cap_centre_u_mm: Floats
    foot_centre_u_mm: Floats
    shows_rel: Floats
    scatter_mm: Floats
    bluntness: float
    parallax: Parallax
    seen: "_Seen" = field(repr=False, compare=False)

    @property
    def stands(self) -> Floats:
        """Whether shells stand on a foot (S,): 1, 0, or 1/2 where nobody can tell."""
        return self.seen.stands

    @property
    def wide(self) -> NDArray[np.bool_]:
        """Which feet (S,) show plainly enough to be measured; others only bound the outline."""
        return self.seen.wide


@dataclass(frozen=True)
class _Seen:
    """What is seen whatever the heights: the geometry, on which rays feet show (S, N), whether
    shells stand on a foot (S,): 1, 0, or 1/2 where nobody can tell; and on a ``wide`` one."""

    geometry: Geometry
    shows: NDArray[np.bool_]
    stands: Floats
    wide: NDArray[np.bool_]


def _showing(edges: ShellEdges) -> NDArray[np.bool_]:
    """On which rays the foot shows (S, N); nowhere on shells without."""
    gap = edges.outer.radius_px - edges.cap.radius_px
    size = medians(edges.outer.radius_px)[:, None]
    shows = (gap > SHOWS_REL * size) & (edges.cap.weight > 0)
    return np.asarray(shows & ~_without_foot(edges, gap, shows)[:, None], bool)


def _look(view: View, edges: ShellEdges) -> _Seen:
    geometry, shows = Geometry(view, edges), _showing(edges)
    wide = np.asarray(shows.any(axis=1), bool)
    stands, narrow = _stands(geometry, edges, wide)
    # a foot too narrow to show all round is seen on the near side
    return _Seen(geometry, shows | (narrow & (~wide & (stands == 1))[:, None]), stands, wide)


def _start(
    geometry: Geometry, full: Floats, foot_height: Floats, free: Floats
) -> tuple[Rings, Rings]:
    """First caps and feet at these heights (S,), of the form that the edges have; ``free`` (S, N):
    which rays are a shell's own."""
    shells = len(full)
    points = geometry.at_height(geometry.cap, full)
    centre = medians(np.moveaxis(points, 1, 2))
    reach = np.hypot(*np.moveaxis(points - centre[:, None], 2, 0))
    cap = Rings(centre, medians(reach), np.zeros((shells, 2, CAP_ORDER - 1)), full)
    for _ in range(STARTS):
        cap = shaped(cap, cap.seen(points), free)
    harmonics = np.zeros((shells, 2, FOOT_ORDER - 1))
    harmonics[:, :, : CAP_ORDER - 1] = cap.harmonics
    radius = cap.radius * (1 + TrayFeet().spread)
    return cap, Rings(cap.centre.copy(), radius, harmonics, foot_height)


def _stands(
    geometry: Geometry, edges: ShellEdges, wide: NDArray[np.bool_]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Whether shells stand on a foot, as in `_Seen`, and on which rays (S, N) it shows narrowly:
    the near side shows the gap under a rim that stands high. ``wide`` (S,): feet seen plainly."""
    centre = medians(np.moveaxis(geometry.outer, 1, 2))
    away = (centre - geometry.nadir) / geometry.camera_mm
    slant = np.hypot(*away.T)
    arm = geometry.outer - centre[:, None]
    cosine = (arm * away[:, None]).sum(axis=2)
    cosine /= np.maximum(np.hypot(*np.moveaxis(arm, 2, 0)) * slant[:, None], 1e-9)
    gap = (edges.outer.radius_px - edges.cap.radius_px) / medians(edges.outer.radius_px)[:, None]

    def mean_gap(where: NDArray[np.bool_]) -> Floats:
        return np.asarray((gap * where).sum(axis=1) / np.maximum(where.sum(axis=1), 1), float)

    parts = mean_gap(cosine < -NEAR_COS) - mean_gap(cosine > NEAR_COS) > STANDS_REL
    plainly = np.asarray(wide | parts, bool)
    slantwise = slant > STANDS_SLANT
    of_tray = float(plainly[slantwise].mean() if slantwise.any() else plainly.mean())
    stands = np.where(plainly, 1.0, 0.5 if of_tray > STANDS_SHARE else 0.0)
    return stands, np.asarray((gap > STANDS_REL) & (cosine < 0), bool)


def _without_foot(edges: ShellEdges, gap: Floats, shows: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Shells (S,) on which no foot is seen: on too few rays, or nowhere wide enough to be one.

    Without a foot the network's two edges are one nearly all the way round; a foot is wider than
    their scatter on a quarter of the rays, on the near side by parallax if nowhere else.
    """
    widest = np.percentile(np.where(shows, gap, 0.0), 75, axis=1)
    size = medians(edges.outer.radius_px)
    narrow = widest < np.maximum(FOOT_WIDTH_REL * size, FOOT_WIDTH_PX)
    return np.asarray(narrow | (shows.mean(axis=1) < FEWEST_SHOWING_REL), bool)


def _again(
    before: FittedRings, full: Floats, foot_height: Floats, free: Floats
) -> tuple[Rings, Rings]:
    """The rings ``before``; feet not seen as at the start."""
    feet = list(before.foot)
    if None in feet:
        circles = _start(before.seen.geometry, full, foot_height, free)[1]
        feet = [circles.one(i) if ring is None else ring for i, ring in enumerate(feet)]
    known = [ring for ring in feet if ring is not None]
    return Rings.of(before.cap, full), Rings.of(known, foot_height)


def fit_rings(
    view: View,
    edges: ShellEdges,
    heights: Heights,
    contact: Floats,
    before: FittedRings | None = None,
    every: int = 1,
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
        The fit of the same view and edges at slightly other heights: a start that saves rounds.
    every : int
        Take one ray in so many, each for all of them: neighbouring rays say the same
        (`petitpied.contours.ring_steps.RAYS_A_VALUE`).

    Returns
    -------
    FittedRings
    """
    showing = _look(view, edges) if before is None else before.seen
    geometry, shows = showing.geometry.every(every), showing.shows[:, ::every]
    bare, stands = np.asarray(~showing.shows.any(axis=1), bool), showing.stands
    narrow = ~bare & ~showing.wide
    full = heights.rims_mm(stands)
    foot_height = np.full(len(bare), heights.foot_mm)
    free = every * contact[:, ::every]
    if before is None:
        cap, foot = _start(geometry, full, foot_height, free)
    else:
        cap, foot = _again(before, full, foot_height, contact)
    dome = heights.tops_mm(stands) - cap.height
    rays = geometry.outer.shape[1]
    both = np.concatenate([geometry.outer, geometry.cap], axis=1)
    outer_and_rim = geometry.at_height(both, cap.height)
    at_foot = geometry.at_height(geometry.outer, foot.height)
    outer_weight = edges.outer.weight[:, ::every] * free
    # a foot that hardly shows leaves the two edges together: they are told by one
    by_rim = np.where(narrow[:, None], edges.outer.weight, edges.cap.weight)
    rim_weight = by_rim[:, ::every] * free
    bluntness = BLUNTNESS if before is None else before.bluntness
    parallax, feet = Parallax(0.0, heights.cap_rim_u_mm, np.zeros(2)), TrayFeet()
    for _ in range(ROUNDS if before is None else ROUNDS_AGAIN):
        all_by_cap, by_foot = cap.seen(outer_and_rim), foot.seen(at_foot)
        by_cap = all_by_cap.first(rays)
        slant = geometry.slant(cap, by_cap)
        bulge, growth = geometry.cap_bulge(cap, dome, bluntness, slant)
        foot_bulge = geometry.foot_bulge(foot, cap, geometry.slant(foot, by_foot))
        beyond_cap = by_cap.reach - bulge - by_cap.radius
        beyond_foot = by_foot.reach - foot_bulge - by_foot.radius
        # the outer edge is that of the ring which reaches farther out, as they stand: to judge
        # by the edge itself would take its outward errors for feet, its inward ones for caps
        foot_farther = (beyond_cap - beyond_foot) / (OWN_REL * cap.radius[:, None])
        to_foot, to_cap = np.clip(foot_farther, 0, 1), np.clip(-foot_farther, 0, 1)
        plainly_foot = shows & (beyond_cap > BEYOND_REL * cap.radius[:, None])
        to_foot[plainly_foot], to_cap[plainly_foot] = 1.0, 0.0
        # a foot that shows narrowly reaches nowhere beyond the outer edge
        too_far = np.clip(-beyond_foot / (OWN_REL * cap.radius[:, None]), 0, 1)
        to_foot = np.where(narrow[:, None], np.maximum(to_foot, too_far), to_foot)
        to_foot[bare], to_cap[bare] = 0.0, 1.0
        # on the side away from the camera a cap hides its foot: there the dome's own shading
        # passes for a rim, unless the foot shows
        seen = shows * np.where(slant > HIDING_SLANT, to_foot, 1.0)
        caps, bluntness = cap_step(
            (cap, foot, bare),
            all_by_cap,
            np.concatenate([outer_weight * to_cap, rim_weight * seen], axis=1),
            (np.concatenate([bulge, bulge], axis=1), np.concatenate([growth, growth], axis=1)),
            bluntness,
        )
        cap = caps.ring
        slants = geometry.slants(cap)
        # a narrow foot is seen on one side only: where its middle is says nothing of heights
        about = cap, slants * showing.wide[:, None], feet, showing.wide
        weight = outer_weight * to_foot
        feet_now, parallax = foot_step(
            foot, by_foot, weight, foot_bulge, about, parallax, heights.cap_rim_u_mm
        )
        foot = feet_now.ring
        expected = parallax.draught_mm + parallax.height_mm * slants
        feet = tray_feet(cap, foot, (weight > 0).mean(axis=1) * showing.wide, expected)
    return _collect(caps, feet_now, showing, bluntness, parallax)


def _collect(
    cap: Update, foot: Update, showing: _Seen, bluntness: float, parallax: Parallax
) -> FittedRings:
    bare = np.asarray(~showing.shows.any(axis=1), bool)
    count = range(len(bare))
    cap_u, foot_u = (_uncertainties(step) for step in (cap, foot))
    return FittedRings(
        tuple(cap.ring.one(i) for i in count),
        tuple(None if bare[i] else foot.ring.one(i) for i in count),
        cap_u[:, 0],
        foot_u[:, 0],
        np.sqrt((cap_u[:, 1] ** 2 + cap_u[:, 2] ** 2) / 2),
        np.sqrt((foot_u[:, 1] ** 2 + foot_u[:, 2] ** 2) / 2),
        showing.shows.mean(axis=1),
        np.where(bare, cap.scatter, foot.scatter),
        bluntness,
        parallax,
        showing,
    )


def _uncertainties(step: Update) -> Floats:
    """Standard uncertainties (S, 3) of radius and centre from the normal matrices; the radius
    itself where edges say nothing and the matrix is singular to rounding."""
    first = np.linalg.solve(step.normal, np.eye(step.normal.shape[1])[None, :, :3])
    variance = np.diagonal(first, axis1=1, axis2=2)
    return np.sqrt(np.where(variance > 0, variance, step.ring.radius[:, None] ** 2))
