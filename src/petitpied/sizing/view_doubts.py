"""What makes a photo's millimetres doubtful, said with the size of the effect and a remedy."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from petitpied.camera.find_card import CardSighting
from petitpied.camera.view import SolvedView
from petitpied.domain.uncertainty import VIEW_ORDER
from petitpied.domain.view import PARAMETERS, View
from petitpied.sizing.budget import scale_slopes

Floats = NDArray[np.float64]

#: beyond this tilt half of every foot hides behind its cap (common practice, no source)
TILT_WARN_DEG = 20.0
#: fewer pixels a millimetre than this and an edge's place is known to a fifth of a millimetre
#: at best (a tenth of a pixel, times the blur of a reduced picture)
COARSE_PX_PER_MM = 2.5
#: edges of the card that are spread over more than this, mm, blur the shells' edges as much
BLUR_WARN_MM = 0.45
#: shell that effects are stated for, mm
USUAL_SHELL_MM = 45.0
#: effects of the lens, and of where the camera stood, on that shell that are worth a word, mm
#: (95 %): a quarter of what bakers tell apart by eye (common practice, no source)
LENS_WARN_MM = POSE_WARN_MM = 0.25
#: how much higher than thought a rim may be, mm: the spread of the default heights
RELIEF_MM = 1.0
#: effect of that on the shell's size, right below the camera, that is worth a word, mm
CLOSE_WARN_MM = 0.1
#: where in the picture effects are stated: this far from its edge, relative to its sides
INSET_REL = 0.15
#: columns of the lens among `PARAMETERS`
LENS = np.array([i for i, name in enumerate(PARAMETERS) if name[0] not in "rt"])


def blur_mm(sightings: Sequence[CardSighting]) -> float:
    """How far the photo spreads the cards' edges, mm (standard deviation); 0 where none tells."""
    seen = max(s.edge_blur_px / s.px_per_mm for s in sightings)
    return float(seen) if np.isfinite(seen) else 0.0


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
    spread_mm = blur_mm(sightings)
    if spread_mm > BLUR_WARN_MM:
        warnings.append(
            f"the photo is blurred: the card's edges are spread over {2 * spread_mm:.1f} mm; hold "
            "still, wipe the lens, and let the camera focus on the tray"
        )
    if solved.rejected_rel > 0.25:
        warnings.append(
            f"{solved.rejected_rel:.0%} of the card's corners did not fit the rest (covered, in "
            "glare or bent); lay it flat and clear"
        )
    outer = _outer_places_mm(view)
    return warnings + _too_close(view, outer) + _lens_and_pose(view, outer)


def _outer_places_mm(view: View) -> Floats:
    """Places (4, 2) on the liner near the picture's corners; the picture is taken to be twice as
    wide and high as its principal point lies from the edge."""
    width, height = 2 * view.camera_matrix[:2, 2]
    near, far = INSET_REL, 1 - INSET_REL
    inset = np.array([(near, near), (far, near), (near, far), (far, far)])
    return view.to_plane(inset * [width, height])


def _too_close(view: View, outer_mm: Floats) -> list[str]:
    """Close up, a rim's height decides how large and where it seems."""
    centre = view.camera_centre_mm
    height_mm = -float(centre[2])
    below_mm = USUAL_SHELL_MM * RELIEF_MM / height_mm
    if below_mm < CLOSE_WARN_MM:
        return []
    slant = float((np.hypot(*(outer_mm - centre[:2]).T) / height_mm).max())
    return [
        f"the photo was taken from only {height_mm:.0f} mm: a shell with a rim {RELIEF_MM:.0f} mm "
        f"higher than thought reads {below_mm:.1f} mm larger, and at the tray's edge its cap seems "
        f"shifted by {slant * RELIEF_MM:.1f} mm; stand back to 700 mm or more and zoom in, or give "
        "--shell-height"
    ]


def _lens_and_pose(view: View, outer_mm: Floats) -> list[str]:
    """What the lens, and what the rest of the view, leave open near the picture's corners."""
    # one independent doubt a column; a view's doubts are shared out in the order of their causes
    variance = scale_slopes(view, outer_mm) ** 2
    of_lens = np.isin(VIEW_ORDER, LENS)
    by_lens, rest = (
        1.96 * USUAL_SHELL_MM * float(np.sqrt(variance[:, part].sum(axis=1).max()))
        for part in (of_lens, ~of_lens)
    )
    if by_lens > LENS_WARN_MM and by_lens >= rest:
        return [
            f"the lens is not known well: near the picture's corners a shell of "
            f"{USUAL_SHELL_MM:.0f} mm may read up to {by_lens:.1f} mm off; measure the lens once "
            "(petitpied lens), or lay a second card at the far corner, or stand back and zoom in"
        ]
    if rest > POSE_WARN_MM:
        return [
            f"one card leaves open how the camera was tilted: at the far corner a shell of "
            f"{USUAL_SHELL_MM:.0f} mm may read up to {rest:.1f} mm off; lay a second card there"
        ]
    return []
