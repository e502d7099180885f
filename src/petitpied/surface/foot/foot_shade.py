"""Is a shell without a visible foot as tall as the others? Its shade on the liner says so.

A cap that stands on its foot throws its shade from 3 mm higher than one that stands on the liner
(common practice, no source: `petitpied.contours.rings.Heights`). Where light falls from one side,
the shades of the tray's shells with feet are the measure, and no lamp needs to be known.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Shell
from petitpied.domain.surface import FootState
from petitpied.domain.view import View

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]

#: directions round a shell, and places along each, mm beyond the cap's outline
TURNS, STEP_MM, REACH_MM = 36, 0.25, 7.5
#: where the shade is looked at, beyond any foot, and where the liner is free of it
SHADE_MM, FREE_MM = (2.0, 5.0), (5.5, 7.5)
#: the shade's side: so many directions to each side of the darkest
SECTOR = 3
#: shells with feet that are looked at, and the fewest that are a measure
MOST, FEWEST = 16, 5
#: shade that is clear: log light lost, and its robust spread over the shells with feet, relative
CLEAR, CLEAR_SPREAD_REL = 0.3, 0.35
#: shade relative to theirs: under the first the shell stands on the liner, over the second on a
#: foot. On the trays for tuning whose shade is clear, 0.27 to 0.64 and 0.81 to 1.24
LOW_REL, TALL_REL = 0.68, 0.76
#: a place this near to another shell's outline, mm, is not the liner's
NEIGHBOUR_MM = 1.0


def states_by_shade(
    pixels_bgr: Bytes, view: View, shells: Sequence[Shell], has_foot: Sequence[bool]
) -> tuple[FootState, ...]:
    """For each measured shell "hidden", "none" or, where the shade does not say, "unsure".

    ``has_foot``: which shells show a foot; for these the answer is "hidden" too where they are
    as tall as the others, and of no use.
    """
    nothing: FootState = "unsure"
    unsure = (nothing,) * len(shells)
    known = [i for i, foot in enumerate(has_foot) if foot][:MOST]
    if len(known) < FEWEST:
        return unsure
    asked = [i for i, foot in enumerate(has_foot) if not foot]
    dark = {i: _darkness(pixels_bgr, view, shells, i) for i in [*known, *asked]}
    usual = np.nanmedian([dark[i] for i in known], axis=0)
    around = np.convolve(np.r_[usual[-2:], usual, usual[:2]], np.ones(5) / 5, "valid")
    side = (int(np.nanargmax(around)) + np.arange(-SECTOR, SECTOR + 1)) % TURNS
    seen = {i: d[side] for i, d in dark.items() if not np.isnan(d[side]).all()}
    shade = {i: float(np.nanmedian(d)) for i, d in seen.items()}
    measures = np.array([shade[i] for i in known if i in shade])
    if len(measures) < FEWEST:
        return unsure
    middle = float(np.median(measures))
    spread = 1.4826 * float(np.median(np.abs(measures - middle)))
    if middle < CLEAR or spread > CLEAR_SPREAD_REL * middle:
        return unsure
    return tuple(_state(shade.get(i), middle) for i in range(len(shells)))


def _state(shade: float | None, usual: float) -> FootState:
    if shade is None:
        return "unsure"
    shade_rel = shade / usual
    return "none" if shade_rel < LOW_REL else "hidden" if shade_rel > TALL_REL else "unsure"


def _darkness(pixels_bgr: Bytes, view: View, shells: Sequence[Shell], index: int) -> Floats:
    """Light lost beside a shell in each direction (TURNS,), log, against the liner around it; NaN
    where another shell is in the way."""
    shell = shells[index]
    if shell.cap_outline_px is None:
        return np.full(TURNS, np.nan)
    rim = view.to_plane(shell.cap_outline_px, 0.0)
    centre = rim.mean(axis=0)
    turn = 2 * np.pi * np.arange(TURNS) / TURNS
    at = np.arctan2(*(rim - centre).T[::-1]) % (2 * np.pi)
    rising = np.argsort(at)
    reach = np.interp(turn, at[rising], np.hypot(*(rim - centre)[rising].T), period=2 * np.pi)
    beyond = np.arange(0.0, REACH_MM + STEP_MM / 2, STEP_MM)
    way = np.column_stack([np.cos(turn), np.sin(turn)])
    places = centre + (reach[:, None] + beyond)[..., None] * way[:, None]
    seen = view.project(places.reshape(-1, 2), 0.0).astype(np.float32)[None]
    green = cv2.remap(np.ascontiguousarray(pixels_bgr[..., 1]), seen, None, cv2.INTER_LINEAR)  # type: ignore[call-overload]
    light = 2.2 * np.log((green.astype(float) + 4.0) / 255).reshape(places.shape[:2])
    light[_taken(places, shells, index)] = np.nan
    free, shaded = ((beyond >= low) & (beyond < high) for low, high in (FREE_MM, SHADE_MM))
    if np.isnan(light[:, free]).all():
        return np.full(TURNS, np.nan)
    lost = np.maximum(np.nanmedian(light[:, free]) - light[:, shaded], 0.0)
    whole = ~np.isnan(lost).any(axis=1)
    mean = np.full(TURNS, np.nan)
    mean[whole] = lost[whole].mean(axis=1)
    return mean


def _taken(places: Floats, shells: Sequence[Shell], index: int) -> NDArray[np.bool_]:
    """Which places (T, N, 2), mm on the liner, other shells are on or right beside."""
    taken = np.zeros(places.shape[:2], bool)
    for other, shell in enumerate(shells):
        if other == index or shell.centre_mm is None or shell.diameter_mm is None:
            continue
        away = np.hypot(*np.moveaxis(places - np.array(shell.centre_mm), 2, 0))
        taken |= away < shell.diameter_mm.value / 2 + NEIGHBOUR_MM
    return taken
