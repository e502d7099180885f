"""Everything that is looked for on the surfaces of one photo's shells, in one go.

The caps are brought to plan view once (`cap_patch`), and every step works on that.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from petitpied.domain.photo import Photo
from petitpied.domain.quantity import Quantity
from petitpied.domain.record import SeenCard
from petitpied.domain.settings import Settings
from petitpied.domain.shell import Shell
from petitpied.domain.surface import Crack, TrayColour
from petitpied.domain.view import View
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


def scene_of(
    photo: Photo,
    settings: Settings,
    view: View,
    cards: tuple[SeenCard, ...],
    shells: Sequence[Shell],
) -> Scene:
    """The photo and its shells, as `survey` looks at them."""
    thickness_mm = settings.card_thickness_mm
    return Scene(photo.pixels_bgr, view, cards, thickness_mm, tuple(shells), settings.reference)


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
        shell = with_cracks(result[index], cracks)
        whole = replace(shell.surface, foot=foot, crack_confidence=likeliest)
        result[index] = replace(shell, surface=whole)
    surface = tray_surface(replace(scene, shells=tuple(result)), patches, seen)
    return Survey(surface.shells, found.smallest_width_mm, surface.colour, surface.warnings)


def with_cracks(shell: Shell, cracks: Sequence[Crack]) -> Shell:
    """A shell with its cracks and their length in all; the scale's doubt is its diameter's."""
    size = shell.sizes.diameter_mm
    scale_rel = size.u_shared / size.value if size else 0.0
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
    length = Quantity(total, own, scale_rel * total)
    surface = replace(shell.surface, cracks=scaled, crack_length_mm=length)
    return replace(shell, surface=surface)


def _scaled(quantity: Quantity, scale_rel: float) -> Quantity:
    return Quantity(quantity.value, quantity.u_own, scale_rel * quantity.value)
