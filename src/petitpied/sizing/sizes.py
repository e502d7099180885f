"""From a shell's two rings to its sizes, with their uncertainty and their reasons."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.contours.heights import RULER
from petitpied.contours.ring_geometry import Rings
from petitpied.domain.quantity import Quantity
from petitpied.domain.shell import Ring
from petitpied.domain.view import View
from petitpied.sizing.budget import ShellDoubts, widths
from petitpied.sizing.foot import FootAndLean, feet_and_leans
from petitpied.sizing.outline import (
    ANGLES,
    OutlineSize,
    areas_and_centroids,
    measure_outlines,
    rings_points,
    union_outlines,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: vertices of an outline kept in the record
OUTLINE_POINTS = 180
NO_FOOT = "no foot seen: hidden under the cap, or not there"
NO_HEIGHT = "one photo does not show a single shell's height: give two, with --same-tray"
NO_HEIGHT_RULER = f"the height that you gave is the tray's, not this shell's; {NO_HEIGHT}"
#: share of rays without own edge beyond which a shell's shape is doubtful
DOUBTFUL_REL = 0.35


@dataclass(frozen=True)
class Sizes:
    """Everything measured on one shell; frame of the rings (world), see `domain.shell.Shell`.

    ``quantities`` holds what is measured, ``missing`` what is not, with the reason.
    """

    centre_mm: tuple[float, float]
    outline_px: Floats
    cap_outline_px: Floats
    quantities: dict[str, Quantity]
    lean_dir_deg: float | None
    missing: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class _Shape:
    """What one shell's rings show: union outline, cap and foot diameters, foot against cap."""

    size: OutlineSize
    cap_diameter_mm: float
    foot_diameter_mm: float | None
    against: FootAndLean | None
    outline_px: Floats
    cap_outline_px: Floats


def _outlines_px(view: View, outlines_mm: Floats, caps: Rings, feet: Rings, has: Ints) -> Floats:
    """Plan-view outlines (S, N, 2) as the camera sees them: each vertex at its ring's height;
    ``feet`` are those of the shells ``has``."""
    heights = np.repeat(caps.height[:, None], outlines_mm.shape[1], axis=1)
    seen = feet.seen(outlines_mm[has])
    on_foot = seen.reach < 1.005 * seen.radius
    heights[has] = np.where(on_foot, feet.height[:, None], heights[has])
    return view.project(outlines_mm.reshape(-1, 2), heights.ravel()).reshape(outlines_mm.shape)


def _shapes(view: View, caps: Sequence[Ring], feet: Sequence[Ring | None]) -> list[_Shape]:
    """All shells at once: the arrays are small and each call has a price."""
    has = np.array([index for index, foot in enumerate(feet) if foot is not None], np.int64)
    own_feet = [foot for foot in feet if foot is not None]
    every_cap, every_foot = Rings.of(caps), Rings.of(own_feet)
    # twice as fine as the outlines are
    cap_points, foot_points = rings_points(caps, 2 * ANGLES), rings_points(own_feet, 2 * ANGLES)
    (cap_areas, cap_middles), (foot_areas, foot_middles) = (
        areas_and_centroids(points[:, ::2]) for points in (cap_points, foot_points)
    )
    outlines = cap_points[:, ::2].copy()
    between = (every_cap.centre[has] + every_foot.centre) / 2
    outlines[has] = union_outlines(foot_points, cap_points[has], between)
    against = feet_and_leans(
        foot_points[:, ::2], cap_points[has, ::2], foot_middles, cap_middles[has]
    )
    thinned = outlines[:, :: max(1, ANGLES // OUTLINE_POINTS)]
    outlines_px = _outlines_px(view, thinned, every_cap, every_foot, has)
    thin_caps = cap_points[:, :: 2 * ANGLES // OUTLINE_POINTS]
    heights = np.repeat(every_cap.height, OUTLINE_POINTS)
    caps_px = view.project(thin_caps.reshape(-1, 2), heights).reshape(thin_caps.shape)
    foot_number = {int(index): number for number, index in enumerate(has)}
    cap_diameters, foot_diameters = (
        np.sqrt(4 / np.pi * areas).tolist() for areas in (cap_areas, foot_areas)
    )
    return [
        _Shape(
            size,
            cap_diameters[index],
            None if (number := foot_number.get(index)) is None else foot_diameters[number],
            None if number is None else against[number],
            outlines_px[index],
            caps_px[index],
        )
        for index, size in enumerate(measure_outlines(outlines))
    ]


def measure_shells(
    view: View,
    caps: Sequence[Ring],
    feet: Sequence[Ring | None],
    doubts: ShellDoubts,
) -> tuple[Sizes, ...]:
    """Sizes of shells from their rings; the outline is the union of both in plan view."""
    if not caps:
        return ()
    shapes = _shapes(view, caps, feet)
    each = zip(shapes, _quantities(shapes, doubts), strict=True)
    no_height = NO_HEIGHT_RULER if doubts.heights.source == RULER else NO_HEIGHT
    return tuple(_sizes(shape, quantities, no_height) for shape, quantities in each)


def _quantities(shapes: Sequence[_Shape], doubts: ShellDoubts) -> list[dict[str, Quantity]]:
    """Every shell's sizes with their budgets; all shells' at once, as `_shapes`."""
    has = np.array([shape.against is not None for shape in shapes], bool)
    footed, bare = doubts.only(np.flatnonzero(has)), doubts.only(np.flatnonzero(~has))

    def values(name: str) -> Floats:
        return np.array([getattr(shape.size, name) for shape in shapes], float)

    diameter_mm = values("diameter_mm")
    with_foot = iter(footed.foot_diameters(diameter_mm[has]))
    without = iter(bare.bare_diameters(diameter_mm[~has]))
    diameters = [next(with_foot if own else without) for own in has.tolist()]
    cap_mm = np.array([shape.cap_diameter_mm for shape in shapes], float)
    of_all = {
        "diameter_mm": diameters,
        "cap_diameter_mm": doubts.cap_diameters(cap_mm),
        "feret_min_mm": widths(values("feret_min_mm").tolist(), diameters),
        "feret_max_mm": widths(values("feret_max_mm").tolist(), diameters),
        "roundness_mm": doubts.roundnesses(values("roundness_mm")),
        "circularity": doubts.ratios(values("circularity")),
        "aspect_ratio": doubts.ratios(values("aspect_ratio")),
    }
    feet = [s.foot_diameter_mm for s in shapes if s.foot_diameter_mm is not None]
    against = [shape.against for shape in shapes if shape.against is not None]
    of_feet = {
        "foot_diameter_mm": footed.foot_diameters(np.array(feet, float)),
        "foot_spread_mm": footed.foot_spreads(np.array([a.foot_spread_mm for a in against])),
        "lean_mm": footed.leans(np.array([a.lean_mm for a in against])),
    }
    found = [dict(zip(of_all, row, strict=True)) for row in zip(*of_all.values(), strict=True)]
    for index, row in zip(np.flatnonzero(has), zip(*of_feet.values(), strict=True), strict=True):
        found[index].update(zip(of_feet, row, strict=True))
    return found


def _sizes(shape: _Shape, quantities: dict[str, Quantity], no_height: str) -> Sizes:
    without_foot = [(n, NO_FOOT) for n in ("foot_diameter_mm", "foot_spread_mm", "lean_mm")]
    missing = [("height_mm", no_height), *(without_foot if shape.against is None else ())]
    return Sizes(
        shape.size.centroid_mm,
        shape.outline_px,
        shape.cap_outline_px,
        quantities,
        shape.against.lean_dir_deg if shape.against is not None else None,
        tuple(missing),
    )
