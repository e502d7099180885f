"""What edges in a photo are worth as witnesses of a ruffled, shaded outline.

Known from scenes with exact truth, not from the photo: single shells scatter about their scene
("outline definition"), and all shells of a scene are off together ("edge evidence of this
scene"), the more the less the foot's colour differs from the liner's. The figures are fitted by
`python -m tests.benchmarks --only coverage --calibrate` on the tuning scenes and printed by it
in the form in which they stand here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.quantity import Quantity
from petitpied.domain.shell import Shell
from petitpied.domain.uncertainty import OWN_CAUSES, SHARED_CAUSES, quantity_of

Floats = NDArray[np.float64]

#: where the colours inside and outside an outline are taken, mm from it
INSIDE_MM, OUTSIDE_MM = (-0.8, -0.6, -0.4), (0.5, 0.8, 1.1)
#: the outline's contrast is that of its faintest fifth: there edges go astray
FAINT_PERCENTILE = 20
#: contrast, CIELAB difference, at which the figures below hold, and the range over which their
#: change was seen
USUAL_CONTRAST, CONTRAST_RANGE = 17.0, (8.0, 36.0)


@dataclass(frozen=True)
class Witness:
    """Standard uncertainties at the usual contrast, unit of the quantity: of a shell about its
    scene, of the scene; both grow as contrast to the power of ``-fading``."""

    own: float
    scene: float
    fading: float


#: fitted on 28 traced scenes, see above
WITNESSES: dict[str, Witness] = {
    "diameter_mm": Witness(0.2, 0.2, 1.0),
    "cap_diameter_mm": Witness(0.35, 0.25, 0.0),
    "foot_diameter_mm": Witness(0.2, 0.2, 1.0),
    "feret_min_mm": Witness(0.3, 0.3, 1.0),
    "feret_max_mm": Witness(0.35, 0.35, 1.0),
    "roundness_mm": Witness(0.25, 0.15, 1.0),
    "circularity": Witness(0.002, 0.001, 1.0),
    "aspect_ratio": Witness(0.006, 0.003, 1.0),
    "foot_spread_mm": Witness(0.15, 0.12, 0.0),
    "lean_mm": Witness(0.2, 0.1, 0.0),
}
_DEFINITION = list(OWN_CAUSES).index("outline definition")
_SCENE = SHARED_CAUSES.index("edge evidence of this scene")


def outline_contrast(pixels_bgr: NDArray[np.uint8], shell: Shell) -> float:
    """CIELAB difference (CIE76) across the faintest fifth of a measured shell's outline."""
    if shell.diameter_mm is None:
        raise ValueError("a shell without millimetres has no contrast at millimetres")
    centre = np.array(shell.centre_px)
    away = shell.outline_px - centre
    reach = np.hypot(*away.T)[:, None]
    px_per_mm = 2 * float(reach.mean()) / shell.diameter_mm.value

    def colour(offsets_mm: Sequence[float]) -> Floats:
        places = [centre + away / reach * (reach + px_per_mm * mm) for mm in offsets_mm]
        at = np.array(places, np.float32)
        seen = cv2.remap(pixels_bgr, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
        lab = cv2.cvtColor(seen.astype(np.float32) / 255, cv2.COLOR_BGR2LAB)
        return np.asarray(lab.mean(axis=0), float)

    step = np.linalg.norm(colour(INSIDE_MM) - colour(OUTSIDE_MM), axis=1)
    return float(np.percentile(step, FAINT_PERCENTILE))


def fading(contrast: Floats | float, power: float) -> Floats:
    """How many times less an edge of this contrast is worth; shape as given."""
    return np.asarray((USUAL_CONTRAST / np.clip(contrast, *CONTRAST_RANGE)) ** power, float)


def _with(quantity: Quantity, own_u: float, scene_u: float) -> Quantity:
    own, shared = list(quantity.own), list(quantity.shared)
    own[_DEFINITION], shared[_SCENE] = own_u, scene_u
    return quantity_of(quantity.value, own, shared)


def _judged(shell: Shell, contrast: float, scene_contrast: float) -> Shell:
    changed: dict[str, Any] = {}
    for name, known in WITNESSES.items():
        quantity: Quantity | None = getattr(shell, name)
        if quantity is not None:
            own_u = known.own * float(fading(contrast, known.fading))
            scene_u = known.scene * float(fading(scene_contrast, known.fading))
            changed[name] = _with(quantity, own_u, scene_u)
    return replace(shell, **changed)


def with_evidence(pixels_bgr: NDArray[np.uint8], shells: Sequence[Shell]) -> tuple[Shell, ...]:
    """Shells with what their edges are worth in every size's uncertainty; unmeasured ones as
    they are."""
    contrast = {s.id: outline_contrast(pixels_bgr, s) for s in shells if s.diameter_mm is not None}
    if not contrast:
        return tuple(shells)
    scene = float(np.median(list(contrast.values())))
    return tuple(_judged(s, contrast[s.id], scene) if s.id in contrast else s for s in shells)
