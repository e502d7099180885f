"""What makes a photo's millimetres doubtful, said with the size of the effect and a remedy."""

from collections.abc import Sequence

import numpy as np

from petitpied.domain.view import View
from petitpied.vision.find_card import CardSighting
from petitpied.vision.view import SolvedView

#: beyond this tilt half of every foot hides behind its cap (common practice, no source)
TILT_WARN_DEG = 20.0
#: fewer pixels a millimetre than this and an edge's place is known to a fifth of a millimetre
#: at best (a tenth of a pixel, times the blur of a reduced picture)
COARSE_PX_PER_MM = 2.5
#: edges of the card that are spread over more than this, mm, blur the shells' edges as much
BLUR_WARN_MM = 0.45
#: scale uncertainty at the tray's corners, relative, that is worth a word: 0.25 mm on 45 mm
SCALE_WARN_REL = 0.0055


def view_warnings(
    view: View, solved: SolvedView, sightings: Sequence[CardSighting], focal_known: bool
) -> list[str]:
    """Plain sentences, each with the measured reason; [] for a good photo."""
    warnings = []
    if not focal_known:
        warnings.append(
            "the photo does not tell the lens's focal length, so the tilt is less certain: send "
            "the original file with its data, or give --focal-35mm"
        )
    if view.tilt_deg > TILT_WARN_DEG:
        warnings.append(
            f"the camera was tilted by {view.tilt_deg:.0f} degrees: feet on the far side are "
            "hidden; hold the phone level above the tray"
        )
    scale = min(s.px_per_mm for s in sightings)
    if scale < COARSE_PX_PER_MM:
        warnings.append(
            f"the tray is small in the picture, {scale:.1f} pixels a millimetre: edges are known "
            f"to about {0.5 / scale:.1f} mm; fill the picture with the tray"
        )
    blur_mm = max(s.edge_blur_px / s.px_per_mm for s in sightings)
    if np.isfinite(blur_mm) and blur_mm > BLUR_WARN_MM:
        warnings.append(
            f"the photo is blurred: the card's edges are spread over {2 * blur_mm:.1f} mm; hold "
            "still, wipe the lens, and let the camera focus on the tray"
        )
    if solved.rejected_rel > 0.25:
        warnings.append(
            f"{solved.rejected_rel:.0%} of the card's corners did not fit the rest (covered, in "
            "glare or bent); lay it flat and clear"
        )
    return warnings
