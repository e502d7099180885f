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


def height_slopes(pair: ViewPair, places_mm: Floats, height_mm: float) -> Floats:
    """How heights react to doubts of both views: (2 P, N) mm for one standard uncertainty of
    each independent combination of the views' parameters (columns of the covariances' roots).

    The shells' own places join the frames, so an error of a view is partly taken up by the
    joining; that is followed through. First order (JCGM 100 section 5), by differences.
    """
    level = np.full(len(places_mm), height_mm)
    seen = [pair.project(which, places_mm, level) for which in (0, 1)]
    rows = []
    for which, view in enumerate((pair.first, pair.second)):
        for change in covariance_root(view.covariance).T:
            moved = view.perturbed(change)
            rows.append(_height_change(pair, which, moved, seen, height_mm))
    return np.array(rows).reshape(-1, len(places_mm))


def _height_change(
    pair: ViewPair, which: int, moved: View, seen: list[Floats], joined_at_mm: float
) -> Floats:
    views = [pair.first, pair.second]
    views[which] = moved
    # frames are joined by the outlines of shells, near the liner: take half of the cap's height
    a = views[0].to_plane(seen[0], joined_at_mm)
    b = views[1].to_plane(seen[1], joined_at_mm)
    turn, shift = rigid_fit(b, a)
    joined = replace(pair.second_to_first, turn=turn, shift_mm=shift)
    found = triangulate(ViewPair(views[0], views[1], joined), seen[0], seen[1])
    return np.asarray(found.height_mm - joined_at_mm, float)


def covariance_root(covariance: Floats) -> Floats:
    """A matrix (P, Q) whose columns are independent unit causes: root @ root.T = covariance."""
    value, vector = np.linalg.eigh((covariance + covariance.T) / 2)
    keep = value > 1e-12 * max(float(value.max()), 1e-300)
    return np.asarray(vector[:, keep] * np.sqrt(value[keep]), float)
