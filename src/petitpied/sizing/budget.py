"""From the evidence to the uncertainty of each size (JCGM 100:2008, sections 4 and 5).

Every size keeps its contributions apart (`petitpied.domain.uncertainty`): what is a shell's own,
and what moves all shells of a photo together. What edges in a photo are worth as witnesses of
a ruffled, shaded outline is added afterwards, by `petitpied.sizing.evidence`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from petitpied.camera.view_slopes import plane_slopes
from petitpied.contours.rings import Heights
from petitpied.domain.quantity import Quantity
from petitpied.domain.uncertainty import OWN_CAUSES, SHARED_CAUSES, VIEW_ORDER, quantities_of
from petitpied.domain.view import PARAMETERS, View

Floats = NDArray[np.float64]

#: print scale not checked by more than a ruler on the 100 mm bar: 0.1 mm in 100 mm (type B)
PRINT_SCALE_REL = 0.001
#: thickness of the card above the liner, mm (type B: paper to laminated card), and how far it
#: stands off it in the middle by its own waviness
CARD_THICKNESS_U_MM = 0.15
#: rims and feet of single shells about the tray's, mm: spread of true heights in tuning scenes
RIM_OWN_U_MM, FOOT_OWN_U_MM = 0.5, 0.25
#: a radius over an arc that a neighbour hides is carried on by the prior of the harmonics:
#: out of round by 1.5 to 3 % (tuning scenes), a third of it in the mean radius, mm
HIDDEN_ARC_U_MM = 0.15
#: height of a bare shell's rim, mm (type B)
BARE_RIM_U_MM = 0.5

_OWN = {cause: index for index, cause in enumerate(OWN_CAUSES)}
_SHARED = {cause: index for index, cause in enumerate(SHARED_CAUSES[: -len(VIEW_ORDER)])}


def scale_slopes(view: View, centres_mm: Floats) -> Floats:
    """Changes of the local scale, relative, at each shell for one standard uncertainty of each
    of the view's independent doubts: (S, V), in the order of `SHARED_CAUSES`.

    ``centres_mm`` (S, 2), world frame. The covariance's triangular root (Cholesky) in that
    order makes the doubts independent: a cause takes what it has in common with later ones.
    First-order propagation, JCGM 100 equation 13.
    """
    arm = 10.0 * np.array([[-1, 0], [1, 0], [0, -1], [0, 1]])
    at_mm = (centres_mm[:, None] + arm).reshape(-1, 2)
    moves = plane_slopes(view, at_mm).reshape(-1, 4, 2, len(PARAMETERS))
    across, down = moves[:, 1] - moves[:, 0], moves[:, 3] - moves[:, 2]
    # half of the relative change of the area that the two arms span
    slopes = (across[:, 0] + down[:, 1]) / (4 * 10.0)
    order = np.array(VIEW_ORDER)
    return np.asarray(slopes[:, order] @ triangular_root(view.covariance[np.ix_(order, order)]))


def triangular_root(covariance: Floats) -> Floats:
    """Lower triangular L with L L' = covariance, which may have zero rows (exact parameters)."""
    sigma = np.sqrt(np.diag(covariance))
    known = sigma > 0
    root = np.zeros_like(covariance)
    if known.any():
        scale = sigma[known]
        part = covariance[np.ix_(known, known)] / np.outer(scale, scale)
        lower = np.linalg.cholesky(part + 1e-10 * np.eye(len(part)))
        root[np.ix_(known, known)] = scale[:, None] * lower
    return root


@dataclass(frozen=True)
class ShellDoubts:
    """What is doubtful about S shells: inputs of their budgets, arrays (S,) unless said."""

    scale_rel: Floats  # (S, V), as of `scale_slopes`
    height_mm: float  # camera's height
    slant: Floats  # distance from the camera's foot point over the camera's height
    heights: Heights
    cap_radius_u_mm: Floats
    foot_radius_u_mm: Floats
    cap_centre_u_mm: Floats
    foot_centre_u_mm: Floats
    shows_rel: Floats
    blocked_rel: Floats  # share of the outline that is a neighbour's or hidden
    stands: Floats  # 1 on a foot, 0 on the liner, 1/2: nobody can tell

    def only(self, which: NDArray[np.intp]) -> "ShellDoubts":
        """Those of the shells numbered ``which``."""
        arrays = {
            f.name: getattr(self, f.name)[which]
            for f in fields(self)
            if f.name not in ("height_mm", "heights")
        }
        return replace(self, **arrays)

    @property
    def _hidden(self) -> Floats:
        """Share of each foot that the cap hides."""
        return np.maximum(0.0, 1 - self.shows_rel)

    def _quantities(
        self,
        values: Floats,
        own: Mapping[str, Floats],
        *,
        scaled: bool = True,
        by_rim: Floats | None = None,
        by_foot: Floats | None = None,
    ) -> list[Quantity]:
        """Own contributions by cause; sensitivities to the rings' heights, mm a mm; ``scaled``:
        grows with the photo's scale."""
        mine = np.zeros((len(values), len(OWN_CAUSES)))
        shared = np.zeros((len(values), len(SHARED_CAUSES)))
        for cause, u in own.items():
            mine[:, _OWN[cause]] = u
        for slope, own_u_mm, cause, u_mm in (
            (by_rim, RIM_OWN_U_MM, "height of the cap rims", self.heights.cap_rim_u_mm),
            (by_foot, FOOT_OWN_U_MM, "height of the feet", self.heights.foot_u_mm),
        ):
            if slope is not None:
                lift = mine[:, _OWN["this shell's ring heights"]]
                mine[:, _OWN["this shell's ring heights"]] = np.hypot(lift, slope * own_u_mm)
                shared[:, _SHARED[cause]] = slope * u_mm
        if scaled:
            shared[:, _SHARED["card print"]] = values * PRINT_SCALE_REL
            thick = values * CARD_THICKNESS_U_MM / self.height_mm
            shared[:, _SHARED["card thickness and flatness"]] = thick
            shared[:, -len(VIEW_ORDER) :] = values[:, None] * self.scale_rel
        return quantities_of(values.tolist(), mine, shared)

    def _edges(self, radius_u_mm: Floats, times: float = 2.0) -> dict[str, Floats]:
        return {
            "edge points": times * radius_u_mm,
            "neighbours and shadows": times * HIDDEN_ARC_U_MM * self.blocked_rel,
        }

    def cap_diameters(self, values: Floats) -> list[Quantity]:
        """A rim that is higher than thought is nearer to the camera, and so smaller."""
        return self.bare_diameters(values)

    def foot_diameters(self, values: Floats) -> list[Quantity]:
        """Where half of the foot is hidden, the heights decide how the other half is placed."""
        return self._quantities(
            values,
            self._edges(self.foot_radius_u_mm),
            by_rim=self._hidden * self.slant,
            by_foot=-values / self.height_mm,
        )

    def bare_diameters(self, values: Floats) -> list[Quantity]:
        """Of shells whose foot does not show: their caps stand on the liner, or hide it, or it is
        not known which of both."""
        by_height = values / self.height_mm
        apart = self.heights.cap_rim_mm - self.heights.bare_rim_mm
        unsure = np.where(self.stands == 0.5, apart / 2, 0.0)
        own = self._edges(self.cap_radius_u_mm)
        own["this shell's ring heights"] = by_height * unsure
        on_liner = by_height * BARE_RIM_U_MM / max(self.heights.foot_u_mm, 1e-9)
        return self._quantities(
            values,
            own,
            by_rim=-by_height * self.stands,
            by_foot=-on_liner * (1 - self.stands),
        )

    def roundnesses(self, values: Floats) -> list[Quantity]:
        """A range of radii; a slant stretches the hidden side by the heights."""
        own = self._edges(np.maximum(self.cap_radius_u_mm, self.foot_radius_u_mm))
        return self._quantities(values, own, scaled=False, by_rim=0.3 * self.slant)

    def foot_spreads(self, values: Floats) -> list[Quantity]:
        own = self._edges(np.hypot(self.cap_radius_u_mm, self.foot_radius_u_mm), 1.0)
        return self._quantities(values, own, scaled=False, by_rim=self._hidden * self.slant)

    def leans(self, values: Floats) -> list[Quantity]:
        """The rims' height is known, or not, against the feet: theirs above the liner cancels."""
        own = self._edges(np.hypot(self.cap_centre_u_mm, self.foot_centre_u_mm), 1.0)
        return self._quantities(values, own, scaled=False, by_rim=self.slant)

    def ratios(self, values: Floats) -> list[Quantity]:
        """Of two sizes alike, so that what scales them cancels."""
        return self._quantities(values, {}, scaled=False)


def widths(values: Sequence[float], diameters: Sequence[Quantity]) -> list[Quantity]:
    """Caliper widths: as the diameters, and one pair of points instead of all."""
    return [replace(q, value=value) for value, q in zip(values, diameters, strict=True)]
