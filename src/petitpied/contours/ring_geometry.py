"""Sets of rings as arrays, and how the camera sees them: the geometry of `rings`.

A ring's radius is a Fourier series about its centre; points are taken to polar form about it.
The camera's place gives where a point seen on the liner lies at another height, and how far a
dome or a foot's wall reaches beyond its ring in the picture.
"""

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.contours.edges import ShellEdges
from petitpied.domain.shell import Ring
from petitpied.domain.view import View

Floats = NDArray[np.float64]

#: radius of the round with which a cap's rim curls under: the tuning scenes' near sides
CURL_MM = 1.1
#: how blunt a foot's wall is above its widest ring, against a half round, and its spread between
#: trays: silhouettes of the tuning scenes' makers have 1.0, 2.4, and 0 to 2
UPRIGHT, UPRIGHT_U = 1.2, 0.7
#: how much ruffles fill their creases, mm at a slant of 1, growing with its square, and its spread:
#: the same silhouettes, 0 to 0.9 from even to coarse ruffles
CREASES_MM, CREASES_U_MM = 0.3, 0.25


@dataclass(frozen=True)
class Seen:
    """Points about their rings: ``reach`` and the ring's ``radius`` there (S, N), ``basis``
    (1 + 2 K, S, N) of the angle t: 1, cos t, sin t, cos 2t, ..., cos K t, sin 2t, ..., sin K t."""

    reach: Floats
    basis: Floats
    radius: Floats

    def first(self, count: int) -> "Seen":
        """The first so many points of each ring."""
        return Seen(self.reach[:, :count], self.basis[:, :, :count], self.radius[:, :count])


@dataclass(frozen=True)
class Rings:
    """Parameters of S rings at once: centres (S, 2), radius (S,), harmonics (S, 2, K - 1)."""

    centre: Floats
    radius: Floats
    harmonics: Floats
    height: Floats  # (S,)

    @staticmethod
    def of(rings: Sequence[Ring], height: Floats | None = None) -> "Rings":
        """Rings of one order as one set, at other heights (S,) if given."""
        return Rings(
            np.array([r.centre_mm for r in rings], float).reshape(-1, 2),
            np.array([r.radius_mm for r in rings], float),
            np.array([[r.cos_mm, r.sin_mm] for r in rings], float).reshape(
                len(rings), 2, len(rings[0].cos_mm) if rings else 0
            ),
            np.array([r.height_mm for r in rings], float) if height is None else height,
        )

    def seen(self, points: Floats) -> "Seen":
        """Points (S, N, 2) in polar form about the rings' centres."""
        count = self.harmonics.shape[2]
        basis: Floats = np.empty((3 + 2 * count, *points.shape[:2]))
        for k in (0, 1):
            np.subtract(points[..., k], self.centre[:, k, None], out=basis[1 + k])
        reach = np.sqrt(basis[1] * basis[1] + basis[2] * basis[2])
        basis[0] = 1.0
        basis[1:3] /= np.maximum(reach, 1e-9)
        # of higher orders as sums of angles: no trigonometry
        cos, sin = basis[1], basis[2]
        last, spare = (cos, sin), np.empty_like(cos)
        for k in range(count):
            after = basis[3 + k], basis[3 + count + k]
            np.multiply(last[0], cos, out=after[0])
            np.subtract(after[0], np.multiply(last[1], sin, out=spare), out=after[0])
            np.multiply(last[1], cos, out=after[1])
            np.add(after[1], np.multiply(last[0], sin, out=spare), out=after[1])
            last = after
        flat = self.harmonics.reshape(len(reach), 1, 2 * count)
        radius = self.radius[:, None] + (flat @ basis[3:].transpose(1, 0, 2))[:, 0]
        return Seen(reach, basis, np.asarray(radius, float))

    def one(self, index: int) -> Ring:
        return Ring(
            (float(self.centre[index, 0]), float(self.centre[index, 1])),
            float(self.radius[index]),
            self.harmonics[index, 0],
            self.harmonics[index, 1],
            float(self.height[index]),
        )


class Geometry:
    """Edge points of all shells in plan view at any height, and the camera above them."""

    def __init__(self, view: View, edges: ShellEdges) -> None:
        shells, rays = edges.outer.radius_px.shape
        self.nadir = view.camera_centre_mm[:2]
        self.camera_mm = -float(view.camera_centre_mm[2])
        self.outer = view.to_plane(edges.outer.points_px.reshape(-1, 2)).reshape(shells, rays, 2)
        self.cap = view.to_plane(edges.cap.points_px.reshape(-1, 2)).reshape(shells, rays, 2)

    def every(self, step: int) -> "Geometry":
        """The same with one ray in so many."""
        thinner = copy(self)
        thinner.outer, thinner.cap = self.outer[:, ::step], self.cap[:, ::step]
        return thinner

    def at_height(self, plane: Floats, height: Floats) -> Floats:
        """Points seen at (S, N, 2) on the liner, moved to the plane ``height`` (S,) above it."""
        shrink = 1 - height / self.camera_mm
        return np.asarray(self.nadir + (plane - self.nadir) * shrink[:, None, None], float)

    def slants(self, ring: Rings) -> Floats:
        """Tangent of the camera's view angle at each ring, as a vector (S, 2) outward."""
        away = (ring.centre - self.nadir) / (self.camera_mm - ring.height)[:, None]
        return np.asarray(away, float)

    def slant(self, ring: Rings, seen: Seen) -> Floats:
        """Tangent of the camera's view angle towards each point (S, N); outward positive."""
        away = self.slants(ring)
        return np.asarray(seen.basis[1] * away[:, :1] + seen.basis[2] * away[:, 1:], float)

    def cap_bulge(
        self, ring: Rings, dome_mm: Floats, bluntness: float, slant: Floats
    ) -> tuple[Floats, Floats]:
        """How far the cap's silhouette reaches beyond its rim (S, N), mm, and how that grows
        with the bluntness (S, N).

        On the side away from the camera's foot point the silhouette is that of a dome as steep
        at its flank as a half ellipsoid of height ``sqrt(bluntness) * dome_mm``: 1 for an
        ellipsoid of its own height ``dome_mm`` (S,), more for a blunter dome. On the near side
        it is that of the rim's own round, which curls under.
        """
        lift_squared = (dome_mm[:, None] * np.maximum(slant, 0)) ** 2
        radius = ring.radius[:, None]
        reach = np.sqrt(radius**2 + bluntness * lift_squared)
        curl = np.minimum(CURL_MM, ring.height)[:, None] * _longer(np.minimum(slant, 0))
        return np.asarray(reach - radius + curl, float), lift_squared / (2 * reach)

    def foot_bulge(self, ring: Rings, cap: Rings, slant: Floats) -> Floats:
        """How far the foot's silhouette reaches beyond its widest ring (S, N), mm.

        Below the ring the wall is a half round of the height at which it stands; above it another,
        as high as the cap's rim lies above it, `UPRIGHT` times as blunt. A round of radius ``r``
        seen under a slant reaches ``r (sqrt(1 + slant^2) - 1)`` farther, the lower one on the
        near side, the upper one on the far side. On every side the view's own slant lets ruffles
        of unlike heights fill the creases between them.
        """
        above = np.maximum(cap.height - ring.height, 0.0)[:, None]
        round_mm = np.where(slant > 0, UPRIGHT * above, ring.height[:, None])
        filled = CREASES_MM * (self.slants(ring) ** 2).sum(axis=1, keepdims=True)
        return np.asarray(round_mm * _longer(slant) + filled, float)


def foot_slopes(slant: Floats, above_mm: float) -> tuple[Floats, Floats]:
    """Changes of foot diameters (S,), mm, for one spread of how blunt walls are and of how much
    creases fill; ``slant`` (S,) of the view, cap rims ``above_mm`` over the widest feet.

    Means round the foot of `Geometry.foot_bulge`, to second order in the slant.
    """
    square = np.asarray(slant, float) ** 2
    return UPRIGHT_U * above_mm * square / 4, 2 * CREASES_U_MM * square


def _longer(slant: Floats) -> Floats:
    """How much longer than upright a ray under the ``slant`` is, relative; shape as given."""
    return np.asarray(np.sqrt(1 + slant * slant) - 1, float)
