"""Heights above the liner from two photos of one tray, by where two rays meet.

A point seen at a pixel lies, at an assumed height, at one place of the plan; the place moves in
proportion to the height, in each photo its own way. The height at which both photos put it at
the same place is its own (least squares along the baseline).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.same_tray import Registration, rigid_fit
from petitpied.domain.view import View

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ViewPair:
    """Two views of one tray; ``second_to_first`` joins their tray frames."""

    first: View
    second: View
    second_to_first: Registration

    def to_second(self, points_mm: Floats) -> Floats:
        """Plan points (N, 2) of the first frame in the second's."""
        r = self.second_to_first
        return np.asarray((points_mm - r.shift_mm) @ r.turn, float)

    def project(self, which: int, points_mm: Floats, height_mm: Floats) -> Floats:
        """Points (N, 2) of the first frame, at heights (N,), in photo 0 or 1: px (N, 2)."""
        if which == 0:
            return self.first.project(points_mm, height_mm)
        return self.second.project(self.to_second(points_mm), height_mm)

    def places(
        self, first_px: Floats, second_px: Floats, height_mm: float
    ) -> tuple[Floats, Floats]:
        """Where each photo puts its pixels (N, 2) at a height, in the first's frame."""
        there = self.second.to_plane(second_px, height_mm)
        return self.first.to_plane(first_px, height_mm), self.second_to_first.to_first(there)


@dataclass(frozen=True)
class Triangulated:
    """Heights (N,) mm; ``parallax`` (N,): mm that both photos' places part for each mm of
    height; ``gap_mm`` (N,) signed distance of the rays across the baseline."""

    height_mm: Floats
    parallax: Floats
    gap_mm: Floats


def triangulate(pair: ViewPair, first_px: Floats, second_px: Floats) -> Triangulated:
    """Heights of points seen in both photos, px (N, 2) each."""
    low = np.subtract(*pair.places(first_px, second_px, 0.0))
    high = np.subtract(*pair.places(first_px, second_px, 10.0))
    slope = (high - low) / 10.0
    size = np.hypot(*slope.T)
    unit = slope / np.maximum(size, 1e-12)[:, None]
    along = (low * unit).sum(axis=1)
    across = low[:, 0] * -unit[:, 1] + low[:, 1] * unit[:, 0]
    return Triangulated(-along / np.maximum(size, 1e-12), size, across)


def height_slopes(
    pair: ViewPair, places_mm: Floats, height_mm: float, joined_by: int | None = None
) -> Floats:
    """How heights react to doubts of both views: (2 P, N) mm for one standard uncertainty of
    each independent combination of the views' parameters (columns of the covariances' roots).

    The shells' own places join the frames, so an error of a view is partly taken up by the
    joining; that is followed through. The first ``joined_by`` places are shells that join the
    frames (all, if not given). First order (JCGM 100 section 5), by differences.
    """
    level = np.full(len(places_mm), height_mm)
    seen = [pair.project(which, places_mm, level) for which in (0, 1)]
    rows = []
    for which, view in enumerate((pair.first, pair.second)):
        for change in covariance_root(view.covariance).T:
            moved = view.perturbed(change)
            rows.append(_height_change(pair, which, moved, seen, height_mm, joined_by))
    return np.array(rows).reshape(-1, len(places_mm))


#: the views' stated doubts may be too small: factors tried, the likeliest is taken
DOUBT_FACTORS = (1.0, 2.0, 4.0)
#: joining frames by shells moves all heights together: not known beforehand, mm
JOIN_U_MM = 5.0


@dataclass(frozen=True)
class Level:
    """Points of known height: ``slopes`` (Q, M) as of `height_slopes`, ``excess_mm`` (M,)
    triangulated height less the known one, nan where not seen; ``level_u_mm``: standard
    uncertainty of the known height, common to all; ``noise_mm`` of one point."""

    slopes: Floats
    excess_mm: Floats
    level_u_mm: float
    noise_mm: float


def settled(feet: Level, cards: Level | None, at_tops: Floats) -> tuple[Floats, Floats]:
    """What both views, and the joining of their frames, are wrong by: all feet stand on one
    plane, and a card lies on it.

    Linear bundle adjustment: the views' independent doubts, the joining and the feet's level
    are unknowns with priors, triangulated heights the observations. ``at_tops`` (Q, N):
    `height_slopes` at the places to be mended.

    Returns
    -------
    error_mm, u_mm : ndarray (N,)
        What to take off heights there, and the standard uncertainty that remains.
    """
    levels = [feet] if cards is None else [feet, cards]
    excess = np.concatenate([level.excess_mm for level in levels])
    seen = np.isfinite(excess)
    slopes = np.concatenate([level.slopes for level in levels], axis=1).T
    of_feet = np.concatenate(
        [np.full(len(one.excess_mm), one.level_u_mm if one is feet else 0.0) for one in levels]
    )
    noise = np.concatenate([np.full(len(one.excess_mm), one.noise_mm) for one in levels])
    best: tuple[float, Floats, Floats] | None = None
    for factor in DOUBT_FACTORS:
        join = np.full(len(excess), JOIN_U_MM)
        design = np.column_stack([factor * slopes, join, of_feet])[seen]
        there = np.full(at_tops.shape[1], JOIN_U_MM)
        tops = np.vstack([factor * at_tops, there, np.zeros(at_tops.shape[1])])
        found, covariance, cost = _settled(design, excess[seen], noise[seen])
        if best is None or cost < best[0] - 1:
            spread = np.sqrt(np.einsum("qn,qr,rn->n", tops, covariance, tops))
            best = cost, np.asarray(found @ tops, float), np.asarray(spread, float)
    assert best is not None
    return best[1], best[2]


def _settled(design: Floats, excess: Floats, noise: Floats) -> tuple[Floats, Floats, float]:
    """Unknowns of unit prior, their covariance, and minus the logarithm of the evidence.

    Single feet go astray: Cauchy weights (Holland & Welsch 1977).
    """
    wide, cost = noise, 0.0
    for _ in range(4):
        weighted = design / wide[:, None]
        normal = weighted.T @ weighted + np.eye(design.shape[1])
        found = np.linalg.solve(normal, weighted.T @ (excess / wide))
        rest = excess - design @ found
        fit = float(((rest / wide) ** 2).sum() + found @ found)
        cost = 0.5 * (fit + float(np.linalg.slogdet(normal)[1])) + float(np.log(wide).sum())
        wide = noise * np.sqrt(1 + (rest / (2.385 * noise)) ** 2)
    return np.asarray(found, float), np.asarray(np.linalg.inv(normal), float), cost


def _height_change(
    pair: ViewPair,
    which: int,
    moved: View,
    seen: list[Floats],
    joined_at_mm: float,
    joined_by: int | None,
) -> Floats:
    views = [pair.first, pair.second]
    views[which] = moved
    # frames are joined by the outlines of shells, near the liner: take half of the cap's height
    a = views[0].to_plane(seen[0], joined_at_mm)
    b = views[1].to_plane(seen[1], joined_at_mm)
    turn, shift = rigid_fit(b[:joined_by], a[:joined_by])
    joined = replace(pair.second_to_first, turn=turn, shift_mm=shift)
    found = triangulate(ViewPair(views[0], views[1], joined), seen[0], seen[1])
    return np.asarray(found.height_mm - joined_at_mm, float)


def covariance_root(covariance: Floats) -> Floats:
    """A matrix (P, Q) whose columns are independent unit causes: root @ root.T = covariance."""
    value, vector = np.linalg.eigh((covariance + covariance.T) / 2)
    keep = value > 1e-12 * max(float(value.max()), 1e-300)
    return np.asarray(vector[:, keep] * np.sqrt(value[keep]), float)
