"""Coarse outlines as smooth curves, and the liner's brightness around them.

The finder's outlines may have a lobe (a shadow, a printed ring's arc) or a bite (a glint). A
robust low-order curve through each is where the edges are then looked for.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Seed
from petitpied.finding.finder_network import FinderMaps
from petitpied.finding.liner import LinerLight, learn_light
from petitpied.finding.ray_strips import RAYS, outline_radius, ray_directions
from petitpied.numerics.medians import medians

Floats = NDArray[np.float64]

#: the liner is learnt from between these shares of the radius, outside every shell
LEARN_AROUND_REL = (1.08, 1.45)
#: order of the smooth curve through an outline, spread of its terms from the second order on
#: (ovals and tear-drops of the tuning scenes) and scatter that is always allowed, relative to
#: the radius
SMOOTH_ORDER, SMOOTH_SIGMA_REL, SMOOTH_FLOOR_REL = 2, 0.04, 0.012
#: an outline whose radii range over more than this share of the radius has a lobe,
#: if the larger share of its points still lies on one circle
LOBED_REL, LOBED_SHARE = 0.15, 0.5
#: the curve reaches no farther than this many times the radius that a third of the outline keeps
#: within; the edges' search makes up for more, as a tear-drop's tip
FARTHEST_REL = 1.2
#: shells of one tray have about one size (common practice, no source: within 15 %, perspective
#: included); so a lobed outline of which this share lies on a circle of that size is such a shell
#: and something else
ALIKE_REL, ALIKE_SHARE = 0.15, 0.35
#: a foot usually reaches this far beyond its cap, relative to the radius (common practice, no
#: source: 1 mm on 22 mm)
USUAL_FOOT_REL = 0.05
#: of an outline's radii
ANGLES = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)


def _around(shape: tuple[int, ...], centre: Floats, radius: Floats) -> NDArray[np.bool_]:
    """Cells near the shells but in none of them."""

    def filled(part: float) -> NDArray[np.bool_]:
        mask = np.zeros(shape, np.uint8)
        for c, r in zip(centre, radius, strict=True):
            polygon = c + part * r[:, None] * ray_directions()
            cv2.fillPoly(mask, [np.rint(16 * polygon).astype(np.int32)], 1, cv2.LINE_8, 4)
        return mask.astype(bool)

    return np.asarray(filled(LEARN_AROUND_REL[1]) & ~filled(LEARN_AROUND_REL[0]), bool)


@dataclass(frozen=True)
class _Circle:
    """A circle about ``centre`` (2,) from an outline's middle, and the share of the outline's
    points that lie on it."""

    centre: Floats
    radius: float
    share: float

    def about_middle(self) -> Floats:
        """Its radii (RAYS,) about the outline's middle."""
        along = ray_directions() @ self.centre
        across = ray_directions() @ np.array([-self.centre[1], self.centre[0]])
        return np.asarray(along + np.sqrt(np.maximum(self.radius**2 - across**2, 0)), float)


def _best_circle(radius: Floats, usual: float | None = None) -> _Circle:
    """The circle that most of an outline's points lie on; if ``usual`` is given, of about that
    radius.

    Circles through three points of the outline, the points a third to an eighth of a turn apart
    (a deterministic form of Fischler & Bolles, "Random sample consensus", 1981).
    """
    points = radius[:, None] * ray_directions()
    first = np.arange(0, RAYS, 4)
    best = _Circle(np.zeros(2), float(np.median(radius)), 0.0)
    for apart in (RAYS // 8, RAYS // 5, RAYS // 3):
        a, b, c = points[first], points[(first + apart) % RAYS], points[(first + 2 * apart) % RAYS]
        ab, ac = b - a, c - a
        cross = 2 * (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0])
        usable = np.abs(cross) > 1e-9
        cross = np.where(usable, cross, 1.0)
        sb, sc = (ab**2).sum(axis=1), (ac**2).sum(axis=1)
        centre = a + np.column_stack(
            [(ac[:, 1] * sb - ab[:, 1] * sc) / cross, (ab[:, 0] * sc - ac[:, 0] * sb) / cross]
        )
        size = np.hypot(*(a - centre).T)
        # three points nearly on a line give a circle beside the shell, as large as you like
        usable &= (np.hypot(*centre.T) < 0.5 * size) & (size < 2 * np.median(radius))
        if usual is not None:
            usable &= np.abs(size / usual - 1) < ALIKE_REL
        off = np.abs(np.hypot(*np.moveaxis(points[None] - centre[:, None], 2, 0)) - size[:, None])
        votes = np.where(usable, (off < 2 * SMOOTH_FLOOR_REL * size[:, None]).sum(axis=1), 0)
        place = int(votes.argmax())
        if votes[place] > best.share * RAYS:
            best = _Circle(centre[place], float(size[place]), float(votes[place] / RAYS))
    return best


def smoothed(radius: Floats) -> Floats:
    """Robust low-order curve through radii (S, RAYS): a lobe or a bite in an outline is no shape.

    Fourier series to order `SMOOTH_ORDER` with a ridge on the orders from 2, Cauchy weights.
    """
    phase = ANGLES[:, None] * np.arange(1, SMOOTH_ORDER + 1)
    basis = np.concatenate([np.ones((RAYS, 1)), np.cos(phase), np.sin(phase)], axis=1)
    typical = medians(radius)
    order = np.concatenate([[0], np.tile(np.arange(1, SMOOTH_ORDER + 1), 2)])
    products = (basis[:, :, None] * basis[:, None, :]).reshape(RAYS, -1)
    stiff = np.where(order >= 2, 1.0 / SMOOTH_SIGMA_REL**2, 1e-6)
    curve = np.repeat(typical[:, None], RAYS, axis=1)
    for _ in range(8):
        rest = radius - curve
        scatter = np.maximum(1.4826 * medians(np.abs(rest)), SMOOTH_FLOOR_REL * typical)[:, None]
        weight = 1 / (1 + (rest / (1.5 * scatter)) ** 2) / scatter**2
        normal = (weight @ products).reshape(len(radius), len(stiff), len(stiff))
        normal += np.diag(stiff)[None] / typical[:, None, None] ** 2
        moment = (weight * radius) @ basis
        curve = np.linalg.solve(normal, moment[..., None])[..., 0] @ basis.T
    for shell in np.nonzero(np.ptp(radius, axis=1) > LOBED_REL * typical)[0]:
        circle = _best_circle(radius[shell])
        if circle.share > LOBED_SHARE:
            curve[shell] = circle.about_middle()
    least, most = np.percentile(radius, (30, 70), axis=1)[:, :, None]
    return np.asarray(np.clip(curve, most / FARTHEST_REL, least * FARTHEST_REL), float)


def _rounder(seed: Seed) -> tuple[Floats, Floats]:
    """Middle (2,) and outline radius (RAYS,), px, of a seed.

    Where the outline has a lobe: of its cap, a foot's width wider, if that is rounder.
    """
    centre = np.array(seed.centre_px, float)
    radius = outline_radius(seed.outline_px, centre, ANGLES)
    if _unroundness(radius) < LOBED_REL:
        return centre, radius
    if seed.cap_outline_px is not None:
        middle = np.asarray(seed.cap_outline_px.mean(axis=0), float)
        by_cap = smoothed(outline_radius(seed.cap_outline_px, middle, ANGLES)[None])[0]
        if _unroundness(by_cap) < 0.5 * _unroundness(radius):
            return middle, (1 + USUAL_FOOT_REL) * by_cap
    return centre, radius


def _unroundness(radius: Floats) -> float:
    return float(np.ptp(radius) / medians(radius))


def better_bases(centres: Floats, radii: Floats, usual: float | None) -> tuple[Floats, Floats]:
    """Middles (S, 2) and radii (S, RAYS), px, to look for edges anew, from the edges (S, RAYS)
    that bad coarse outlines led to.

    Of lobed ones: the circle of the tray's ``usual`` radius, if enough of it lies on one.
    """
    middles, bases = centres.copy(), smoothed(radii)
    for k, radius in enumerate(radii):
        if usual is not None and _unroundness(radius) > LOBED_REL:
            circle = _best_circle(radius, usual)
            if circle.share > ALIKE_SHARE:
                middles[k], bases[k] = centres[k] + circle.centre, circle.radius
    return middles, bases


def disc_base(centre: Floats, radius: Floats, usual: float) -> tuple[Floats, Floats]:
    """Middle (2,) and radii (RAYS,) of the disc of about the ``usual`` radius that most of the
    edges (RAYS,) lie on, px."""
    circle = _best_circle(radius, usual)
    if circle.share == 0:
        return centre, np.full(RAYS, usual)
    return centre + circle.centre, np.full(RAYS, circle.radius)


def smooth_outlines(
    maps: FinderMaps, seeds: Sequence[Seed]
) -> tuple[tuple[Seed, ...], LinerLight, NDArray[np.bool_]]:
    """The seeds with smooth outlines, the liner's brightness around them, and the cells (rows,
    columns) where it was learnt.

    Seeds cut by the frame keep the outline that they have.
    """
    whole = [i for i, seed in enumerate(seeds) if seed.whole]
    if not whole:
        nowhere = np.zeros(maps.shell.shape, bool)
        return tuple(seeds), learn_light(maps.picture_bgr, nowhere), nowhere
    rounder = [_rounder(seeds[i]) for i in whole]
    centre_px = np.array([centre for centre, _ in rounder])
    radius_px = smoothed(np.array([radius for _, radius in rounder]))
    smooth = list(seeds)
    for i, c, r in zip(whole, centre_px, radius_px, strict=True):
        outline = c + r[:, None] * ray_directions()
        smooth[i] = replace(seeds[i], centre_px=(float(c[0]), float(c[1])), outline_px=outline)
    centre = (centre_px + 0.5) / maps.cell_px - 0.5
    around = _around(maps.shell.shape, centre, radius_px / maps.cell_px)
    return tuple(smooth), learn_light(maps.picture_bgr, around), around


def width_px(outline_px: Floats) -> float:
    """Diameter of the circle of the outline's area."""
    return 2 * float(np.sqrt(cv2.contourArea(outline_px.astype(np.float32)) / np.pi))


def roundness(outline_px: Floats) -> float:
    """Area over that of the smallest circle round it: 1 for a disc."""
    points = outline_px.astype(np.float32)
    _, radius = cv2.minEnclosingCircle(points)
    return float(cv2.contourArea(points)) / (np.pi * max(radius, 1e-6) ** 2)
