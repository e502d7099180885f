"""Shells of a photo without a card: shapes, and sizes relative to the median shell."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from petitpied.contours.edges import EdgeBand, ShellEdges
from petitpied.contours.neighbours import Neighbours
from petitpied.contours.rings import Heights, fit_rings
from petitpied.domain.quantity import Quantity
from petitpied.domain.shell import Seed, Shell
from petitpied.domain.view import View
from petitpied.finding.lattice import Lattice, find_lattice
from petitpied.finding.ray_strips import RAYS
from petitpied.sizing.outline import ANGLES, measure_outlines, rings_points

Floats = NDArray[np.float64]

NO_SURFACE = "no card in use: surfaces are not looked at"
SURFACE = ("cracks", "foot", "colour", "browning", "dimples", "peak", "pinholes", "lumpiness_mm")
NO_CARD = "no card in use: no millimetres"
#: a hand-held photo from above is tilted by about 10 degrees (common practice, no source): one
#: width of a round shell then looks 1.5 % short; two standard uncertainties allow for 15 degrees
ASPECT_TILT_U = 0.02
#: as for `petitpied.sizing.budget.SHAPE_OWN_U_MM`, relative to a 45 mm shell
SHAPE_OWN_U_REL = 0.004


def flat_view() -> View:
    """A view straight down from very far away on which a millimetre is a pixel of the photo."""
    far = 1e6
    return View.exact(np.diag([far, far, 1.0]), [0.0], np.column_stack([np.eye(3), [0, 0, far]]))


def relative_shells(
    seeds: Sequence[Seed], edges: ShellEdges, neighbours: Neighbours
) -> tuple[tuple[Shell, ...], Lattice]:
    """Shapes and relative sizes; ``edges`` and ``neighbours`` are those of the whole seeds."""
    view = flat_view()
    flat = Heights(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, "none")
    no_cap = EdgeBand(
        edges.outer.radius_px, np.zeros((len(edges.centre_px), RAYS)), edges.outer.points_px
    )
    one_ring = ShellEdges(edges.centre_px, edges.angle_rad, edges.outer, no_cap)
    rings = fit_rings(view, one_ring, flat, neighbours.free).cap
    outlines = rings_points(rings, ANGLES)
    sizes = measure_outlines(outlines)
    median = float(np.median([s.diameter_mm for s in sizes]))
    centres = np.array([s.centre_px for s in seeds])
    whole = [i for i, s in enumerate(seeds) if s.whole]
    diameters = np.full(len(seeds), np.nan)
    diameters[whole] = [s.diameter_mm for s in sizes]
    lattice = find_lattice(centres, diameters)
    shells = []
    for index, seed in enumerate(seeds):
        shell = Shell(
            id=lattice.ids[index],
            row=int(lattice.row[index]),
            column=int(lattice.column[index]),
            centre_px=seed.centre_px,
            centre_mm=None,
            outline_px=seed.outline_px,
            cap_outline_px=None,
            not_measured="cut by the edge of the photo",
        )
        if seed.whole:
            n = whole.index(index)
            size = sizes[n]
            deficit = 1 - size.circularity
            shell = Shell(
                id=shell.id,
                row=shell.row,
                column=shell.column,
                centre_px=(float(size.centroid_mm[0]), float(size.centroid_mm[1])),
                centre_mm=None,
                outline_px=outlines[n][::2],
                cap_outline_px=None,
                circularity=Quantity(size.circularity, float(deficit + 1e-3), ASPECT_TILT_U**2),
                aspect_ratio=Quantity(size.aspect_ratio, SHAPE_OWN_U_REL, ASPECT_TILT_U),
                diameter_rel=size.diameter_mm / median,
                touching=tuple(sorted(lattice.ids[whole[k]] for k in neighbours.touching[n])),
                missing=(
                    *((name, NO_CARD) for name in MILLIMETRES),
                    *((name, NO_SURFACE) for name in SURFACE),
                ),
            )
        shells.append(shell)
    return tuple(sorted(shells, key=lambda s: (s.row, s.column, s.id))), lattice


MILLIMETRES = (
    "diameter_mm",
    "cap_diameter_mm",
    "foot_diameter_mm",
    "feret_min_mm",
    "feret_max_mm",
    "roundness_mm",
    "foot_spread_mm",
    "lean_mm",
    "height_mm",
)
