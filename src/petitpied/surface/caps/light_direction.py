"""Where the light comes from, by the caps: a dome is brighter on the side that faces it."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.surface.caps.domes import REACH, SIDE, Shading, X, Y, ring

Floats = NDArray[np.float64]

#: part of the dome, by distance to its middle, that tells the light best: steep, yet not the rim
TOLD_REL = (0.3, 0.7)
#: steepness of a cap (fall over way) at these parts of its radius: of a dome of 7 mm on 42 mm, flat
#: in the middle, with a round shoulder (common practice, no source); its standard uncertainty
PLACES_REL = np.array([0.0, 0.3, 0.5, 0.7, 0.85])
STEEPNESS, SLOPE_U_REL = np.array([0.0, 0.08, 0.18, 0.35, 0.58]), 0.2
#: brightness that changes by less across a unit of slope shows no relief: skies, and lamps all
#: round (logarithm; flat white paper tilted by 10 degrees then differs by under 3 %)
LEAST_GAIN = 0.15


@dataclass(frozen=True)
class LightDirection:
    """``toward`` (2,): unit vector in plan view from where most light comes; ``gain``: change of
    the logarithm of brightness a unit of slope that way."""

    toward: Floats
    gain: float

    @property
    def dir_deg(self) -> float:
        """Angle of ``toward`` from +x towards +y."""
        return float(np.rad2deg(np.arctan2(self.toward[1], self.toward[0])))

    @property
    def shows_relief(self) -> bool:
        return self.gain >= LEAST_GAIN


def light_direction(shading: Shading) -> LightDirection:
    """From the common shading of all caps, by least squares over the dome's slopes."""
    told = ring(*TOLD_REL)
    fall = np.interp(REACH[told], PLACES_REL, STEEPNESS) / REACH[told]
    basis = np.stack([np.ones_like(fall), fall * X[told], fall * Y[told]], axis=-1).astype(float)
    gain = np.linalg.lstsq(basis, shading.common[told].astype(float), rcond=None)[0][1:]
    size = float(np.hypot(*gain))
    return LightDirection(gain / size if size > 1e-9 else np.array([1.0, 0.0]), size)


def brightness_of_slope(shading: Shading, facing_x: Floats, facing_y: Floats) -> Floats:
    """Logarithm of brightness of ground that leans towards (facing_x, facing_y) with that fall over
    way: looked up where the common dome leans so. All shapes alike."""
    fall = np.hypot(facing_x, facing_y)
    place = np.interp(fall, STEEPNESS, PLACES_REL) / np.maximum(fall, 1e-9)
    at = [((facing * place + 1) * SIDE / 2 - 0.5) for facing in (facing_x, facing_y)]
    x, y = (np.asarray(a, np.float32) for a in at)
    return np.asarray(cv2.remap(shading.common, x, y, cv2.INTER_LINEAR), float)
