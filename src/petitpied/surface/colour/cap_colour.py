"""Mean colour of each cap, CIELAB under D65, as if it faced upward, and how sure that is.

Glints, shadows, cracks and specks are outvoted: they differ from the shading that all caps of the
tray share. That shading itself is taken out, so that a dome's dark side does not count as colour,
and so is what the caps mirror.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.camera.grey_strip import PAPER_U_REL
from petitpied.domain.quantity import Quantity
from petitpied.domain.surface import Colour
from petitpied.photo.colour_space import lab_of
from petitpied.surface.caps.domes import Domes, Shading
from petitpied.surface.caps.flat_light import FlatLight
from petitpied.surface.colour.gloss import LOOKED, without_gloss

Floats = NDArray[np.float64]

#: a place whose brightness differs from the shared shading by more than this many robust spreads,
#: and by more than a texture does (logarithm), is a glint, a shadow, a crack or a speck
OUTLIER_SPREADS, TEXTURE = 3.0, 0.05
#: more of a cap than this overexposed: its colour is not there any more
MOST_CUT_REL = 0.5
#: the light that a cap's middle gets against the card beside it (bounced light, the dome's own
#: height), and the printed greys' tint; shared by all shells of a photo
DOME_U, GREY_TINT_U = 0.03, 0.012
#: what is left besides, in L*, a*, b*: gloss that is not told, the camera's own rendering of
#: colours (standard uncertainties, of a shell and shared by the photo; TUNING.md)
OWN_LEFT, SHARED_LEFT = np.array([0.6, 0.6, 0.8]), np.array([1.8, 1.6, 2.3])
#: a cut-off channel is too low by up to about this (logarithm) where the whole cap is cut off
CUT_U = 0.15
#: a photo is black and white if in this share of its pixels, each so many, the channels differ by
#: no more codes than JPEG's rounding
GREY_SHARE, GREY_STEP, GREY_CODES = 0.999, 8, 2
#: which way light errs: all channels alike, and red against blue (red, green, blue)
LEVEL, TINT = np.array([1.0, 1.0, 1.0]), np.array([0.5, 0.0, -0.5])


@dataclass(frozen=True)
class CapColours:
    """Linear sRGB light sent back (S, 3), red first, 1 a perfect white; its CIELAB (S, 3); the
    slope of CIELAB with the logarithm of light (S, 3 Lab, 3 RGB); and the share of each cap that is
    overexposed (S,)."""

    linear_rgb: Floats
    lab: Floats
    slope: Floats
    cut: Floats


def is_black_and_white(pixels_bgr: NDArray[np.uint8]) -> bool:
    """Are the channels of a photo (H, W, 3) alike, but for rounding?"""
    blue, green, red = cv2.split(np.ascontiguousarray(pixels_bgr[::GREY_STEP, ::GREY_STEP]))
    high, low = np.maximum(blue, green), np.minimum(blue, green)
    apart = np.maximum(high, red) - np.minimum(low, red)
    return bool((apart <= GREY_CODES).mean() >= GREY_SHARE)


def cap_colours(domes: Domes, shading: Shading) -> CapColours:
    """Mean over each cap's counted part, in linear light."""
    log, common = without_gloss(domes, shading)
    log = log - common[None, :, None]
    rest = shading.rest[:, LOOKED]
    spread = 1.4826 * np.median(np.abs(rest), axis=1, keepdims=True)
    good = np.abs(rest) < OUTLIER_SPREADS * spread + TEXTURE
    light = np.exp(np.minimum(log, 1.0)) * good[..., None]
    linear = (light.sum(axis=1) / np.maximum(good.sum(axis=1), 1)[:, None])[:, ::-1].astype(float)
    step = 1e-3
    steps = np.exp(step * np.eye(3))
    slope = (lab_of(linear[:, None] * steps) - lab_of(linear)[:, None]) / step
    return CapColours(linear, lab_of(linear), slope.transpose(0, 2, 1), domes.cut)


def light_doubts(light: FlatLight, cut: float) -> tuple[Floats, Floats]:
    """Standard deviations of the logarithm of light, as vectors (N, 3) of independent causes: of a
    shell's own place, and shared by the photo."""
    own = [light.u * LEVEL, light.tint_u * TINT, CUT_U * cut * np.array([1.0, 0.4, 0.4])]
    shared = [float(np.hypot(PAPER_U_REL, DOME_U)) * LEVEL, GREY_TINT_U * TINT]
    return np.array(own), np.array(shared)


def colour_of(colours: CapColours, index: int, light: FlatLight) -> Colour:
    """One cap's colour with its uncertainty."""
    doubts = light_doubts(light, float(colours.cut[index]))
    slope = colours.slope[index].T
    u_own, u_shared = (
        np.hypot(np.hypot.reduce(known @ slope, axis=0), left)
        for known, left in zip(doubts, (OWN_LEFT, SHARED_LEFT), strict=True)
    )
    return Colour(
        *(
            Quantity(float(v), float(own), float(shared))
            for v, own, shared in zip(colours.lab[index], u_own, u_shared, strict=True)
        )
    )
