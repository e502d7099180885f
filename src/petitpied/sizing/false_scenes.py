"""Photos that are none of a tray: of another photo, of a screen, or beside a card that is not as
large as it says. What shells of life show, and such pictures do not."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from petitpied.contours.ring_steps import Parallax
from petitpied.domain.shell import Shell
from petitpied.domain.view import View
from petitpied.finding.screen_grid import PEAK

Floats = NDArray[np.float64]

#: diameters that macarons have, mm: from the smallest petits fours to large ones for one person
#: (common practice, no source)
USUAL_MM = (25.0, 60.0)
#: seen at a slant, tangent of the angle in the mean, caps of life stand off their feet as far as
#: they lie above them; on a photo of a photo they do not, and seem to lean by that much, mm, and by
#: that many mm per unit of slant. On traced trays from 1 to 13 degrees caps lean by at most 0.1 mm;
#: photos of them, photographed anew from 25 degrees, by 0.9 to 2.5 mm, 1.8 to 4.2 mm per unit
SLANT, LEAN_MM, LEAN_PER_SLANT_MM = 0.2, 0.5, 1.2


def size_words(shells: Sequence[Shell]) -> list[str]:
    """A sentence where the shells are of a size that no macaron has."""
    known = [s.sizes.diameter_mm.value for s in shells if s.sizes.diameter_mm is not None]
    middle_mm = float(np.median(known)) if known else USUAL_MM[0]
    if USUAL_MM[0] <= middle_mm <= USUAL_MM[1]:
        return []
    than = "larger" if middle_mm > USUAL_MM[1] else "smaller"
    return [
        f"the shells would be {middle_mm:.0f} mm across, {than} than macarons are: the card is "
        "probably not at its true size (printed to fit the page, or shown on a screen); measure "
        "its 100 mm bar with a ruler (petitpied card --check)"
    ]


def grid_words(peak: float) -> list[str]:
    """A sentence where a grid lies over the caps; ``peak`` as `screen_grid.grid_peak` has it."""
    if peak < PEAK:
        return []
    return [
        "a fine regular pattern lies over the whole photo, caps too: it looks like a photo of a "
        "screen or of a print, and its sizes cannot be trusted; photograph the tray itself"
    ]


def flat_words(view: View, centres_mm: Floats, parallax: Parallax) -> list[str]:
    """A sentence where caps and feet lie in one plane; ``centres_mm`` (S, 2), frame of ``view``."""
    camera = view.camera_centre_mm
    slant = (centres_mm - camera[:2]).mean(axis=0) / -camera[2]
    steep = float(np.hypot(*slant))
    lean = float(np.hypot(*parallax.draught_mm))
    if steep < SLANT or lean < LEAN_MM:
        return []
    if float(parallax.draught_mm @ slant) / steep**2 < LEAN_PER_SLANT_MM:
        return []
    angle_deg = float(np.rad2deg(np.arctan(steep)))
    return [
        f"the card is seen from a slant of {angle_deg:.0f} degrees and the shells are not: caps "
        "and feet lie in one plane, as on a photo of a photo; sizes may be wrong by several per "
        "cent; photograph the tray itself"
    ]
