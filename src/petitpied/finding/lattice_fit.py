"""Lattice hypotheses from near neighbours, and the fit of one to a whole tray.

Words: *lines* are the rows of the lattice, *across* counts places along a line. An *upright*
hypothesis has x and y swapped: its lines are columns, and every other column is shifted.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: the tray frame is turned against the piping by no more than this; at 30 degrees a hexagonal
#: lattice maps onto itself with rows and columns exchanged
MAX_TURN_DEG = 24.0
#: shells touch at the most, but baked outlines are uneven: pitch at least this many diameters
MIN_PITCH_DIAMETERS = 0.85
#: hypotheses fitted to the whole tray, of plain and of staggered lattices each
KEPT = 3
#: structure factors (1 at best) this much below the best one cannot win: half the loss from a
#: perfect lattice to one of 15 % scatter, exp(-4 pi^2 0.15^2) = 0.41
CLEARLY_WORSE = 0.3
#: standard deviations of deformation, in pitches per pitch and pitches per square pitch, of a
#: hand-piped tray: 0.05 is a 3-degree slant, 0.015 fans rows by 5 degrees over 6 rows
SLANT, BEND = 0.05, 0.015
#: standard deviation of a hand-piped shell from its place, pitches, that the fit expects
SCATTER = 0.1
#: standard deviation of the turn between tray frame and piping: a tray held by eye to the rim
#: or a card laid by eye. It decides only between readings of one and the same lattice, which
#: lie 25 degrees and more apart; and that columns are shifted, not rows, is taken as one in 20
TURN_DEG = 6.0
SHIFTED_COLUMNS_NATS = 3.0
#: a shell beside the lattice, or a second one on a place, is taken as one in 20
STRAY_NATS = 3.0


@dataclass(frozen=True)
class Hypothesis:
    """``pitch_mm`` along the line, ``line_pitch_mm`` between lines, turned by ``turn_rad``."""

    pitch_mm: float
    line_pitch_mm: float
    turn_rad: float
    staggered: bool
    upright: bool = False

    @property
    def ratio(self) -> float:
        return self.line_pitch_mm / self.pitch_mm

    def shift(self, line: Floats) -> Floats:
        """Offset of a line's places, pitches: half in every other line when staggered."""
        return np.asarray(np.remainder(line, 2) * (0.5 if self.staggered else 0.0), float)

    def local(self, displacements: Floats) -> Floats:
        """Displacements (N, 2) mm to (across, line) (N, 2), pitches."""
        d = displacements[:, ::-1] if self.upright else displacements
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        across, along = d[:, 0] * c + d[:, 1] * s, d[:, 1] * c - d[:, 0] * s
        return np.column_stack([across / self.pitch_mm, along / self.line_pitch_mm])

    def nearest(self, across_along: Floats) -> Floats:
        """Nearest place (N, 2) to each position, pitches."""
        best = np.zeros_like(across_along)
        least = np.full(len(across_along), np.inf)
        for line in (np.floor(across_along[:, 1]), np.ceil(across_along[:, 1])):
            shift = self.shift(line)
            place = np.column_stack([np.rint(across_along[:, 0] - shift) + shift, line])
            squared = (((across_along - place) * [1.0, self.ratio]) ** 2).sum(axis=1)
            closer = squared < least
            best[closer], least[closer] = place[closer], squared[closer]
        return best

    def places_near(self, across_along: Floats) -> Floats:
        """All distinct places (M, 2) within one line and one place of the nearest ones."""
        around = []
        for step in (-1, 0, 1):
            line = np.rint(across_along[:, 1]) + step
            shift = self.shift(line)
            middle = np.rint(across_along[:, 0] - shift) + shift
            around += [np.column_stack([middle + k, line]) for k in (-1, 0, 1)]
        return np.asarray(np.unique(np.vstack([*around, self.nearest(across_along)]), axis=0))


@dataclass(frozen=True)
class Fit:
    """``across_along`` (N, 2): undeformed positions in pitches, places on whole numbers."""

    hypothesis: Hypothesis
    across_along: Floats
    description_nats: float


def hypotheses(centres: Floats, diameter: float) -> list[Hypothesis]:
    """The likeliest lattices of centres (N, 2) by their near neighbours' displacements."""
    least = MIN_PITCH_DIAMETERS * diameter
    if len(centres) < 4:
        return [_of_few(centres, least)]
    displacement, weight, near = _near_pairs(centres, least)
    turns = np.deg2rad(np.arange(-MAX_TURN_DEG, MAX_TURN_DEG + 0.1, 4.0))
    pitches = np.geomspace(max(least, 0.75 * near), 2.0 * near, 14)
    scores = [_structure_factors(displacement, weight, turns, pitches, up) for up in (False, True)]
    kinds = [(False, False), (False, True), (True, True)]  # upright, staggered
    lines = [_line_pitches(pitches, staggered) for _, staggered in kinds]
    allowed = [
        _allowed(pitches, own, staggered, upright, least)
        for own, (upright, staggered) in zip(lines, kinds, strict=True)
    ]
    found: list[tuple[float, Hypothesis]] = []
    for number, turn in enumerate(turns):
        lean = 0.05 * (turn / np.deg2rad(MAX_TURN_DEG)) ** 2  # of two equal turns the smaller
        for (upright, staggered), own, may in zip(kinds, lines, allowed, strict=True):
            table = np.where(may, scores[upright][staggered][number] - lean, -1)
            flat = np.argsort(table, axis=None)[::-1][:2]
            for a, b in zip(*np.unravel_index(flat, table.shape), strict=True):
                guess = Hypothesis(
                    float(pitches[a]), float(own[b]), float(turn), staggered, upright
                )
                found.append((float(table[a, b]), guess))
    return _distinct(found)


def _of_few(centres: Floats, least: float) -> Hypothesis:
    """One to three shells: a square lattice along the tray with the closest pair as pitch."""
    gaps = np.linalg.norm(centres[:, None] - centres, axis=2)
    closest = float(gaps[gaps > 0].min()) if (gaps > 0).any() else least
    return Hypothesis(max(closest, least), max(closest, least), 0.0, False)


def _near_pairs(centres: Floats, least: float) -> tuple[Floats, Floats, float]:
    """Displacements between neighbours, their weights, and the typical nearest distance."""
    away = centres[:, None] - centres
    gap = np.linalg.norm(away, axis=2)
    np.fill_diagonal(gap, np.inf)
    near = max(float(np.median(gap.min(axis=1))), least)
    first, second = np.nonzero(np.triu(gap < 2.6 * near))
    d = away[first, second]
    # the second shell of neighbours counts less: deformation and jitter have added up
    return d, np.exp(-0.5 * (gap[first, second] / (1.5 * near)) ** 2), near


def _line_pitches(pitches: Floats, staggered: bool) -> Floats:
    # staggered lines may lie as close as half a pitch (a square lattice on its corner)
    return pitches * 0.75 if staggered else pitches


def _structure_factors(
    displacement: Floats, weight: Floats, turns_rad: Floats, pitches: Floats, upright: bool
) -> tuple[Floats, Floats]:
    """Scores (turn, pitch, line pitch) of plain and of staggered lattices, 1 at best."""
    x, y = (displacement[:, ::-1] if upright else displacement).T
    c, s = np.cos(turns_rad)[:, None, None], np.sin(turns_rad)[:, None, None]
    across, along = x * c + y * s, y * c - x * s
    share = weight / weight.sum()
    wave = 2 * np.pi / pitches[:, None]
    cos_u = np.cos(wave * across)
    half_v = np.cos(np.pi / _line_pitches(pitches, True)[:, None] * along)
    full_v = 2 * half_v**2 - 1
    # reciprocal vectors (1/p, 1/2q), (1/p, -1/2q) and (0, 1/q); the sine parts cancel
    staggered = (2 * (cos_u * share) @ half_v.transpose(0, 2, 1) + (full_v @ share)[:, None]) / 3
    if upright:  # the same plain lattices as with rows
        return np.full_like(staggered, -1.0), staggered
    cos_v = np.cos(wave * along)
    return ((cos_u @ share)[:, :, None] + (cos_v @ share)[:, None]) / 2, staggered


def _allowed(
    pitches: Floats, lines: Floats, staggered: bool, upright: bool, least: float
) -> NDArray[np.bool_]:
    """Shells do not overlap; and of a staggered lattice's two readings (shifted rows, shifted
    columns) the one with the closer places in a line, rows where both are much alike."""
    p, q = pitches[:, None], lines[None, :]
    if not staggered:
        return np.asarray((p >= least) & (q >= least))
    apart = (p >= least) & (np.hypot(p / 2, q) >= least)
    return np.asarray(apart & (p * 1.15 < 2 * q if upright else p <= 1.15 * 2 * q))


def _distinct(found: list[tuple[float, Hypothesis]]) -> list[Hypothesis]:
    """The `KEPT` best of both kinds, no two within the basin of one fit."""
    kept: list[Hypothesis] = []
    ranked = sorted(found, key=lambda pair: -pair[0])
    for score, guess in ranked:
        if score < ranked[0][0] - CLEARLY_WORSE:
            break
        alike = [
            h
            for h in kept
            if (h.staggered, h.upright) == (guess.staggered, guess.upright)
            and abs(h.turn_rad - guess.turn_rad) < np.deg2rad(6)
            and abs(np.log(h.pitch_mm / guess.pitch_mm)) < 0.12
            and abs(np.log(h.line_pitch_mm / guess.line_pitch_mm)) < 0.12
        ]
        if not alike and sum(h.staggered == guess.staggered for h in kept) < KEPT:
            kept.append(guess)
    return kept


def fit(centres: Floats, hypothesis: Hypothesis, diameter: float) -> Fit:
    """Deform the hypothesis smoothly so that the centres fall on places, middle first."""
    middle = centres[np.argmin(np.linalg.norm(centres - np.median(centres, axis=0), axis=1))]
    start = hypothesis.local(centres - middle)
    reach = np.hypot(start[:, 0], start[:, 1] * hypothesis.ratio)
    inner = reach <= max(1.6, float(np.sort(reach)[min(len(reach) - 1, 4)]))
    position = start - _phase(start[inner], hypothesis)
    basis, bend = _basis(start), np.zeros((6, 2))
    last = np.full_like(position, np.nan)
    for limit in (*np.linspace(0.3, 0.9, 4) * reach.max(), *[np.inf] * 8):
        used = (reach <= limit) | inner
        place = hypothesis.nearest(position)
        if np.isinf(limit) and np.array_equal(place, last):
            break
        last, offset = place, place - start
        miss = np.hypot(*(position - place).T)
        weight = 1 / (1 + (miss / 0.3) ** 2)  # halved where a shell is three SCATTER away
        bend = _ridge(basis[used], offset[used], weight[used])
        position = start + basis @ bend
    nats = _description(position, hypothesis, diameter) + _prior_nats(bend, hypothesis)
    return Fit(hypothesis, position, nats)


def _phase(local: Floats, hypothesis: Hypothesis) -> Floats:
    """Where places lie (2,) for undeformed positions, by circular means."""
    along = np.angle(np.exp(2j * np.pi * local[:, 1]).mean()) / (2 * np.pi)
    across = local[:, 0] - hypothesis.shift(np.rint(local[:, 1] - along))
    return np.array([np.angle(np.exp(2j * np.pi * across).mean()) / (2 * np.pi), along])


def _basis(local: Floats) -> Floats:
    u, v = local.T
    return np.column_stack([np.ones(len(u)), u, v, u * u, u * v, v * v])


def _ridge(basis: Floats, offset: Floats, weight: Floats) -> Floats:
    """Coefficients (6, 2) with the deformations' own spread as prior (ridge regression)."""
    prior = np.diag(np.array([0.0, *[SLANT**-2.0] * 2, *[BEND**-2.0] * 3]) * SCATTER**2)
    weighted = basis * weight[:, None]
    return np.asarray(np.linalg.solve(weighted.T @ basis + prior, weighted.T @ offset), float)


def _prior_nats(bend: Floats, hypothesis: Hypothesis) -> float:
    """How unlikely the deformation and the turn are for a hand-piped tray."""
    # the lines' direction after the fit: where a step across leaves the line index alone
    turn_deg = np.rad2deg(hypothesis.turn_rad) - np.rad2deg(bend[1, 1] * hypothesis.ratio)
    slant = np.square(bend[1:3] / SLANT).sum() + np.square(bend[3:] / BEND).sum()
    rare = SHIFTED_COLUMNS_NATS if hypothesis.upright else 0.0
    return float(slant + (turn_deg / TURN_DEG) ** 2) / 2 + rare


def _description(position: Floats, hypothesis: Hypothesis, diameter: float) -> float:
    """Nats to write the centres down: which of the lattice's places are taken, the distances
    from them as a normal distribution, and stray shells one by one, anywhere on the tray."""
    place = hypothesis.nearest(position)
    miss_mm = (position - place) * [hypothesis.pitch_mm, hypothesis.line_pitch_mm]
    # trays are piped as a block: of its places, those between the outermost lines and ends
    width = np.ptp(place[:, 0]) + (0.5 if hypothesis.staggered else 1.0)
    total = float(max(1.0, width) * (np.ptp(place[:, 1]) + 1))
    tray_mm2 = total * hypothesis.pitch_mm * hypothesis.line_pitch_mm
    # 0.05 diameters: better than that no hand pipes, and a perfect fit must not outweigh all
    floor_mm2 = (0.05 * diameter) ** 2
    # 0.455: median of the square of a standard normal number
    variance = np.median(miss_mm**2, axis=0) / 0.455 + floor_mm2
    stray_nats = np.log(tray_mm2) + STRAY_NATS
    limit = 2 * (stray_nats - np.log(2 * np.pi * np.sqrt(variance.prod())))
    kept = (miss_mm**2 / variance).sum(axis=1) <= max(limit, 1.0)
    if not kept.any():
        return float(len(place) * stray_nats)
    count = int(kept.sum())
    variance = (miss_mm[kept] ** 2).sum(axis=0) / (count + 1) + floor_mm2
    distinct = len(np.unique(place[kept], axis=0))
    return float(
        count * (np.log(2 * np.pi * np.e) + np.log(variance).sum() / 2)
        + _log_choices(total, distinct)
        + (count - distinct) * (np.log(total) + STRAY_NATS)
        + (len(place) - count) * stray_nats
    )


def _log_choices(total: float, taken: int) -> float:
    """Logarithm of the number of ways to take ``taken`` of ``total`` places (entropy form)."""
    share = taken / max(total, taken)
    if share >= 1:
        return 0.0
    return float(-max(total, taken) * (share * np.log(share) + (1 - share) * np.log(1 - share)))
