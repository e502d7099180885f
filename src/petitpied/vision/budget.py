"""From the evidence to the uncertainty of each size (JCGM 100:2008, sections 4 and 5).

Own parts belong to one shell: scatter of its edge points, and how well an outline is defined
by ruffles and shadow. Shared parts move all shells of a photo together: view (card's corners,
lens, pose), ring heights, the card's print.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.quantity import Quantity
from petitpied.domain.view import PARAMETERS, View
from petitpied.vision.rings import Heights

Floats = NDArray[np.float64]

#: print scale not checked by more than a ruler on the 100 mm bar: 0.1 mm in 100 mm (type B)
PRINT_SCALE_REL = 0.001
#: thickness of the card above the liner, mm (type B: paper to laminated card)
CARD_THICKNESS_U_MM = 0.15
#: where a ruffled, shaded edge "is", as a standard uncertainty of a radius, mm: spread of the
#: mean edge error over shells, and over scenes, pooled over 28 traced scenes of all liners and
#: lights (feet of the liner's own colour included: they make the greater part)
OUTER_OWN_U_MM, OUTER_SHARED_U_MM = 0.06, 0.08
CAP_OWN_U_MM, CAP_SHARED_U_MM = 0.12, 0.07
#: standard uncertainty of roundness and of caliper widths by the outline's definition, mm
SHAPE_OWN_U_MM = 0.2


@dataclass(frozen=True)
class ScaleDoubt:
    """Relative standard uncertainty of the local scale at S shells, from view and print."""

    view_rel: Floats
    rest_rel: float

    @property
    def total_rel(self) -> Floats:
        return np.hypot(self.view_rel, self.rest_rel)


def scale_doubt(view: View, centres_mm: Floats) -> ScaleDoubt:
    """Propagate the view's covariance to the local scale (area magnification) at each shell.

    ``centres_mm`` (S, 2), world frame. First-order propagation, JCGM 100 equation 13, with
    numerical derivatives; the pose's covariance is that about the card's frame.
    """
    arm = 10.0 * np.array([[-1, 0], [1, 0], [0, -1], [0, 1]])
    at_mm = (centres_mm[:, None] + arm).reshape(-1, 2)
    seen = view.project(at_mm)

    def log_scale(changed: View) -> Floats:
        p = changed.to_plane(seen).reshape(-1, 4, 2)
        a, b = p[:, 1] - p[:, 0], p[:, 3] - p[:, 2]
        return 0.5 * np.log(np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]))

    sigma = np.sqrt(np.diag(view.covariance))
    slopes = np.zeros((len(centres_mm), len(PARAMETERS)))
    for index in range(len(PARAMETERS)):
        if sigma[index] == 0:
            continue
        change = np.zeros(len(PARAMETERS))
        change[index] = 0.1 * sigma[index]
        slopes[:, index] = (
            log_scale(view.perturbed(change)) - log_scale(view.perturbed(-change))
        ) / (0.2 * sigma[index])
    variance = np.einsum("si,ij,sj->s", slopes, view.covariance, slopes)
    height_mm = -float(view.camera_centre_mm[2])
    rest_rel = float(np.hypot(PRINT_SCALE_REL, CARD_THICKNESS_U_MM / height_mm))
    return ScaleDoubt(np.sqrt(np.maximum(variance, 0)), rest_rel)


@dataclass(frozen=True)
class ShellDoubt:
    """What is doubtful about one shell: inputs of its budget."""

    scale_rel: float
    height_mm: float  # camera's height
    slant: float  # distance from the camera's foot point over the camera's height
    heights: Heights
    cap_radius_u_mm: float
    foot_radius_u_mm: float
    cap_centre_u_mm: float
    foot_centre_u_mm: float
    shows_rel: float

    def _height_rel(self, u_mm: float) -> float:
        return u_mm / self.height_mm

    def cap_diameter(self, value: float) -> Quantity:
        shared = np.hypot(2 * CAP_SHARED_U_MM, value * self.scale_rel)
        by_height = value * self._height_rel(self.heights.cap_rim_u_mm)
        return Quantity(
            value,
            float(2 * np.hypot(CAP_OWN_U_MM, self.cap_radius_u_mm)),
            float(np.hypot(shared, by_height)),
        )

    def foot_diameter(self, value: float) -> Quantity:
        """Where half of the foot is hidden, the heights decide how the other half is placed."""
        hidden = max(0.0, 1 - self.shows_rel)
        by_height = np.hypot(
            value * self._height_rel(self.heights.foot_u_mm),
            hidden * self.slant * self.heights.cap_rim_u_mm,
        )
        own = 2 * np.hypot(OUTER_OWN_U_MM * (1 + hidden), self.foot_radius_u_mm)
        shared = np.hypot(2 * OUTER_SHARED_U_MM, value * self.scale_rel)
        return Quantity(value, float(own), float(np.hypot(shared, by_height)))

    def diameter(self, value: float, has_foot: bool) -> Quantity:
        if has_foot:
            return self.foot_diameter(value)
        radius_u = self.cap_radius_u_mm
        by_height = value * self._height_rel(0.5)
        own = 2 * np.hypot(OUTER_OWN_U_MM, radius_u)
        shared = np.hypot(2 * OUTER_SHARED_U_MM, value * self.scale_rel)
        return Quantity(value, float(own), float(np.hypot(shared, by_height)))

    def width(self, value: float, diameter: Quantity) -> Quantity:
        """A caliper width: as the diameter, and one pair of points instead of all."""
        return Quantity(value, float(np.hypot(diameter.u_own, SHAPE_OWN_U_MM)), diameter.u_shared)

    def roundness(self, value: float) -> Quantity:
        """Roundness: a range of radii; a slant stretches the hidden side by the heights."""
        shared = self.slant * self.heights.cap_rim_u_mm * 0.3
        return Quantity(value, SHAPE_OWN_U_MM, float(shared))

    def foot_spread(self, value: float) -> Quantity:
        edge = np.hypot(CAP_OWN_U_MM, OUTER_OWN_U_MM)
        own = np.hypot(edge, np.hypot(self.cap_radius_u_mm, self.foot_radius_u_mm))
        hidden = max(0.0, 1 - self.shows_rel)
        by_height = hidden * self.slant * self.heights.cap_rim_u_mm
        shared = np.hypot(CAP_SHARED_U_MM + OUTER_SHARED_U_MM, by_height)
        return Quantity(value, float(own), float(shared))

    def lean(self, value: float) -> Quantity:
        own = np.hypot(self.cap_centre_u_mm, self.foot_centre_u_mm)
        own = np.hypot(own, 0.06)
        shared = self.slant * np.hypot(self.heights.cap_rim_u_mm, self.heights.foot_u_mm)
        return Quantity(value, float(own), float(shared))
