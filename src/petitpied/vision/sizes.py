"""From a shell's two rings to its sizes, with their uncertainty and their reasons."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.quantity import Quantity
from petitpied.domain.shell import Ring
from petitpied.domain.view import View
from petitpied.vision.budget import ShellDoubt
from petitpied.vision.foot import foot_and_lean
from petitpied.vision.outline import OutlineSize, measure_outline, ring_points, union_outline

Floats = NDArray[np.float64]

#: vertices of an outline kept in the record
OUTLINE_POINTS = 180
NO_FOOT = "no foot seen: hidden under the cap, or not there"
#: share of rays without own edge beyond which a shell's shape is doubtful
DOUBTFUL_REL = 0.35


@dataclass(frozen=True)
class Sizes:
    """Everything measured on one shell; frame of the rings (world), see `domain.shell.Shell`."""

    centre_mm: tuple[float, float]
    outline_px: Floats
    cap_outline_px: Floats
    quantities: dict[str, Quantity | None]
    lean_dir_deg: float | None
    missing: tuple[tuple[str, str], ...]


def _outline_px(view: View, outline_mm: Floats, foot: Ring | None, cap: Ring) -> Floats:
    """The plan-view outline as the camera sees it: each vertex at the height of its ring."""
    heights = np.full(len(outline_mm), cap.height_mm)
    if foot is not None:
        offset = outline_mm - foot.centre_mm
        reach = foot.radius_at(np.arctan2(offset[:, 1], offset[:, 0]))
        heights = np.where(np.hypot(*offset.T) < 1.005 * reach, foot.height_mm, cap.height_mm)
    return view.project(outline_mm, heights)


def _circularity(size: OutlineSize, doubt_mm: float) -> Quantity:
    # P^2 grows with the square of the harmonics: a doubt of the shape of u mm in the radius
    # moves circularity by about its own deficit, doubled, times u over the roundness
    deficit = 1 - size.circularity
    u = 2 * deficit * min(1.0, doubt_mm / max(size.roundness_mm, 1e-6)) + 1e-4
    return Quantity(size.circularity, float(u))


def measure_shell(view: View, cap: Ring, foot: Ring | None, doubt: ShellDoubt) -> Sizes:
    """Sizes of one shell from its rings; the outline is the union of both in plan view."""
    outline = union_outline(foot, cap) if foot is not None else ring_points(cap, 360)
    size = measure_outline(outline)
    cap_size = measure_outline(ring_points(cap, 360))
    diameter = doubt.diameter(size.diameter_mm, foot is not None)
    quantities: dict[str, Quantity | None] = {
        "diameter_mm": diameter,
        "cap_diameter_mm": doubt.cap_diameter(cap_size.diameter_mm),
        "feret_min_mm": doubt.width(size.feret_min_mm, diameter),
        "feret_max_mm": doubt.width(size.feret_max_mm, diameter),
        "roundness_mm": doubt.roundness(size.roundness_mm),
        "circularity": _circularity(size, doubt.roundness(0).u),
        "aspect_ratio": Quantity(
            size.aspect_ratio,
            float(np.hypot(*[doubt.width(w, diameter).u_own for w in (1.0, 1.0)]) / size.diameter_mm),
        ),
        "foot_diameter_mm": None,
        "foot_spread_mm": None,
        "lean_mm": None,
        "height_mm": None,
    }
    missing = [("height_mm", "one photo does not show a single shell's height")]
    direction = None
    if foot is None:
        missing += [(n, NO_FOOT) for n in ("foot_diameter_mm", "foot_spread_mm", "lean_mm")]
    else:
        against = foot_and_lean(foot, cap)
        foot_size = measure_outline(ring_points(foot, 360))
        quantities["foot_diameter_mm"] = doubt.foot_diameter(foot_size.diameter_mm)
        quantities["foot_spread_mm"] = doubt.foot_spread(against.foot_spread_mm)
        quantities["lean_mm"] = doubt.lean(against.lean_mm)
        direction = against.lean_dir_deg
    thinned = outline[:: max(1, len(outline) // OUTLINE_POINTS)]
    return Sizes(
        size.centroid_mm,
        _outline_px(view, thinned, foot, cap),
        view.project(ring_points(cap, OUTLINE_POINTS), cap.height_mm),
        quantities,
        direction,
        tuple(missing),
    )
