"""Shells: as found (seed), as modelled (two rings), as measured."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.measures import Sizes, Surface
from petitpied.domain.quantity import Quantity

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Seed:
    """A shell as proposed by the finder, frame px of the full photo.

    ``outline_px`` (N, 2) is coarse and closed, of what the camera sees (silhouette);
    ``cap_outline_px`` (M, 2) likewise the cap inside it, where the finder could tell.
    ``whole`` is False when the shell is cut by the frame. ``touching`` holds the indices, in
    the same tuple of seeds, of the shells that it touches.
    """

    centre_px: tuple[float, float]
    outline_px: Floats
    score: float  # 0 to 1
    whole: bool = True
    touching: tuple[int, ...] = ()
    cap_outline_px: Floats | None = None


@dataclass(frozen=True)
class Ring:
    """A closed curve at one height: radius as a Fourier series about a centre, world frame mm.

    ``r(t) = radius_mm + sum_k cos_mm[k-2] cos(k t) + sin_mm[k-2] sin(k t)``, k = 2, 3, ...;
    the angle t runs from +x towards +y. Order 1 is the centre itself.
    """

    centre_mm: tuple[float, float]
    radius_mm: float
    cos_mm: Floats
    sin_mm: Floats
    height_mm: float

    def radius_at(self, angle_rad: Floats) -> Floats:
        """Radius (N,) mm at angles (N,)."""
        order = np.arange(2, 2 + len(self.cos_mm))
        phase = np.multiply.outer(angle_rad, order)
        return np.asarray(
            self.radius_mm + np.cos(phase) @ self.cos_mm + np.sin(phase) @ self.sin_mm, float
        )

    def points_mm(self, count: int = 360) -> Floats:
        """Vertices (count, 2), in order of angle."""
        t = np.linspace(0, 2 * np.pi, count, endpoint=False)
        direction = np.column_stack([np.cos(t), np.sin(t)])
        return np.asarray(self.centre_mm + self.radius_at(t)[:, None] * direction, float)


@dataclass(frozen=True)
class Place:
    """Where a shell is: millimetres in the tray frame, pixels in the photo.

    Outlines (N, 2) are closed, of the plan view as the camera sees it. ``touching``: ids of the
    shells that it touches.
    """

    row: int  # 0 is the row farthest from the door
    column: int  # 0 is the left-most place of the lattice
    centre_px: tuple[float, float]
    centre_mm: tuple[float, float] | None
    outline_px: Floats
    cap_outline_px: Floats | None
    touching: tuple[str, ...] = ()


@dataclass(frozen=True)
class Shell:
    """One shell in plan view: where it is, its sizes, its surface.

    A shell that could not be measured has ``None`` in every measure and says why in
    ``not_measured``; a single measure that could not be taken is ``None`` with its reason in
    ``missing`` (field name to reason).
    """

    id: str
    place: Place
    sizes: Sizes = field(default_factory=Sizes)
    surface: Surface = field(default_factory=Surface)
    not_measured: str | None = None
    missing: tuple[tuple[str, str], ...] = ()
    doubts: tuple[str, ...] = ()  # reasons to trust this shell's numbers less, plain words
    verdict: str | None = None  # top, bottom, crumbs or check by eye; None: not judged
    reasons: tuple[str, ...] = ()  # what decided the verdict, plain words

    def quantity(self, name: str) -> Quantity | None:
        """The measure whose field has this name."""
        part = self.sizes if hasattr(self.sizes, name) else self.surface
        found: Quantity | None = getattr(part, name)
        return found
