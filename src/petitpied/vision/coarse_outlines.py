"""Better coarse outlines: the finder's maps and the colours of this very photo, together.

Along every ray from a shell's middle the outline is put where the evidence changes from shell to
liner: the sum of the log likelihood ratios inside is largest there (a ring printed on a mat, or
a shadow's rim, is an edge with liner on both sides, and is passed over). All rays of a shell
are decided together by dynamic programming.
"""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Seed
from petitpied.vision.edges import RAYS, best_paths, outline_radius
from petitpied.vision.finder_network import FinderMaps
from petitpied.vision.liner import LOUDEST, LinerModel, learn_liner

Floats = NDArray[np.float64]

#: searched band, relative to the radius: the finder's outlines were within 20 % of truth on
#: tuning scenes, printed rings included
INWARD_REL, OUTWARD_REL = 0.26, 0.16
#: samples in the band
SAMPLES = 48
#: shells are learnt from inside this share of the radius, liner from between the next two
LEARN_INSIDE_REL, LEARN_AROUND_REL = 0.96, (1.08, 1.45)
#: neighbouring pixels are alike: one independent voice every so many cells of the map
CELLS_A_VOICE = 1.5
#: order of the smooth curve through an outline, spread of its terms from the second order on
#: (ovals and tear-drops of the tuning scenes) and scatter that is always allowed, relative to
#: the radius
SMOOTH_ORDER, SMOOTH_SIGMA_REL, SMOOTH_FLOOR_REL = 2, 0.04, 0.012
#: an outline whose radii range over more than this share of the radius has a lobe,
#: if the larger share of its points still lies on one circle
LOBED_REL, LOBED_SHARE = 0.15, 0.5
#: how far an outline lies outside the finder's cap, relative to the radius: a foot of 1 mm on
#: 22 mm, and its spread with leaning feet; a cap reaches no farther than the outline but for
#: the finder's error
FOOT_REL, FOOT_SIGMA_REL, LEAST_FOOT_REL = 0.05, 0.16, -0.03
#: the finder's own map counts this much against the colours
FINDER_WEIGHT = 0.15
FINDER_LOUDEST = 2.5


def _fan(centre: Floats, radius: Floats, part: Floats) -> tuple[Floats, Floats]:
    """Places (S, RAYS, len(part)) at these parts of the radius, cells."""
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    reach = radius[:, :, None] * part
    x = centre[:, None, None, 0] + reach * np.cos(angle)[None, :, None]
    y = centre[:, None, None, 1] + reach * np.sin(angle)[None, :, None]
    return x, y


def _masks(
    shape: tuple[int, int], centre: Floats, radius: Floats
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Inside the shells, and around them but in none."""
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    direction = np.column_stack([np.cos(angle), np.sin(angle)])

    def filled(part: float) -> NDArray[np.uint8]:
        mask = np.zeros(shape, np.uint8)
        for c, r in zip(centre, radius, strict=True):
            polygon = c + part * r[:, None] * direction
            cv2.fillPoly(mask, [np.rint(16 * polygon).astype(np.int32)], 1, cv2.LINE_8, 4)
        return mask

    near = filled(LEARN_AROUND_REL[0])
    inside = filled(LEARN_INSIDE_REL).astype(bool)
    return inside, filled(LEARN_AROUND_REL[1]).astype(bool) & ~near.astype(bool)


def _evidence(
    maps: FinderMaps, model: LinerModel, x: Floats, y: Floats
) -> Floats:
    """Log likelihood ratio of shell against liner (S, RAYS, N) at cells (x, y)."""
    shells, rays, samples = x.shape
    grid_x = x.reshape(-1, samples).astype(np.float32)
    grid_y = y.reshape(-1, samples).astype(np.float32)
    colour = cv2.remap(
        maps.picture_bgr, grid_x, grid_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    shown = cv2.remap(
        maps.shell, grid_x, grid_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    rows, columns = maps.shell.shape
    voice = model.evidence(np.asarray(colour, np.uint8), grid_x / columns, grid_y / rows)
    shown = np.clip(np.asarray(shown, float), 1e-3, 1 - 1e-3)
    finder = np.clip(np.log(shown / (1 - shown)), -FINDER_LOUDEST, FINDER_LOUDEST)
    both = (1 - FINDER_WEIGHT) * voice + FINDER_WEIGHT * finder
    return np.asarray(both, float).reshape(shells, rays, samples)


def _best_circle(radius: Floats) -> tuple[Floats, float]:
    """The circle that most of an outline's points lie on: radii (RAYS,) about the outline's
    middle, and the share of the points on it.

    Circles through three points of the outline, the points a third to an eighth of a turn apart
    (a deterministic form of Fischler & Bolles, "Random sample consensus", 1981).
    """
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    direction = np.column_stack([np.cos(angle), np.sin(angle)])
    points = radius[:, None] * direction
    first = np.arange(0, RAYS, 4)
    best, curve = -1, np.full(RAYS, float(np.median(radius)))
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
        off = np.abs(np.hypot(*np.moveaxis(points[None] - centre[:, None], 2, 0)) - size[:, None])
        votes = np.where(usable, (off < 2 * SMOOTH_FLOOR_REL * size[:, None]).sum(axis=1), 0)
        place = int(votes.argmax())
        if votes[place] > best:
            best = int(votes[place])
            along = direction @ centre[place]
            across = direction @ np.array([-centre[place, 1], centre[place, 0]])
            curve = along + np.sqrt(np.maximum(size[place] ** 2 - across**2, 0))
    return np.asarray(curve, float), best / RAYS


def _smoothed(radius: Floats) -> Floats:
    """Robust low-order curve through radii (S, RAYS): a lobe or a bite in an outline is no shape.

    Fourier series to order `SMOOTH_ORDER` with a ridge on the orders from 2, Cauchy weights.
    """
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    phase = angle[:, None] * np.arange(1, SMOOTH_ORDER + 1)
    basis = np.concatenate([np.ones((RAYS, 1)), np.cos(phase), np.sin(phase)], axis=1)
    typical = np.median(radius, axis=1)
    order = np.concatenate([[0], np.tile(np.arange(1, SMOOTH_ORDER + 1), 2)])
    products = (basis[:, :, None] * basis[:, None, :]).reshape(RAYS, -1)
    stiff = np.where(order >= 2, 1.0 / SMOOTH_SIGMA_REL**2, 1e-6)
    curve = np.repeat(typical[:, None], RAYS, axis=1)
    for _ in range(8):
        rest = radius - curve
        scatter = np.maximum(
            1.4826 * np.median(np.abs(rest), axis=1), SMOOTH_FLOOR_REL * typical
        )[:, None]
        weight = 1 / (1 + (rest / (1.5 * scatter)) ** 2) / scatter**2
        normal = (weight @ products).reshape(len(radius), len(stiff), len(stiff))
        normal += np.diag(stiff)[None] / typical[:, None, None] ** 2
        moment = (weight * radius) @ basis
        curve = np.linalg.solve(normal, moment[..., None])[..., 0] @ basis.T
    for shell in np.nonzero(np.ptp(radius, axis=1) > LOBED_REL * typical)[0]:
        circle, share = _best_circle(radius[shell])
        if share > LOBED_SHARE:
            curve[shell] = circle
    return np.asarray(curve, float)


def _learn(maps: FinderMaps, centre: Floats, radius: Floats) -> LinerModel:
    return learn_liner(maps.picture_bgr, *_masks(maps.shell.shape, centre, radius))


def _nearer_to_another(
    x: Floats, y: Floats, centre: Floats, radius: Floats
) -> NDArray[np.bool_]:
    """Places (S, RAYS, N) that lie nearer to a neighbour, by power distance to its circle."""
    foreign = np.zeros(x.shape, bool)
    gap = np.hypot(*np.moveaxis(centre[:, None] - centre[None], 2, 0))
    near = gap < 1.25 * (radius[:, None] + radius[None])
    np.fill_diagonal(near, False)
    for one, other in np.argwhere(near):
        own = (x[one] - centre[one, 0]) ** 2 + (y[one] - centre[one, 1]) ** 2 - radius[one] ** 2
        his = (x[one] - centre[other, 0]) ** 2 + (y[one] - centre[other, 1]) ** 2
        foreign[one] |= his - radius[other] ** 2 < own
    return foreign


def _refined(
    maps: FinderMaps, model: LinerModel, centre: Floats, radius: Floats, cap: Floats
) -> Floats:
    """One round: from outlines (S, RAYS) to better ones about these caps, by these colours."""
    base = _smoothed(radius)
    typical = np.median(base, axis=1)
    part = np.linspace(1 - INWARD_REL, 1 + OUTWARD_REL, SAMPLES)
    x, y = _fan(centre, base, part)
    evidence = _evidence(maps, model, x, y)
    evidence[_nearer_to_another(x, y, centre, typical)] = -LOUDEST
    cells = typical * (part[1] - part[0])
    total = np.cumsum(evidence, axis=2) * (cells / CELLS_A_VOICE)[:, None, None]
    # a shell's outline lies on its cap's or a foot's width outside it
    cap = np.minimum(_smoothed(cap), cap + FOOT_REL * typical[:, None])
    reach = base[:, :, None] * part
    width = (reach - cap[:, :, None]) / typical[:, None, None]
    total -= 0.5 * ((width - FOOT_REL) / FOOT_SIGMA_REL) ** 2
    total[width < LEAST_FOOT_REL] -= 50.0
    path = best_paths(total.astype(np.float32))
    return np.asarray(base * (part[path] + 0.5 * (part[1] - part[0])), float)


def _cap_radius(seed: Seed, maps: FinderMaps, centre: Floats, angle: Floats) -> Floats:
    """The finder's cap outline, else its outer one, about ``centre``; cells (RAYS,)."""
    outline = seed.cap_outline_px if seed.cap_outline_px is not None else seed.outline_px
    return outline_radius((outline + 0.5) / maps.cell_px - 0.5, centre, angle)


def refine_outlines(
    maps: FinderMaps, seeds: Sequence[Seed]
) -> tuple[tuple[Seed, ...], LinerModel | None]:
    """The seeds with better outlines, and the colours of shell and liner learnt from them.

    Seeds cut by the frame keep the outline that they have; without a whole seed no colours.
    """
    whole = [i for i, seed in enumerate(seeds) if seed.whole]
    if not whole:
        return tuple(seeds), None
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    direction = np.column_stack([np.cos(angle), np.sin(angle)])
    centre_px = np.array([seeds[i].centre_px for i in whole], float)
    radius = np.array(
        [
            outline_radius(seeds[i].outline_px, c, angle)
            for i, c in zip(whole, centre_px, strict=True)
        ]
    )
    radius /= maps.cell_px
    centre = (centre_px + 0.5) / maps.cell_px - 0.5
    model = _learn(maps, centre, radius)
    for _ in range(2):
        cap = np.array(
            [_cap_radius(seeds[i], maps, c, angle) for i, c in zip(whole, centre, strict=True)]
        )
        radius = _refined(maps, model, centre, radius, cap)
        shift = 2 * (radius[:, :, None] * direction).mean(axis=1)
        polygon = centre[:, None] + radius[:, :, None] * direction
        centre = centre + 0.5 * shift
        radius = np.array(
            [outline_radius(p, c, angle) for p, c in zip(polygon, centre, strict=True)]
        )
        model = _learn(maps, centre, radius)
    refined = list(seeds)
    for place, i in enumerate(whole):
        outline = maps.to_photo(centre[place] + radius[place][:, None] * direction)
        middle = maps.to_photo(centre[place])
        refined[i] = replace(
            seeds[i], centre_px=(float(middle[0]), float(middle[1])), outline_px=outline
        )
    return tuple(refined), model
