"""Sizes, places and neighbours joined to one list of shells, measured or not."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from petitpied.contours.neighbours import Neighbours
from petitpied.contours.rings import FittedRings, Heights
from petitpied.domain.shell import Seed, Shell
from petitpied.domain.view import View
from petitpied.finding.lattice import Lattice
from petitpied.sizing.budget import ShellDoubts, scale_slopes
from petitpied.sizing.sizes import DOUBTFUL_REL, Sizes, measure_shells

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SortedOut:
    """All seeds kept, why each is not measured (None: it is), and coarse diameters (S,) of all."""

    seeds: tuple[Seed, ...]
    reasons: tuple[str | None, ...]
    diameters_mm: Floats

    @property
    def measurable(self) -> tuple[Seed, ...]:
        return tuple(s for s, r in zip(self.seeds, self.reasons, strict=True) if r is None)


@dataclass(frozen=True)
class Places:
    """Who stands where: ``neighbours`` of the measurable seeds, ``lattice`` of all seeds."""

    neighbours: Neighbours
    lattice: Lattice


def _doubts(view: View, rings: FittedRings, heights: Heights, free: Floats) -> ShellDoubts:
    centres = np.array([cap.centre_mm for cap in rings.cap])
    camera = view.camera_centre_mm
    return ShellDoubts(
        scale_slopes(view, centres),
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
        row=int(lattice.row[index]),
        column=int(lattice.column[index]),
        centre_px=seed.centre_px,
        centre_mm=None,
        outline_px=seed.outline_px,
        cap_outline_px=None,
        not_measured=reason,
    )


def _with_sizes(
    shell: Shell,
    sizes: Sizes,
    centre_px: Floats,
    touching: tuple[str, ...],
    doubts: tuple[str, ...],
) -> Shell:
    measured: dict[str, Any] = dict(sizes.quantities)
    return replace(
        shell,
        touching=touching,
        doubts=doubts,
        centre_px=(float(centre_px[0]), float(centre_px[1])),
        centre_mm=sizes.centre_mm,
        outline_px=sizes.outline_px,
        cap_outline_px=sizes.cap_outline_px,
        lean_dir_deg=sizes.lean_dir_deg,
        missing=sizes.missing,
        **measured,
    )


def measured_shells(
    view: View, sorted_out: SortedOut, rings: FittedRings, heights: Heights, places: Places
) -> tuple[Shell, ...]:
    """Every seed as a shell, row by row; frame of ``view`` (tray).

    ``rings`` are those of the measurable seeds, in their order.
    """
    neighbours, lattice = places.neighbours, places.lattice
    sizes = measure_shells(
        view, rings.cap, rings.foot, _doubts(view, rings, heights, neighbours.free)
    )
    centres_px = view.project(np.array([s.centre_mm for s in sizes]))
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
            sizes[number],
            centres_px[number],
            touching=tuple(sorted(lattice.ids[place[n]] for n in neighbours.touching[number])),
            doubts=(doubt,) if free_rel < 1 - DOUBTFUL_REL else (),
        )
    return _with_relative(sorted(shells, key=lambda s: (s.row, s.column, s.id)))


def _with_relative(shells: Sequence[Shell]) -> tuple[Shell, ...]:
    known = [s.diameter_mm.value for s in shells if s.diameter_mm is not None]
    median = float(np.median(known))
    return tuple(
        replace(s, diameter_rel=s.diameter_mm.value / median) if s.diameter_mm else s
        for s in shells
    )
