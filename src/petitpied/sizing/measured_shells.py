"""Sizes, places and neighbours joined to one list of shells, measured or not."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from petitpied.contours.rings import FittedRings, Heights
from petitpied.contours.tray_rings import TrayRings
from petitpied.domain.shell import Place, Seed, Shell
from petitpied.domain.view import View
from petitpied.finding.lattice import Lattice
from petitpied.sizing.budget import ShellDoubts, scale_sensitivities
from petitpied.sizing.sizes import DOUBTFUL_REL, MeasuredRings, measure_shells

Floats = NDArray[np.float64]


def _doubts(view: View, rings: FittedRings, heights: Heights, free: Floats) -> ShellDoubts:
    centres = np.array([cap.centre_mm for cap in rings.cap])
    camera = view.camera_centre_mm
    return ShellDoubts(
        scale_sensitivities(view, centres),
        -float(camera[2]),
        np.hypot(*(centres - camera[:2]).T) / -camera[2],
        heights,
        rings.cap_radius_u_mm,
        rings.foot_radius_u_mm,
        rings.cap_centre_u_mm,
        rings.foot_centre_u_mm,
        rings.shows_rel,
        1.0 - free.mean(axis=1),
        rings.stands,
    )


def _unmeasured(seed: Seed, reason: str | None, lattice: Lattice, index: int) -> Shell:
    return Shell(
        id=lattice.ids[index],
        place=Place(
            row=int(lattice.row[index]),
            column=int(lattice.column[index]),
            centre_px=seed.centre_px,
            centre_mm=None,
            outline_px=seed.outline_px,
            cap_outline_px=None,
        ),
        not_measured=reason,
    )


def _with_sizes(
    shell: Shell,
    measured: MeasuredRings,
    centre_px: Floats,
    touching: tuple[str, ...],
    doubts: tuple[str, ...],
) -> Shell:
    place = replace(
        shell.place,
        touching=touching,
        centre_px=(float(centre_px[0]), float(centre_px[1])),
        centre_mm=measured.centre_mm,
        outline_px=measured.outline_px,
        cap_outline_px=measured.cap_outline_px,
    )
    return replace(
        shell, place=place, sizes=measured.sizes, missing=measured.missing, doubts=doubts
    )


def measured_shells(tray: TrayRings) -> tuple[Shell, ...]:
    """Every seed as a shell, row by row; tray frame."""
    view, rings, neighbours, lattice = tray.view, tray.rings, tray.neighbours, tray.lattice
    sorted_out = tray.sorted_out
    doubts = _doubts(view, rings, tray.heights, neighbours.free)
    measured = measure_shells(view, rings.cap, rings.foot, doubts, rings.wide)
    centres_px = view.project(np.array([s.centre_mm for s in measured]))
    place = [i for i, r in enumerate(sorted_out.reasons) if r is None]
    shells = [
        _unmeasured(seed, reason, lattice, index)
        for index, (seed, reason) in enumerate(
            zip(sorted_out.seeds, sorted_out.reasons, strict=True)
        )
    ]
    for number, index in enumerate(place):
        free_rel = float(neighbours.free[number].mean())
        doubt = f"only {free_rel:.0%} of the outline is free of neighbours"
        shells[index] = _with_sizes(
            shells[index],
            measured[number],
            centres_px[number],
            touching=tuple(sorted(lattice.ids[place[n]] for n in neighbours.touching[number])),
            doubts=(doubt,) if free_rel < 1 - DOUBTFUL_REL else (),
        )
    return with_relative(sorted(shells, key=lambda s: (s.place.row, s.place.column, s.id)))


def with_relative(shells: Sequence[Shell]) -> tuple[Shell, ...]:
    """Every diameter also over the median of them all."""
    known = [s.sizes.diameter_mm.value for s in shells if s.sizes.diameter_mm is not None]
    median = float(np.median(known))
    return tuple(
        replace(s, sizes=replace(s.sizes, diameter_rel=s.sizes.diameter_mm.value / median))
        if s.sizes.diameter_mm
        else s
        for s in shells
    )
