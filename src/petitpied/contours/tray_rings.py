"""The tray frame, the shells' rings in it, and the heights that these rings show."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.camera.seen_view import SeenView
from petitpied.camera.tray_frame import TrayFrame, tray_frame
from petitpied.contours.astray import REASON, astray, no_outlines
from petitpied.contours.edges import ShellEdges
from petitpied.contours.heights import refine_heights
from petitpied.contours.neighbours import Neighbours, find_neighbours
from petitpied.contours.ring_steps import Parallax
from petitpied.contours.rings import FittedRings, Heights, fit_rings
from petitpied.contours.sorted_out import SortedOut
from petitpied.domain.shell import Seed
from petitpied.domain.view import View
from petitpied.finding.lattice import Lattice, find_lattice

Floats = NDArray[np.float64]

#: the fit that heights are taken from sees one ray in so many (`petitpied.contours.rings`)
THINNED = 3
#: fewer shells do not show which way their rows run
LEAST_FOR_ROWS = 4


@dataclass(frozen=True)
class TrayRings:
    """Everything in the tray frame: ``rings`` of the measurable seeds in their order, ``lattice``
    of all seeds; ``parallax`` as the first fit's rings about ``middles_mm`` (S, 2) show it."""

    view: View
    frame: TrayFrame
    lattice: Lattice
    neighbours: Neighbours
    rings: FittedRings
    heights: Heights
    sorted_out: SortedOut
    middles_mm: Floats
    parallax: Parallax


def fit_tray(
    seen: SeenView, sorted_out: SortedOut, edges: ShellEdges, heights: Heights
) -> TrayRings:
    """Rings at first heights, heights from them, rings at these; without shells whose rings run
    off, and then anew, since they told of the tray, too.

    ``edges`` are those of the measurable seeds; ``heights``: what is known of them beforehand.

    Raises
    ------
    ShellsError
        All have run off.
    """
    known = heights
    view = seen.solved.view
    neighbours = find_neighbours(edges, sorted_out.measurable)
    frame = _frame(seen, sorted_out, heights)
    view = view.moved(frame.origin_mm, frame.turn_deg)
    first = fit_rings(view, edges, heights, neighbours.free, every=THINNED)
    rings, gone = first, _astray(first, sorted_out)
    if not gone.any():
        heights = refine_heights(first, heights)
        rings = fit_rings(view, edges, heights, neighbours.free, first)
        gone = _astray(rings, sorted_out)
    if gone.all():
        raise no_outlines(len(gone))
    if gone.any():
        return fit_tray(seen, sorted_out.without(gone, REASON), edges.only(~gone), known)
    lattice = find_lattice(_centres(view, sorted_out.seeds, heights), sorted_out.diameters_mm)
    middles_mm = np.array([cap.centre_mm for cap in first.cap])
    return TrayRings(
        view, frame, lattice, neighbours, rings, heights, sorted_out, middles_mm, first.parallax
    )


def _astray(rings: FittedRings, sorted_out: SortedOut) -> NDArray[np.bool_]:
    """Of the measurable shells, whose rings have run off."""
    coarse = sorted_out.measurable_mm
    return astray(rings.cap, coarse) | astray(rings.foot, coarse)


def _frame(seen: SeenView, sorted_out: SortedOut, heights: Heights) -> TrayFrame:
    """The tray frame from straight edges, else from the shells' rows."""
    view = seen.solved.view
    centres = _centres(view, sorted_out.seeds, heights)
    row_angle = None
    if not seen.straight and len(centres) >= LEAST_FOR_ROWS:
        row_angle = find_lattice(centres, sorted_out.diameters_mm).angle_deg
    outlines = [*(c.corners_px for c in seen.cards), *(s.outline_px for s in sorted_out.measurable)]
    occupied = np.concatenate([centres, view.to_plane(np.concatenate(outlines))])
    return tray_frame(view, seen.straight, occupied, row_angle)


def _centres(view: View, seeds: Sequence[Seed], heights: Heights) -> Floats:
    """Plan places (S, 2) of the seeds' middles."""
    return view.to_plane(np.array([seed.centre_px for seed in seeds]), heights.foot_mm)
