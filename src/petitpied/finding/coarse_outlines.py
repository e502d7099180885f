"""Coarse outlines as smooth curves, and the liner's brightness around them.

Edges are looked for about a smooth curve through the finder's outline, whatever its form. An
outline that is not round may be a shell of another form, or have a lobe (a shadow, a printed
ring's arc): then the cap's outline and a disc are looked about as well, and what the edges say
decides (`petitpied.vision.edges`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

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
#: spread of a smooth curve's Fourier terms, relative to the radius, orders 2 and on: an ellipse
#: half as wide as long has 0.33 and 0.08 at orders 2 and 4, a heart 0.14 at order 3 (geometry)
FORM_SIGMA_REL = (0.25, 0.12, 0.10, 0.05, 0.05, 0.03, 0.03)
#: a term smaller than this is the outline's cells' steps (a tenth of a cell in the mean of 192
#: rays, shells are 50 cells wide), and is held as close as that
NO_FORM_REL, LEAST_SIGMA_REL = 0.008, 0.004
#: scatter of an outline's points that is always allowed, relative to the radius
SMOOTH_FLOOR_REL = 0.012
#: an outline whose radii range over more than this share of the radius is not round, or lobed
UNROUND_REL = 0.15
#: a disc is looked for within this of the tray's usual size (common practice, no source: shells
#: of one tray are alike within 15 %, perspective included)
ALIKE_REL = 0.15
#: a foot usually reaches this far beyond its cap, relative to the radius (common practice, no
#: source: 1 mm on 22 mm)
USUAL_FOOT_REL = 0.05
#: a curve comes no nearer to its middle than this share of its median radius: a heart's notch
#: comes to 0.6 (geometry)
LEAST_RADIUS_REL = 0.3
#: neighbouring rays of the finder's outline are smoothed together: one value every four
RAYS_A_VALUE = 4.0
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


@cache
def _form_basis() -> tuple[Floats, Floats, Floats]:
    """Fourier terms (RAYS, P), their products (RAYS, P * P), and their precisions (P,)."""
    highest = 1 + len(FORM_SIGMA_REL)
    phase = ANGLES[:, None] * np.arange(1, highest + 1)
    basis = np.concatenate([np.ones((RAYS, 1)), np.cos(phase), np.sin(phase)], axis=1)
    stiff = np.concatenate([[1e-6], 1 / np.array(FORM_SIGMA_REL) ** 2])
    products = (basis[:, :, None] * basis[:, None, :]).reshape(RAYS, -1)
    return basis, products, np.concatenate([[1e-6], stiff, stiff])


def smoothed(radius: Floats) -> Floats:
    """Smooth curve through radii (S, RAYS): Fourier series with a ridge of the spreads of forms,
    Cauchy weights (Holland & Welsch 1977) against short bites and spikes."""
    basis, products, wide = _form_basis()
    orders = len(FORM_SIGMA_REL)
    typical = medians(radius)
    stiff = np.repeat(wide[None], len(radius), axis=0)
    terms = np.zeros(stiff.shape)
    half = RAYS // 24
    closed = np.concatenate([radius[:, -half:], radius, radius[:, :half]], axis=1)
    total = np.cumsum(np.pad(closed, ((0, 0), (1, 0))), axis=1)
    curve = (total[:, 2 * half + 1 :] - total[:, : -2 * half - 1]) / (2 * half + 1)
    for turn in range(8):
        rest = radius - curve
        scatter = np.maximum(1.4826 * medians(np.abs(rest)), SMOOTH_FLOOR_REL * typical)[:, None]
        if turn >= 4:  # terms that the outline hardly shows are its cells' steps
            size = np.hypot(terms[:, 2 : 2 + orders], terms[:, -orders:]) / typical[:, None]
            held = np.clip(size - NO_FORM_REL, LEAST_SIGMA_REL, np.array(FORM_SIGMA_REL))
            stiff[:, 2 : 2 + orders] = stiff[:, -orders:] = 1 / held**2
        weight = 1 / (1 + (rest / (1.5 * scatter)) ** 2) / scatter**2 / RAYS_A_VALUE
        normal = (weight @ products).reshape(len(radius), len(wide), len(wide))
        each = np.arange(len(wide))
        normal[:, each, each] += stiff / typical[:, None] ** 2
        terms = np.linalg.solve(normal, ((weight * radius) @ basis)[..., None])[..., 0]
        curve = terms @ basis.T
    return np.asarray(np.maximum(curve, LEAST_RADIUS_REL * typical[:, None]), float)


def unroundness(radius: Floats) -> Floats:
    """Range of the radii (..., RAYS) over their median (...)."""
    return np.asarray(np.ptp(radius, axis=-1) / medians(radius), float)


def by_cap(seed: Seed) -> tuple[Floats, Floats] | None:
    """Middle (2,) and radii (RAYS,), px, of a seed's cap outline, a foot's width wider."""
    if seed.cap_outline_px is None:
        return None
    middle = np.asarray(seed.cap_outline_px.mean(axis=0), float)
    radius = outline_radius(seed.cap_outline_px, middle, ANGLES)
    return middle, (1 + USUAL_FOOT_REL) * smoothed(radius[None])[0]


def disc_base(centre: Floats, radius: Floats, usual: float | None) -> tuple[Floats, Floats]:
    """Middle (2,) and radii (RAYS,) of the disc that most of the edges (RAYS,) lie on, px, of
    about the ``usual`` radius if given."""
    circle = _best_circle(radius, usual)
    if circle.share == 0:
        return centre, np.full(RAYS, circle.radius if usual is None else usual)
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
    centre_px = np.array([seeds[i].outline_px.mean(axis=0) for i in whole], float)
    outlines = [seeds[i].outline_px for i in whole]
    raw = [outline_radius(o, c, ANGLES) for o, c in zip(outlines, centre_px, strict=True)]
    radius_px = smoothed(np.array(raw))
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


def solidity(outline_px: Floats) -> float:
    """Area over that of the convex hull (ISO 9276-6): 1 without a dent."""
    points = outline_px.astype(np.float32)
    hull = float(cv2.contourArea(cv2.convexHull(points)))
    return float(cv2.contourArea(points)) / max(hull, 1e-6)
