"""About which outline each shell's edges are proposed: the finder's, or one the edges settle on.

The network sees a band about an outline that it is given. Where that outline proves to be off, the
edges are proposed for anew about what they showed; where a shell is not round, other outlines are
tried, and the surest that the shell's own colour speaks for is taken (`own_colour`).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from petitpied.contours.edge_network import EdgeProposals, propose_edges
from petitpied.contours.own_colour import by_colour, support
from petitpied.contours.strays import liner_before_edge
from petitpied.domain.shell import Seed
from petitpied.finding.coarse_outlines import UNROUND_REL, by_cap, disc_base, smoothed, unroundness
from petitpied.finding.liner import LinerLight
from petitpied.finding.ray_strips import RAYS, outline_radius
from petitpied.numerics.medians import medians

Floats = NDArray[np.float64]

#: coarse outlines farther off than this somewhere, relative to the radius, are proposed for anew:
#: half of what the network sees to either side (TUNING.md)
FAR_REL = 0.10
#: and that at most this often; a tray's usual size is known from this many good ones
MOST_PROPOSALS, FEWEST_ALIKE = 3, 5
#: a shell whose edge is still this far from where it was looked for is lost; it is looked for at
#: these distances, relative to the tray's usual radius, and taken where its proposal is at least
#: this sure, relative to the tray's others (99 % of the tuning scenes' shells were)
LOST_REL, SEARCH_REL, SURE_ENOUGH_REL = 0.13, (0.2, 0.4, 0.6), 0.8
NEAREST, SEARCHED_AGAIN = 8, 2  # of the places with the least disagreement; rounds
#: not if its edge has a shell's shape: farthest less nearest radius over the median one. Then it
#: is looked at once more about its own smooth shape, and taken so where nearly as sure (TUNING.md)
MISSHAPEN_REL, NEARLY_AS_SURE_REL = 0.28, 0.95
#: another base is taken where its edges are this many times as sure: a pale foot on a pale liner
#: makes the cap's edge as sure as the foot's within a few hundredths
PLAINLY_SURER = 1.06


def _about_own_edges(
    pixels_bgr: NDArray[np.uint8], centre: Floats, coarse: Floats, light: LinerLight
) -> tuple[Floats, EdgeProposals]:
    """Middles (S, 2) and proposals; shells whose coarse outlines prove to be off are proposed for
    anew, about their own edges, and the more certain proposal of each is kept."""
    proposals = propose_edges(pixels_bgr, centre, coarse, light)
    for _ in range(MOST_PROPOSALS - 1):
        far = np.flatnonzero(_far_off(proposals) > FAR_REL)
        if not len(far):
            break
        bases = smoothed(proposals.outer_px[far])
        anew = propose_edges(pixels_bgr, centre[far], bases, light)
        surer = anew.certainty() > proposals.certainty()[far]
        if not surer.any():
            break
        proposals = proposals.replaced(far[surer], anew.only(surer))
    return centre, proposals


def _unround(proposals: EdgeProposals) -> NDArray[np.intp]:
    """Numbers of the shells whose outlines or edges are not round."""
    ranges = np.maximum(unroundness(proposals.coarse_px), unroundness(proposals.outer_px))
    return np.flatnonzero((ranges > UNROUND_REL) | (_far_off(proposals) > FAR_REL))


def _surest(
    pixels_bgr: NDArray[np.uint8],
    seeds: Sequence[Seed],
    light: LinerLight,
    base: tuple[Floats, EdgeProposals],
) -> tuple[Floats, EdgeProposals]:
    """Of shells that are not round, the surest of four, and the one that colours speak for: the
    proposals about the finder's outline, about its cap's, about the change of colour, and about the
    disc that most of the edges lie on."""
    centre, proposals = base[0].copy(), base[1]
    unround = _unround(proposals)
    if not len(unround):
        return centre, proposals
    bases = _other_bases(pixels_bgr, seeds, light, base, unround)
    number = np.array([k for k, _, _ in bases])
    middles, radii = (np.array([one[i] for one in bases]) for i in (1, 2))
    middles, tried = _about_own_edges(pixels_bgr, middles, radii, light)
    worth = tried.certainty() * support(pixels_bgr, middles, tried.outer_px, light)
    so_far = proposals.only(np.isin(np.arange(len(centre)), unround))
    known = so_far.certainty() * support(pixels_bgr, centre[unround], so_far.outer_px, light)
    for k, least in zip(unround.tolist(), known.tolist(), strict=True):
        own = np.flatnonzero(number == k)
        best = own[worth[own].argmax()]
        if worth[best] > PLAINLY_SURER * least:
            centre[k] = middles[best]
            one = np.arange(len(number)) == best
            proposals = proposals.replaced(np.array([k]), tried.only(one))
    return centre, proposals


def _other_bases(
    pixels_bgr: NDArray[np.uint8],
    seeds: Sequence[Seed],
    light: LinerLight,
    base: tuple[Floats, EdgeProposals],
    which: NDArray[np.intp],
) -> list[tuple[int, Floats, Floats]]:
    """Numbers of shells, middles (2,) and radii (RAYS,) to look about as well."""
    centre, proposals = base
    calm = np.setdiff1d(np.arange(len(centre)), which)
    usual = float(np.median(proposals.outer_px[calm])) if len(calm) >= FEWEST_ALIKE else None
    bases: list[tuple[int, Floats, Floats]] = []
    for k in which.tolist():
        bases.append((k, *disc_base(centre[k], proposals.outer_px[k], usual)))
        cap = by_cap(seeds[k])
        if cap is not None:
            bases.append((k, *cap))
            seen = by_colour(pixels_bgr, cap[0][None], cap[1][None], light)
            bases.append((k, cap[0], smoothed(seen)[0]))
    return bases


def _far_off(proposals: EdgeProposals) -> Floats:
    """Largest distance (S,) of the outer edge from the outline it was looked for about, relative
    to the radius."""
    seen = proposals.outer_px
    return np.asarray(np.abs(seen / proposals.coarse_px - 1).max(axis=1), float)


def _searched(
    pixels_bgr: NDArray[np.uint8], centre: Floats, proposals: EdgeProposals, light: LinerLight
) -> tuple[Floats, EdgeProposals]:
    """The same; shells that did not settle are looked for round about, as discs of the tray's
    usual size: where one settles, with nearly the certainty of the others, it is taken."""
    off = _far_off(proposals)
    lost = np.flatnonzero(off > LOST_REL)
    if not len(lost) or len(off) - len(lost) < FEWEST_ALIKE:
        return centre, proposals
    seen = proposals.outer_px[lost]
    shaped = np.ptp(seen, axis=1) <= MISSHAPEN_REL * medians(seen)
    proposals = _by_own_shape(pixels_bgr, centre, proposals, light, lost[shaped])
    lost = lost[~shaped]
    if not len(lost):
        return centre, proposals
    good = off <= FAR_REL
    if not good.any():
        return centre, proposals
    usual = float(np.median(proposals.outer_px[good]))
    least = SURE_ENOUGH_REL * float(np.median(proposals.certainty()[good]))
    centre = centre.copy()
    for k in lost:
        middles = centre[k] + usual * _search_steps()
        tried = propose_edges(pixels_bgr, middles, np.full((len(middles), RAYS), usual), light)
        for _ in range(SEARCHED_AGAIN):
            # each is off by up to half a step: looked at again from where it points; edges at
            # the end of what the network sees point nowhere
            seen = tried.outer_px
            off = np.abs(seen / tried.coarse_px - 1).mean(axis=1)
            near = np.argsort(off)[:NEAREST]
            bases = [disc_base(middles[i], seen[i], usual) for i in near]
            middles = np.array([middle for middle, _ in bases])
            tried = propose_edges(pixels_bgr, middles, np.array([r for _, r in bases]), light)
        sure = np.where(_far_off(tried) <= FAR_REL, tried.certainty(), 0.0)
        best = int(sure.argmax())
        if sure[best] >= least:
            centre[k] = middles[best]
            proposals = proposals.replaced(np.array([k]), tried.only(np.arange(len(sure)) == best))
    return centre, proposals


def _by_own_shape(
    pixels_bgr: NDArray[np.uint8],
    centre: Floats,
    proposals: EdgeProposals,
    light: LinerLight,
    which: NDArray[np.intp],
) -> EdgeProposals:
    """The same; of those numbered ``which``, what settles about its own smooth shape."""
    if not len(which):
        return proposals
    own = propose_edges(pixels_bgr, centre[which], smoothed(proposals.outer_px[which]), light)
    least = NEARLY_AS_SURE_REL * proposals.certainty()[which]
    good = (_far_off(own) <= FAR_REL) & (own.certainty() >= least)
    return proposals.replaced(which[good], own.only(good))


def _within_liner(
    pixels_bgr: NDArray[np.uint8], centre: Floats, proposals: EdgeProposals, light: LinerLight
) -> EdgeProposals:
    """The same; shells whose outer edges were taken beyond bare liner are proposed for about where
    the liner begins, and taken so if fewer rays pass it."""

    def begins(which: NDArray[np.intp], found: EdgeProposals) -> Floats:
        return liner_before_edge(pixels_bgr, centre[which], found.cap_px, found.outer_px, light)

    every = np.arange(len(centre))
    bare = begins(every, proposals)
    which = np.flatnonzero(np.isfinite(bare).any(axis=1))
    if not len(which):
        return proposals
    bases = np.where(np.isfinite(bare), bare, proposals.outer_px)[which]
    anew = propose_edges(pixels_bgr, centre[which], smoothed(bases), light)
    both = proposals.replaced(which, anew)
    fewer = np.isfinite(begins(every, both)).sum(axis=1) < np.isfinite(bare).sum(axis=1)
    better = fewer[which]
    return proposals.replaced(which[better], anew.only(better)) if better.any() else proposals


def _search_steps() -> Floats:
    """Where to look for a shell round about (N, 2), relative to its radius."""
    turn = np.arange(8) * (np.pi / 4)
    round_about = np.column_stack([np.cos(turn), np.sin(turn)])
    return np.concatenate([np.zeros((1, 2))] + [far * round_about for far in SEARCH_REL])


def settled(
    pixels_bgr: NDArray[np.uint8], seeds: Sequence[Seed], light: LinerLight
) -> tuple[Floats, EdgeProposals]:
    """Middles (S, 2), frame px, and proposals of the seeds' edges about outlines that they lie on.

    Parameters
    ----------
    pixels_bgr : ndarray of shape (height, width, 3), uint8
        The photo, frame px.
    seeds : sequence of Seed
        Shells to measure; at least one.
    light : LinerLight
        The liner's brightness over the photo.
    """
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    centre = np.array([s.centre_px for s in seeds], float)
    coarse = np.array(
        [outline_radius(s.outline_px, c, angle) for s, c in zip(seeds, centre, strict=True)]
    )
    base = _about_own_edges(pixels_bgr, centre, coarse, light)
    base = _searched(pixels_bgr, *_surest(pixels_bgr, seeds, light, base), light)
    return base[0], _within_liner(pixels_bgr, *base, light)
