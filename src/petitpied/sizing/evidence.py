"""What edges in a photo are worth as witnesses of a ruffled, shaded outline.

Known from scenes with exact truth, not from the photo: single shells scatter about their scene
("outline definition"), and all shells of a scene are off together ("edge evidence of this
scene"), the more the less the foot's colour differs from the liner's. The figures are fitted by
`python -m tests.benchmarks --only coverage --calibrate` on the tuning scenes and printed by it
in the form in which they stand here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import hypot
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.quantity import Quantity
from petitpied.domain.shell import Shell
from petitpied.domain.uncertainty import OWN_CAUSES, SHARED_CAUSES, quantities_of
from petitpied.photo.colour_space import lab_of, linear_of

Floats = NDArray[np.float64]

#: where the colours inside and outside an outline are taken, mm from it
INSIDE_MM, OUTSIDE_MM = (-0.8, -0.6, -0.4), (0.5, 0.8, 1.1)
#: places round an outline that are looked at: one every 3 degrees, 1.2 mm on 45 mm
LOOKS = 120
#: the outline's contrast is that of its faintest fifth: there edges go astray
FAINT_PERCENTILE = 20
#: contrast, CIELAB difference, at which the figures below hold, and the range over which their
#: change was seen
USUAL_CONTRAST, CONTRAST_RANGE = 17.0, (8.0, 36.0)


@dataclass(frozen=True)
class Witness:
    """Standard uncertainties at the usual contrast, unit of the quantity: of a shell about its
    scene, of the scene; both grow as contrast to the power of ``-fading``. ``edges``: what the
    scatter of the edge points counts for: part of it is ruffles, which are the shell's own."""

    own: float
    scene: float
    fading: float
    edges: float = 1.0


#: fitted on traced scenes of two makers by `tests.benchmarks --only coverage --calibrate`; both
#: makers have the same say on the foot and the widths (TUNING.md)
WITNESSES: dict[str, Witness] = {
    "diameter_mm": Witness(0.051, 0.000, 0.5, 0.3),
    "cap_diameter_mm": Witness(0.100, 0.043, 0, 0.7),
    "foot_diameter_mm": Witness(0.017, 0.000, 1.5, 0.7),
    "feret_min_mm": Witness(0.160, 0.080, 0.5, 1),
    "feret_max_mm": Witness(0.233, 0.194, 0.5, 1),
    "roundness_mm": Witness(0.120, 0.038, 0.5, 0.3),
    "circularity": Witness(0.00063, 0.00037, 0, 1),
    "aspect_ratio": Witness(0.00613, 0.00292, 0.5, 1),
    "foot_spread_mm": Witness(0.033, 0.044, 0.5, 0.7),
    "lean_mm": Witness(0.008, 0.000, 1.5, 0.5),
}
#: the figures above hold for pictures of this fineness, mm a pixel; in coarser ones an edge is
#: known to no better than half a step of a JPEG's chroma, which stands at every second pixel:
#: rectangular, 1 px either way
USUAL_MM_PER_PX, CHROMA_U_PX = 0.13, float(1 / np.sqrt(12))
#: nor in a photo that spreads the edges of a card by more than this, mm, as usual (0.10 to 0.23
#: on tuning trays at 12 and 2.5 megapixels); of what a blur adds to that, this share, of a shell
#: and of the scene: fitted on 12 tuning trays blurred by 2.5 px (0.32 to 0.47 mm)
USUAL_BLUR_MM, BLUR_SHARE = 0.2, 0.2
#: how much of an edge's shift along the radius each size takes on
BY_RADIUS = {
    **dict.fromkeys(("diameter_mm", "cap_diameter_mm", "foot_diameter_mm"), 2.0),
    **dict.fromkeys(("feret_min_mm", "feret_max_mm"), 2.0),
    **dict.fromkeys(("roundness_mm", "foot_spread_mm", "lean_mm"), 1.0),
}
#: what edges smoothed from ray to ray do not show of a ruffled foot: a caliper rests on the tips.
#: Mean errors, fitted as above (JCGM 100, 3.2.4: corrections for a known effect)
RUFFLES = {
    "feret_min_mm": 0.46,
    "feret_max_mm": 0.70,
    "roundness_mm": 0.083,
    "circularity": -0.0005,
}
_DEFINITION = list(OWN_CAUSES).index("outline definition")
_EDGES = list(OWN_CAUSES).index("edge points")
_SCENE = SHARED_CAUSES.index("edge evidence of this scene")


def outline_contrasts(pixels_bgr: NDArray[np.uint8], shells: Sequence[Shell]) -> Floats:
    """CIELAB difference (CIE76) across the faintest fifth of each measured shell's outline (S,)."""
    places = _beside_outlines(shells).astype(np.float32)
    seen = cv2.remap(pixels_bgr, places[..., 0], places[..., 1], cv2.INTER_LINEAR)
    # OpenCV's own conversion takes 0.1 s to set up its tables
    lab = lab_of(linear_of(np.arange(256))[np.asarray(seen)[..., ::-1]])
    sides = lab.reshape(len(shells), 2, len(INSIDE_MM), LOOKS, 3).mean(axis=2)
    step = np.linalg.norm(sides[:, 0] - sides[:, 1], axis=-1)
    return np.asarray(np.percentile(step, FAINT_PERCENTILE, axis=1), float)


def _beside_outlines(shells: Sequence[Shell]) -> Floats:
    """Places (S x 2 x 3, LOOKS, 2), px, inside and outside each shell's outline."""
    diameter = np.array([s.diameter_mm.value for s in shells if s.diameter_mm is not None])
    if len(diameter) < len(shells):
        raise ValueError("a shell without millimetres has no contrast at millimetres")
    centre = np.array([shell.centre_px for shell in shells])[:, None]
    away = np.stack([s.outline_px[_look_places(len(s.outline_px))] for s in shells]) - centre
    reach = np.hypot(away[..., 0], away[..., 1])
    px_per_mm = 2 * reach.mean(axis=1) / diameter
    offsets_mm = np.array([*INSIDE_MM, *OUTSIDE_MM])[:, None]
    farther = reach[:, None] + px_per_mm[:, None, None] * offsets_mm
    unit = away / reach[..., None]
    places = centre[:, None] + unit[:, None] * farther[..., None]
    return np.asarray(places.reshape(-1, LOOKS, 2), float)


@cache
def _look_places(vertices: int) -> NDArray[np.int64]:
    """Which of an outline's vertices are looked beside (LOOKS,)."""
    return np.linspace(0, vertices, LOOKS, endpoint=False).astype(np.int64)


def fading(contrast: Floats | float, power: float) -> Floats:
    """How many times less an edge of this contrast is worth; shape as given."""
    return np.asarray((USUAL_CONTRAST / np.clip(contrast, *CONTRAST_RANGE)) ** power, float)


def coarseness_u_mm(shell: Shell) -> float:
    """Standard uncertainty of an edge from pixels coarser than usual, mm along the radius."""
    if shell.diameter_mm is None:
        return 0.0
    away = shell.outline_px - np.array(shell.centre_px)
    mm_per_px = shell.diameter_mm.value / (2 * float(np.hypot(*away.T).mean()))
    return CHROMA_U_PX * float(np.sqrt(max(mm_per_px**2 - USUAL_MM_PER_PX**2, 0.0)))


def blur_u_mm(blur_mm: float) -> float:
    """Standard uncertainty of an edge, mm along the radius, in a photo whose edges are spread by
    ``blur_mm`` (standard deviation): of a shell about its scene, and of the scene."""
    return BLUR_SHARE * float(np.sqrt(max(blur_mm**2 - USUAL_BLUR_MM**2, 0.0)))


def _with_ruffles(shell: Shell) -> dict[str, Quantity]:
    """Sizes that ruffles change by as much as the edges do not show, and the aspect ratio."""
    changed: dict[str, Quantity] = {}
    if shell.foot_diameter_mm is None:
        return changed
    for name, more in RUFFLES.items():
        quantity: Quantity | None = getattr(shell, name)
        if quantity is not None:
            changed[name] = replace(quantity, value=quantity.value + more)
    low, high, ratio = changed.get("feret_min_mm"), changed.get("feret_max_mm"), shell.aspect_ratio
    if low is not None and high is not None and ratio is not None:
        changed["aspect_ratio"] = replace(ratio, value=low.value / high.value)
    return changed


@dataclass(frozen=True)
class _Scene:
    """Of the measured shells (S,): contrast of each, `coarseness_u_mm`; of the photo: the usual
    contrast, `blur_u_mm`."""

    contrast: Floats
    coarse_mm: Floats
    usual_contrast: float
    blurred_mm: float

    def judge(self, name: str, shell: NDArray[np.intp], own: Floats, shared: Floats) -> None:
        """What edges are worth, put into contributions to one size of the shells numbered
        ``shell`` (N,): rows of ``own`` and ``shared``, changed in place."""
        known, by_radius = WITNESSES[name], BY_RADIUS.get(name, 0.0)
        own_u = known.own * fading(self.contrast[shell], known.fading)
        own[:, _DEFINITION] = np.hypot(own_u, by_radius * self.blurred_mm)
        own[:, _EDGES] *= known.edges
        scene_u = known.scene * float(fading(self.usual_contrast, known.fading))
        unsharp = hypot(scene_u, by_radius * self.blurred_mm)
        shared[:, _SCENE] = np.hypot(unsharp, by_radius * self.coarse_mm[shell])


def _judged(shells: Sequence[Shell], scene: _Scene) -> list[Shell]:
    """All sizes of the tray at once: there are hundreds of them."""
    changed: list[dict[str, Any]] = [{} for _ in shells]
    corrected = [_with_ruffles(shell) for shell in shells]
    for name in WITNESSES:
        both = ((k, c.get(name) or getattr(shells[k], name)) for k, c in enumerate(corrected))
        known: list[tuple[int, Quantity]] = [(k, q) for k, q in both if q is not None]
        if not known:
            continue
        number, quantities = zip(*known, strict=True)
        own, shared = (np.array([getattr(q, n) for q in quantities]) for n in ("own", "shared"))
        scene.judge(name, np.array(number), own, shared)
        judged = quantities_of([q.value for q in quantities], own, shared)
        for k, quantity in zip(number, judged, strict=True):
            changed[k][name] = quantity
    return [replace(s, **sizes) for s, sizes in zip(shells, changed, strict=True)]


def with_evidence(
    pixels_bgr: NDArray[np.uint8], shells: Sequence[Shell], blur_mm: float = 0.0
) -> tuple[Shell, ...]:
    """Shells with what their edges are worth in every size's uncertainty; unmeasured ones as
    they are. ``blur_mm``: how far the photo spreads an edge (standard deviation)."""
    measured = [s for s in shells if s.diameter_mm is not None]
    if not measured:
        return tuple(shells)
    contrast = outline_contrasts(pixels_bgr, measured)
    coarse_mm = np.array([coarseness_u_mm(shell) for shell in measured])
    scene = _Scene(contrast, coarse_mm, float(np.median(contrast)), blur_u_mm(blur_mm))
    judged = iter(_judged(measured, scene))
    return tuple(next(judged) if s.diameter_mm is not None else s for s in shells)
