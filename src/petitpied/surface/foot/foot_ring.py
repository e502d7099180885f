"""The foot round a shell: where it shows, how even it is, and whether one is there at all.

Seen from above, a foot that stays under the cap and no foot at all leave the same outline. The
camera, though, stands over the middle of the tray and sees every other shell a little from the
side: on the side turned to it, it looks under the rim. There, the strip just beyond the rim has the
colour of a foot, or of the liner. A foot deeper under the cap than the camera looks is told by
the shade that a taller shell throws (`foot_shade`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.quantity import Quantity
from petitpied.domain.shell import Shell
from petitpied.domain.surface import Foot, FootState
from petitpied.domain.view import View
from petitpied.surface.foot.foot_shade import states_by_shade

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]

#: places round the shell
PLACES = 180
#: harmonics told: six bulges; finer ones are the ruffles' own
ORDERS = 6
#: an outline's place this near to the cap's is the cap's own, photo px: outlines are kept to 0.01
SAME_PX = 0.3
#: standard uncertainties: the spread of the error on the tuning scenes (801 shells)
UNEVEN_U_MM, ONE_SIDED_U_MM, SHOWS_U_REL = 0.2, 0.28, 0.06
#: the view under the rim: sector turned to the camera (degrees to each side), least strip that can
#: be judged (photo px), strip looked at beside the rim's own blur (mm)
SECTOR_DEG, LEAST_STRIP_PX = 50.0, 2.5
NEAR_RIM_MM, FARTHEST_MM = 0.15, 0.9
LINER_MM = (3.0, 5.0)
MOST_FEET = 12  # whose colours are averaged
#: colour of the strip on the way from the liner (0) to the tray's feet, or to the cap where no foot
#: shows (1): a foot is of the batter; half way decides, a fifth to either side is left unsure
FOOT_FROM, LINER_TO = 0.6, 0.4
#: a foot may stand this far under its cap: only where the camera looks deeper says colour "none"
DEEPEST_MM = 2.5
#: liner and foot must differ in log chromaticity by this to be told apart (twice a photo's noise)
LEAST_CONTRAST = 0.06


@dataclass(frozen=True)
class RimHeights:
    """Heights of a tray's rings above the liner, mm: cap rim over a foot, cap rim without one, and
    where the foot is widest."""

    cap_rim_mm: float
    bare_rim_mm: float
    foot_mm: float

    def rim_of(self, shell: Shell) -> float:
        """Height of a shell's rim: that of a bare cap where no foot was measured."""
        return self.bare_rim_mm if shell.foot_diameter_mm is None else self.cap_rim_mm


def feet_of(
    pixels_bgr: Bytes, view: View, shells: Sequence[Shell], heights: RimHeights
) -> tuple[Foot | None, ...]:
    """The foot of each shell; None where the shell was not measured."""
    feet: list[Foot | None] = [None] * len(shells)
    told = [
        index
        for index, s in enumerate(shells)
        if s.cap_outline_px is not None and s.foot_diameter_mm is not None
    ]
    spreads = spreads_round(view, [shells[i] for i in told], heights)
    for index, spread in zip(told, spreads, strict=True):
        feet[index] = _seen_foot(spread)
    if all(foot is not None for foot in feet):
        return tuple(feet)
    showing = [s for s, f in zip(shells, feet, strict=True) if f is not None and f.shows_rel.value]
    chromas = [foot_chroma(pixels_bgr, shell) for shell in showing[:MOST_FEET]]
    usual = np.median(chromas, axis=0) if chromas else None
    shades = states_by_shade(pixels_bgr, view, shells, [foot is not None for foot in feet])
    for index, (shell, by_shade) in enumerate(zip(shells, shades, strict=True)):
        if feet[index] is None and shell.cap_outline_px is not None:
            state = under_the_rim(pixels_bgr, view, shell, heights, usual)
            if state != "hidden" and by_shade != "unsure":
                state = by_shade
            feet[index] = Foot(state, Quantity(0.0, SHOWS_U_REL))
    return tuple(feet)


def _seen_foot(spread: Floats) -> Foot:
    shows = float((spread > 0).mean())
    middle = float(spread.mean())
    wave = _waves() @ (spread - middle) * 2 / PLACES
    return Foot(
        "shows" if middle > 0 else "hidden",
        Quantity(shows, SHOWS_U_REL),
        Quantity(float(spread.std()), UNEVEN_U_MM),
        Quantity(float(np.abs(wave[0])), ONE_SIDED_U_MM),
        round(float(np.rad2deg(np.angle(wave[0]))), 1),
        tuple(round(float(a), 3) for a in np.abs(wave)),
    )


@cache
def _waves() -> NDArray[np.complex128]:
    """One row (ORDERS, PLACES) for each harmonic."""
    t = 2 * np.pi * np.arange(PLACES) / PLACES
    return np.asarray(np.exp(1j * np.outer(np.arange(1, ORDERS + 1), t)))


def spreads_round(view: View, shells: Sequence[Shell], heights: RimHeights) -> list[Floats]:
    """Foot radius minus cap radius of each shell about the cap's centre, mm, at `PLACES` even
    angles from +x towards +y of the view's frame; 0 where the outline is the cap's own."""
    places, at, feet = [], [], []
    for shell in shells:
        if shell.cap_outline_px is None:
            raise ValueError("a shell without cap outline has no foot spread")
        is_foot = _nearest(shell.outline_px, shell.cap_outline_px)[1] > SAME_PX
        places += [shell.cap_outline_px, shell.outline_px]
        at += [
            np.full(len(shell.cap_outline_px), heights.cap_rim_mm),
            np.where(is_foot, heights.foot_mm, heights.cap_rim_mm),
        ]
        feet.append(is_foot)
    if not places:
        return []
    plan = view.to_plane(np.concatenate(places), np.concatenate(at))  # of all at once
    parts = np.split(plan, np.cumsum([len(part) for part in places])[:-1])
    return [
        _spread(cap, outer, is_foot)
        for cap, outer, is_foot in zip(parts[::2], parts[1::2], feet, strict=True)
    ]


def _spread(cap: Floats, outer: Floats, is_foot: NDArray[np.bool_]) -> Floats:
    """Of plan-view rings (N, 2) and (M, 2), mm; ``is_foot`` (M,): where the outer one is a foot."""
    if not is_foot.any():
        return np.zeros(PLACES)
    centre = cap.mean(axis=0)
    grid = 2 * np.pi * np.arange(PLACES) / PLACES
    reach = _radius_at(outer - centre, grid) - _radius_at(cap - centre, grid)
    mark = _radius_at_values(outer - centre, is_foot.astype(float), grid) > 0.5
    return np.where(mark, np.maximum(reach, 0.0), 0.0)


def _nearest(places: Floats, others: Floats) -> tuple[NDArray[np.intp], Floats]:
    """For each place (N, 2) the number of the nearest of the others (M, 2), and its distance."""
    gap = (places[:, :1] - others[:, 0]) ** 2 + (places[:, 1:] - others[:, 1]) ** 2
    index = gap.argmin(axis=1)
    return index, np.sqrt(gap[np.arange(len(places)), index])


def _radius_at(points: Floats, angles: Floats) -> Floats:
    return _radius_at_values(points, np.hypot(*points.T), angles)


def _radius_at_values(points: Floats, values: Floats, angles: Floats) -> Floats:
    """Values (N,) of points (N, 2) round the origin, interpolated at angles."""
    t = np.arctan2(points[:, 1], points[:, 0]) % (2 * np.pi)
    order = np.argsort(t)
    return np.asarray(np.interp(angles, t[order], values[order], period=2 * np.pi), float)


def foot_chroma(pixels_bgr: Bytes, shell: Shell) -> Floats:
    """Log chromaticity (2,) of a foot that shows: median half way between cap and outline."""
    if shell.cap_outline_px is None:
        raise ValueError("a shell without cap outline shows no foot")
    cap = shell.cap_outline_px[_nearest(shell.outline_px, shell.cap_outline_px)[0]]
    off = np.hypot(*(shell.outline_px - cap).T)
    wide = off >= np.median(off)
    seen = _log_chroma(pixels_bgr, (shell.outline_px + cap)[wide] / 2)
    return np.asarray(np.median(seen, axis=0), float)


def under_the_rim(
    pixels_bgr: Bytes,
    view: View,
    shell: Shell,
    heights: RimHeights,
    usual_foot: Floats | None = None,
) -> FootState:
    """Whether a foot hides under a cap beyond which none shows; ``usual_foot`` (2,): log
    chromaticity of the tray's feet, where some show."""
    if shell.cap_outline_px is None or shell.centre_mm is None:
        return "unsure"
    camera = view.camera_centre_mm
    towards = camera[:2] - np.asarray(shell.centre_mm)
    slant = float(np.hypot(*towards)) / -float(camera[2])
    strip_mm = min(heights.cap_rim_mm * slant, FARTHEST_MM)
    if (strip_mm - NEAR_RIM_MM) * view.px_per_mm(np.asarray(shell.centre_mm)) < LEAST_STRIP_PX:
        return "unsure"
    rim = view.to_plane(shell.cap_outline_px, heights.bare_rim_mm)
    centre = rim.mean(axis=0)
    out = rim - centre
    reach = np.hypot(out[:, 0], out[:, 1])
    facing = out @ towards / np.maximum(reach * np.hypot(*towards), 1e-9)
    side = np.flatnonzero(facing > np.cos(np.deg2rad(SECTOR_DEG)))
    if len(side) < 5:
        return "unsure"
    way = out[side] / reach[side, None]

    def chroma(low_mm: float, high_mm: float) -> Floats:
        steps = np.linspace(low_mm, high_mm, 5)
        places = rim[side][:, None] + steps[None, :, None] * way[:, None]
        seen = view.project(places.reshape(-1, 2), heights.bare_rim_mm)
        ratios = _log_chroma(pixels_bgr, seen).reshape(len(side), len(steps), 2)
        return np.asarray(ratios.mean(axis=1), np.float64)

    strip, liner, cap = chroma(NEAR_RIM_MM, strip_mm), chroma(*LINER_MM), chroma(-4.0, -2.0)
    contrast = (cap.mean(axis=0) if usual_foot is None else usual_foot) - liner.mean(axis=0)
    size = float(np.hypot(*contrast))
    if size < LEAST_CONTRAST:
        return "unsure"
    part = float(np.median((strip - liner) @ contrast / size**2))
    if part > FOOT_FROM:
        return "hidden"
    deep = heights.cap_rim_mm * slant >= DEEPEST_MM
    return "none" if part < LINER_TO and deep else "unsure"


def _log_chroma(pixels_bgr: Bytes, at_px: Floats) -> Floats:
    """Log ratios (N, 2) of blue to green and red to green, which no shadow changes, at px."""
    at: Any = at_px.astype(np.float32)[None]
    seen: Any = cv2.remap(pixels_bgr, at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)  # type: ignore[call-overload]
    value = np.log((seen[0].astype(float) + 4.0) / 255) * 2.2  # linear light, near enough
    ratios = np.stack([value[:, 0] - value[:, 1], value[:, 2] - value[:, 1]], axis=1)
    return np.asarray(ratios, np.float64)
