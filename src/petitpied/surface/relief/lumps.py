"""Lumps over a cap, and pinholes in it, by what its brightness has beside the common dome."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.quantity import Quantity
from petitpied.surface.caps.domes import REACH, Maps, Shading, X, Y
from petitpied.surface.caps.light_direction import SLOPE_U_REL, LightDirection
from petitpied.surface.relief.dimples import Relief

Floats = NDArray[np.float64]

#: lumps are as wide as this, mm, from crown to crown: finer is the crust's grain, wider the dome
WIDTHS_MM = (3.0, 12.0)
#: what noise and grain of the picture pass for, mm times the light's gain (plain caps of the tuning
#: scenes read 0.015 to 0.02 in good side light)
FAINTEST = 0.015
#: counted part of the cap
COUNTED_REL = 0.75
#: a pinhole: at least this much darker than round it (logarithm), this many robust spreads, and
#: not wider than this. A speck of cocoa or vanilla looks the same
HOLE_DARKER, HOLE_SPREADS, HOLE_MM = 0.25, 8.0, 2.2
#: round, not a piece of a crack: share of the square about it that is dark (a disc fills 0.79)
HOLE_FILLED = 0.5
#: from this many dark spots a shell on, faint ones too (median over the tray), they are the
#: flavour's own specks
SPECKLED = 2.0
#: share of dark round spots that are holes rather than specks: not to be told in one photo
HOLE_CONFIDENCE = 0.5


def lumpiness(shading: Shading, light: LightDirection, mm_per_cell: float) -> tuple[Floats, Floats]:
    """Root mean square height (S,) of lumps, mm, and its own standard uncertainty (S,).

    Shading along the light is the slope of height times the light's gain; height is slope over
    the wave number, and the wave number is that of the shading itself: the spread of its own
    slope over its own (Rice 1944, mean frequency of a random wave). ``nan`` without light that
    shows relief.
    """
    count = len(shading.rest)
    if not light.shows_relief:
        return np.full(count, np.nan), np.full(count, np.nan)
    fine, wide = (w / 2 / np.pi / mm_per_cell for w in WIDTHS_MM)
    inside = REACH < COUNTED_REL
    heights = np.empty(count)
    for index, (rest, weight) in enumerate(zip(shading.rest, shading.weight, strict=True)):
        band = cv2.GaussianBlur(rest, (0, 0), fine) - cv2.GaussianBlur(rest, (0, 0), wide)
        slope = light.toward[0] * cv2.Sobel(band, cv2.CV_32F, 1, 0, scale=1 / 8)
        slope += light.toward[1] * cv2.Sobel(band, cv2.CV_32F, 0, 1, scale=1 / 8)
        seen = inside & (weight > 0.5)
        size = _robust_rms(band[seen])
        wave = max(_robust_rms(slope[seen]) / mm_per_cell / max(size, 1e-6), 2 * np.pi / 20)
        heights[index] = size / light.gain / wave
    return heights, 0.15 * heights + FAINTEST / light.gain


def _robust_rms(values: Maps) -> float:
    return 1.4826 * float(np.median(np.abs(values))) if len(values) else 0.0


def lumpiness_quantity(height_mm: float, u_own_mm: float) -> Quantity:
    """With what all shells of a photo share: how steep a typical cap is."""
    return Quantity(height_mm, u_own_mm, SLOPE_U_REL * height_mm)


@dataclass(frozen=True)
class Spots:
    """Dark round spots that may be pinholes; ``speckled``: the flavour has specks of its own, and
    no pinhole can be told among them."""

    holes: tuple[Relief, ...]
    speckled: bool


def find_pinholes(shading: Shading, mm_per_cell: float) -> Spots:
    """Spots darker than what is round them, round, and small."""
    per_cap, dark = [], []
    for cap, (rest, weight) in enumerate(zip(shading.rest, shading.weight, strict=True)):
        lower = cv2.GaussianBlur(rest, (0, 0), HOLE_MM / mm_per_cell) - rest
        seen = (REACH < COUNTED_REL) & (weight > 0.5)
        least = max(HOLE_DARKER, HOLE_SPREADS * _robust_rms(lower[seen]))
        lower = np.where(seen, lower, 0)
        per_cap.append(_spots(cap, lower, least, mm_per_cell))
        faint = least / 3
        dark.append(cv2.connectedComponents((lower > faint).astype(np.uint8))[0] - 1)
    if float(np.median(dark)) >= SPECKLED:
        return Spots((), True)
    return Spots(tuple(spot for spots in per_cap for spot in spots), False)


def _spots(cap: int, lower: Maps, least: float, mm_per_cell: float) -> list[Relief]:
    dark = (lower > least / 2).astype(np.uint8)
    count, labels, stats, middles = cv2.connectedComponentsWithStats(dark, connectivity=8)
    found = []
    for number in range(1, count):
        _, _, width, height, area = (int(v) for v in stats[number])
        inside = lower[labels == number]
        half = int((inside > inside.max() / 2).sum())  # width at half its darkness
        diameter = 2 * float(np.sqrt(half / np.pi)) * mm_per_cell
        round_ = area >= HOLE_FILLED * max(width, height) ** 2
        if float(inside.max()) < least or diameter > HOLE_MM or not round_:
            continue
        column, row = (round(float(v)) for v in middles[number])
        found.append(
            Relief(
                cap,
                np.array([X[row, column], Y[row, column]], float),
                Quantity(diameter, mm_per_cell / 2),
                Quantity(0.0, 0.0),
                0.0,
                HOLE_CONFIDENCE,
            )
        )
    return found
