"""Everything that is looked for on the surfaces of one photo's shells, in one go.

The caps are brought to plan view once (`cap_patch`), and every step works on that.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from petitpied.domain.quantity import Quantity
from petitpied.domain.shell import Shell
from petitpied.domain.surface import Crack, TrayColour
from petitpied.surface.caps.cap_patch import cap_of, cap_patches
from petitpied.surface.cracks.search import LEAST_LENGTH_MM, find_cracks
from petitpied.surface.foot.foot_ring import RimHeights, feet_of
from petitpied.surface.tray_surface import Scene, tray_surface

#: a shell without a crack that is told may have a shorter one: rectangular from 0 to that length
NO_CRACK_U_MM = LEAST_LENGTH_MM / float(np.sqrt(12))


@dataclass(frozen=True)
class Survey:
    """Shells with what their surfaces show, and what the photo as a whole can show."""

    shells: tuple[Shell, ...]
    smallest_crack_width_mm: Quantity | None = None
    colour: TrayColour | None = None
    warnings: tuple[str, ...] = ()


def survey(scene: Scene, heights: RimHeights, crack_score: float | None = None) -> Survey:
    """Shells (frame of the view) with cracks, foot, colour and marks; those without a cap stay as
    they are. ``crack_score``: from which score on a dark line is a crack, else the tool's own."""
    pixels_bgr, view, shells = scene.pixels_bgr, scene.view, scene.shells
    caps = [cap_of(view, shell, heights.rim_of(shell)) for shell in shells]
    seen = [index for index, cap in enumerate(caps) if cap is not None]
    if not seen:
        return Survey(tuple(shells))
    result = list(shells)
    patches = cap_patches(pixels_bgr, view, [cap for cap in caps if cap is not None])
    found = find_cracks(pixels_bgr, patches, crack_score)
    feet = feet_of(pixels_bgr, view, [shells[i] for i in seen], heights)
    each = zip(seen, found.cracks, found.likeliest, feet, strict=True)
    for index, cracks, likeliest, foot in each:
        told = with_cracks(result[index], cracks)
        result[index] = replace(told, foot=foot, crack_confidence=likeliest)
    surface = tray_surface(replace(scene, shells=tuple(result)), patches, seen)
    return Survey(surface.shells, found.smallest_width_mm, surface.colour, surface.warnings)


def with_cracks(shell: Shell, cracks: Sequence[Crack]) -> Shell:
    """A shell with its cracks and their length in all; the scale's doubt is its diameter's."""
    scale_rel = shell.diameter_mm.u_shared / shell.diameter_mm.value if shell.diameter_mm else 0.0
    scaled = tuple(
        replace(
            crack,
            length_mm=_scaled(crack.length_mm, scale_rel),
            width_mm=None if crack.width_mm is None else _scaled(crack.width_mm, scale_rel),
        )
        for crack in cracks
    )
    total = sum(crack.length_mm.value for crack in scaled)
    own = float(np.hypot.reduce([crack.length_mm.u_own for crack in scaled] or [NO_CRACK_U_MM]))
    return replace(shell, cracks=scaled, crack_length_mm=Quantity(total, own, scale_rel * total))


def _scaled(quantity: Quantity, scale_rel: float) -> Quantity:
    return Quantity(quantity.value, quantity.u_own, scale_rel * quantity.value)
