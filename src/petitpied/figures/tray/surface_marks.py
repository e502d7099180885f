"""Marks on the annotated picture for what lies on a cap: shapes as maps have them, words beside.

A hollow is a ring with ticks inward, a peak a triangle, a dark spot a small square. The ring goes
round the mark, not over it.
"""

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.domain.surface import SurfaceMark
from petitpied.figures.drawing import Path
from petitpied.figures.look import INK, PAPER

Floats = NDArray[np.float64]

#: ring round a hollow, relative to its radius; ticks inward, relative to the ring's
RING_REL, TICK_REL, TICKS = 1.25, 0.2, 12
#: half the size of a peak's triangle, mm
PEAK_MM = 2.0
#: smallest mark: legible when a phone's picture is zoomed in twice
MIN_RADIUS_PX = 9.0


def mark_shapes(record: Record, scale: float) -> list[Path]:
    """All marks of a record, ``scale`` px of the picture for each of the photo."""
    if record.px_per_mm is None:
        return []
    px_per_mm = record.px_per_mm * scale
    shapes: list[Path] = []
    for shell in record.shells:
        for dimple in shell.dimples or ():
            radius = RING_REL * dimple.diameter_mm.value / 2 * px_per_mm
            shapes += _hollow(_place(dimple, scale), max(radius, MIN_RADIUS_PX))
        if shell.peak is not None:
            radius = max(PEAK_MM * px_per_mm, MIN_RADIUS_PX)
            shapes.append(_shape(_place(shell.peak, scale), radius, 3))
        for hole in shell.pinholes or ():
            radius = max(1.2 * px_per_mm, MIN_RADIUS_PX)
            shapes.append(_shape(_place(hole, scale), radius, 4))
    return shapes


def rings_px(shell: Shell, scale: float) -> list[Floats]:
    """Rings (48, 2) round hollows and peak, px of the picture, for words to keep clear of."""
    if shell.diameter_mm is None:
        return []
    px_per_mm = float(np.ptp(shell.outline_px[:, 0])) * scale / shell.diameter_mm.value
    rings = [
        _circle(_place(dimple, scale), RING_REL * dimple.diameter_mm.value / 2 * px_per_mm)
        for dimple in shell.dimples or ()
    ]
    if shell.peak is not None:
        rings.append(_circle(_place(shell.peak, scale), PEAK_MM * px_per_mm))
    return rings


def legend(shells: tuple[Shell, ...]) -> str:
    """What the marks in the picture mean; empty without any."""
    words = []
    if any(shell.dimples for shell in shells):
        words.append("Ring with ticks: dimple.")
    if any(shell.peak for shell in shells):
        words.append("Triangle: peak.")
    if any(shell.pinholes for shell in shells):
        words.append("Small square: dark spot.")
    return " ".join(words)


def _place(mark: SurfaceMark, scale: float) -> Floats:
    return (np.array(mark.centre_px) + 0.5) * scale


def _circle(centre: Floats, radius: float) -> Floats:
    angle = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    return np.asarray(centre + radius * np.column_stack([np.cos(angle), np.sin(angle)]), float)


def _hollow(centre: Floats, radius: float) -> list[Path]:
    circle = _circle(centre, radius)
    way = ((circle - centre) / radius)[:: 48 // TICKS]
    ticks = [np.array([centre + radius * w, centre + (1 - TICK_REL) * radius * w]) for w in way]
    return [
        Path([circle], True, stroke=PAPER, halo=INK),
        Path(ticks, stroke=PAPER, halo=INK),
    ]


def _shape(centre: Floats, radius: float, corners: int) -> Path:
    """A triangle with a corner on top, or a square."""
    turn = np.pi / 2 if corners == 3 else np.pi / 4
    angle = turn + np.arange(corners) * 2 * np.pi / corners
    outline = centre + radius * np.column_stack([np.cos(angle), -np.sin(angle)])
    return Path([outline], True, stroke=PAPER, halo=INK)
