"""Shells of a photo without a card: shapes, and sizes relative to the median shell."""

from collections.abc import Sequence
from dataclasses import fields, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.camera.view import guess_camera
from petitpied.contours.astray import REASON, astray, no_outlines
from petitpied.contours.edges import EdgeBand, ShellEdges
from petitpied.contours.neighbours import Neighbours, find_neighbours
from petitpied.contours.rings import Heights, fit_rings
from petitpied.contours.sorted_out import CUT
from petitpied.domain.measures import SIZES, Sizes, Surface
from petitpied.domain.photo import Photo
from petitpied.domain.quantity import Quantity
from petitpied.domain.settings import Settings
from petitpied.domain.shell import Place, Ring, Seed, Shell
from petitpied.domain.view import View
from petitpied.finding.lattice import Lattice, find_lattice
from petitpied.finding.ray_strips import RAYS
from petitpied.sizing.outline import ANGLES, measure_outlines, rings_points
from petitpied.sizing.pieces_slant import (
    KNOWN_SIGMA_LOG,
    UNKNOWN_SIGMA_LOG,
    PhotoFrame,
    PiecesSlant,
    pieces_slant,
)

Floats = NDArray[np.float64]

NO_SURFACE = "no card in use: surfaces are not looked at"
NO_CARD = "no card in use: no millimetres"
#: a hand-held photo from above is tilted by about 10 degrees (common practice, no source): one
#: width of a round shell then looks 1.5 % short; two standard uncertainties allow for 15 degrees
ASPECT_TILT_U = 0.02
#: of the flattening by a slant that is taken out, what may be left (standard uncertainty): domes
#: hide a part of it (a half ellipsoid half as high as wide hides a quarter)
DOME_REL = 0.25
#: as for `petitpied.sizing.budget.SHAPE_OWN_U_MM`, relative to a 45 mm shell
SHAPE_OWN_U_REL = 0.004


#: what a photo without a card does not show, with the reason
_MISSING = (
    *((measure.field, NO_CARD) for measure in SIZES if measure.needs == "card"),
    *((part.name, NO_SURFACE) for part in fields(Surface)),
)


def flat_view() -> View:
    """A view straight down from very far away on which a millimetre is a pixel of the photo."""
    far = 1e6
    return View.exact(np.diag([far, far, 1.0]), [0.0], np.column_stack([np.eye(3), [0, 0, far]]))


def frame_of(photo: Photo, settings: Settings) -> PhotoFrame:
    """The photo's size and the focal length that it, or the baker, tells."""
    focal_mm = settings.focal_35mm_mm or photo.focal_35mm_mm
    guess = guess_camera(photo.width_px, photo.height_px, focal_mm)
    sigma = KNOWN_SIGMA_LOG if focal_mm else UNKNOWN_SIGMA_LOG
    return PhotoFrame((photo.width_px, photo.height_px), guess.focal_px, sigma)


def relative_shells(
    seeds: Sequence[Seed],
    edges: ShellEdges,
    neighbours: Neighbours,
    frame: PhotoFrame,
    ran_off: frozenset[int] = frozenset(),
) -> tuple[tuple[Shell, ...], Lattice, PiecesSlant | None]:
    """Shapes and relative sizes; ``edges`` and ``neighbours`` are those of the whole seeds.

    A slant that the pieces show is taken out. ``ran_off``: numbers of seeds whose edges form no
    outline, as found so far; they stay in the list, not measured.
    """
    view, slant, tilt_u = flat_view(), None, ASPECT_TILT_U
    rings = _rings(view, edges, neighbours)
    gone = _astray(view, rings, seeds)
    if not gone.any():
        slant = pieces_slant(list(rings_points(rings, ANGLES)), frame)
    if slant is not None:
        left = DOME_REL if slant.view is not None else 0.5
        tilt_u = float(np.hypot(tilt_u, left * (1 - slant.aspect_ratio)))
    if slant is not None and slant.view is not None:
        view = slant.view
        rings = _rings(view, edges, neighbours)
        gone = _astray(view, rings, seeds)
    if gone.any():
        if gone.all():
            raise no_outlines(len(gone))
        whole = np.array([i for i, s in enumerate(seeds) if s.whole])
        ran_off |= frozenset(whole[gone].tolist())
        seeds = [replace(s, whole=False) if i in ran_off else s for i, s in enumerate(seeds)]
        edges = edges.only(~gone)
        neighbours = find_neighbours(edges, [s for s in seeds if s.whole])
        return relative_shells(seeds, edges, neighbours, frame, ran_off)
    outlines = rings_points(rings, ANGLES)
    sizes = measure_outlines(outlines)
    median = float(np.median([s.diameter_mm for s in sizes]))
    centres = view.to_plane(np.array([s.centre_px for s in seeds]))
    kept = [i for i, s in enumerate(seeds) if s.whole]
    diameters = np.full(len(seeds), np.nan)
    diameters[kept] = [s.diameter_mm for s in sizes]
    lattice = find_lattice(centres, diameters)
    shells = []
    for index, seed in enumerate(seeds):
        place = Place(
            row=int(lattice.row[index]),
            column=int(lattice.column[index]),
            centre_px=seed.centre_px,
            centre_mm=None,
            outline_px=seed.outline_px,
            cap_outline_px=None,
        )
        reason = REASON if index in ran_off else CUT
        shell = Shell(lattice.ids[index], place, not_measured=reason)
        if seed.whole:
            n = kept.index(index)
            size = sizes[n]
            deficit = 1 - size.circularity
            centre_px = view.project(np.array([size.centroid_mm]))[0]
            place = replace(
                place,
                centre_px=(float(centre_px[0]), float(centre_px[1])),
                outline_px=view.project(outlines[n][::2]),
                touching=tuple(sorted(lattice.ids[kept[k]] for k in neighbours.touching[n])),
            )
            ratios = Sizes(
                circularity=Quantity(size.circularity, float(deficit + 1e-3), tilt_u**2),
                aspect_ratio=Quantity(size.aspect_ratio, SHAPE_OWN_U_REL, tilt_u),
                diameter_rel=size.diameter_mm / median,
            )
            shell = Shell(shell.id, place, ratios, missing=_MISSING)
        shells.append(shell)
    return tuple(sorted(shells, key=lambda s: (s.place.row, s.place.column, s.id))), lattice, slant


def _astray(view: View, rings: Sequence[Ring], seeds: Sequence[Seed]) -> NDArray[np.bool_]:
    """Of the whole seeds, whose rings have run off on the plane that a view looks down on."""
    planes = [view.to_plane(s.outline_px).astype(np.float32) for s in seeds if s.whole]
    areas = np.array([abs(cv2.contourArea(plane)) for plane in planes])
    return astray(rings, 2 * np.sqrt(areas / np.pi))


def _rings(view: View, edges: ShellEdges, neighbours: Neighbours) -> tuple[Ring, ...]:
    """Outlines of the whole seeds on the plane that a view looks down on."""
    flat = Heights(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, "none")
    no_cap = EdgeBand(
        edges.outer.radius_px, np.zeros((len(edges.centre_px), RAYS)), edges.outer.points_px
    )
    one_ring = ShellEdges(edges.centre_px, edges.angle_rad, edges.outer, no_cap)
    return fit_rings(view, one_ring, flat, neighbours.free).cap


def slant_words(slant: PiecesSlant | None) -> list[str]:
    """What a slanting view does to shapes, in a sentence."""
    if slant is None:
        return []
    level = "photograph from straight above"
    if not slant.sure:
        return [
            f"pieces look flattened all the same way, to {slant.aspect_ratio:.2f} of their width: "
            f"seen from a slant of about {slant.angle_deg:.0f} degrees, or piped so; shapes are "
            f"given as seen; {level}"
        ]
    seen = f"the photo was taken from a slant of about {slant.angle_deg:.0f} degrees"
    if slant.view is not None:
        return [
            f"{seen}: sizes and shapes were set straight by the pieces' own and are less sure; "
            f"{level}"
        ]
    return [
        f"{seen}: a round piece looks flattened to {slant.aspect_ratio:.2f}, and near ones look "
        f"larger; shapes are given as seen; {level}"
    ]
