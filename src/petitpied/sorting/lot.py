"""A lot of shells as sorting sees it, from one tray or many."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.quantity import Quantity
from petitpied.numerics.polygons import area_of, areas_and_centroids

#: lowest and highest undulations a turn kept of an outline: 1 is the centre's place; 15 as for
#: roundness (ISO 12181-1, filter of 15 UPR)
FIRST_ORDER, LAST_ORDER = 2, 15
ORDERS = np.arange(FIRST_ORDER, LAST_ORDER + 1)

Complexes = NDArray[np.complex128]


class Verdict(StrEnum):
    """What becomes of a shell, best first: the upper half of a macaron, the lower half, or crumbs
    for bases and toppings. A top can be a bottom too."""

    TOP = "top"
    BOTTOM = "bottom"
    CRUMBS = "crumbs"
    BY_EYE = "check by eye"


@dataclass(frozen=True)
class LotShell:
    """One measured shell of a lot.

    ``record`` names its tray (the record's file name), ``id`` its place on it. ``harmonics_mm``
    (14,) is the outline's shape without its size: the radius about the outline's centroid at
    angle t (tray frame, from +x towards +y) is ``r0 + sum_k Re(c_k exp(i k t))``, k = 2 to 15.
    ``lab``: mean colour of the cap, CIELAB D65. ``flavour`` "" and ``verdict`` None: not known.
    """

    record: str
    id: str
    diameter_mm: Quantity
    harmonics_mm: Complexes
    lab: tuple[float, float, float] | None = None
    height_mm: Quantity | None = None
    flavour: str = ""
    verdict: Verdict | None = None

    @property
    def key(self) -> tuple[str, str]:
        """Tray and place: no two shells of a lot have the same."""
        return self.record, self.id


def harmonics_of(outline_mm: NDArray[np.float64]) -> Complexes:
    """Harmonics (14,) of a closed outline's radius about its centroid, as in `LotShell`.

    Parameters
    ----------
    outline_mm : ndarray of shape (N, 2)
        Vertices in order, plan view, N >= 8; every ray from the centroid meets the outline
        once, as it does on anything as round as a shell.

    Raises
    ------
    ValueError
        If there are too few vertices or the outline has no area.
    """
    if outline_mm.ndim != 2 or outline_mm.shape[1] != 2 or len(outline_mm) < 8:
        raise ValueError(f"outline_mm must have shape (N >= 8, 2), got {outline_mm.shape}")
    if area_of(outline_mm) < 1e-9:
        raise ValueError("outline_mm has no area")
    offset = outline_mm - areas_and_centroids(outline_mm[None])[1][0]
    angle = np.arctan2(offset[:, 1], offset[:, 0]) % (2 * np.pi)
    order = np.argsort(angle)
    even = np.linspace(0, 2 * np.pi, 256, endpoint=False)
    radius = np.interp(even, angle[order], np.hypot(*offset.T)[order], period=2 * np.pi)
    # Re(c exp(i k t)) over one turn: c_k = 2/N sum r exp(-i k t)
    return np.asarray(2 * np.fft.rfft(radius)[FIRST_ORDER : LAST_ORDER + 1] / len(even))
