"""The same shells found again in another photo of the same tray, by where they lie.

No lattice and no ids are needed: the turn and shift under which most shells of the one photo
fall on shells of the other is found by vote, then settled by least squares (Kabsch 1976).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: shells a step apart in the vote; a tray frame taken from the rim turns by half a degree at
#: most, 2 mm at the end of a half-sheet tray
VOTE_MM = 5.0
#: a shell found again lies within this of its place: heights seen from two sides move plan
#: centres by 0.2 times a millimetre of height, twice over; shells stand 40 mm apart
FOUND_MM = 3.0
#: shells stay where they were piped: centres of the same shells agree to 0.2 mm (tuning
#: pairs), those of another tray piped on the same lattice only to its scatter by hand, 1 mm
#: or more (common practice, no source). A limit between both:
SAME_RMS_MM = 0.7
#: share of the shells of the smaller find that must be found again
FOUND_REL = 0.7
FEWEST = 4
TURNS_DEG = (0.0, 180.0, 90.0, 270.0)


@dataclass(frozen=True)
class Registration:
    """``turn`` (2, 2) and ``shift_mm`` (2,) take the second photo's points to the first's
    frame; ``pairs``: (index in the first, index in the second); ``rms_mm`` of what is left."""

    turn: Floats
    shift_mm: Floats
    pairs: tuple[tuple[int, int], ...]
    rms_mm: float

    def to_first(self, points_mm: Floats) -> Floats:
        """Points (N, 2) of the second frame in the first."""
        return np.asarray(points_mm @ self.turn.T + self.shift_mm, float)

    @property
    def turn_deg(self) -> float:
        return float(np.rad2deg(np.arctan2(self.turn[1, 0], self.turn[0, 0])))


def _rotation(angle_deg: float) -> Floats:
    c, s = np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))
    return np.array([[c, -s], [s, c]])


def rigid_fit(source: Floats, target: Floats) -> tuple[Floats, Floats]:
    """Turn (2, 2) and shift (2,) that take ``source`` (N, 2) onto ``target`` (Kabsch 1976)."""
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    cosine = float((a * b).sum())
    sine = float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum())
    size = float(np.hypot(cosine, sine)) or 1.0
    turn = np.array([[cosine, -sine], [sine, cosine]]) / size
    return turn, np.asarray(target.mean(axis=0) - turn @ source.mean(axis=0), float)


def _voted_shift(first: Floats, turned: Floats) -> Floats:
    """The shift (2,) that most pairs of points agree on."""
    shifts = (first[:, None] - turned[None]).reshape(-1, 2)
    near = np.hypot(*np.moveaxis(shifts[:, None] - shifts[None], 2, 0)) < VOTE_MM
    best = int(near.sum(axis=1).argmax())
    return np.asarray(shifts[near[best]].mean(axis=0), float)


def _pairs(first: Floats, moved: Floats, within_mm: float) -> NDArray[np.intp]:
    """Mutual nearest neighbours within a distance: (P, 2) indices."""
    gap = np.hypot(*np.moveaxis(first[:, None] - moved[None], 2, 0))
    there, back = gap.argmin(axis=1), gap.argmin(axis=0)
    each = np.arange(len(first))
    good = (back[there] == each) & (gap[each, there] < within_mm)
    return np.column_stack([each[good], there[good]])


def _settled(first: Floats, second: Floats, turn: Floats, shift: Floats) -> Registration | None:
    pairs = np.zeros((0, 2), np.intp)
    for within_mm in (2.5 * FOUND_MM, 1.5 * FOUND_MM, FOUND_MM, FOUND_MM):
        pairs = _pairs(first, second @ turn.T + shift, within_mm)
        if len(pairs) < FEWEST:
            return None
        turn, shift = rigid_fit(second[pairs[:, 1]], first[pairs[:, 0]])
    rest = second[pairs[:, 1]] @ turn.T + shift - first[pairs[:, 0]]
    # medians: single shells that were nudged between the photos do not make it another tray
    rms = float(np.sqrt(np.median((rest**2).sum(axis=1)) / np.log(2)))
    return Registration(turn, shift, tuple((int(i), int(j)) for i, j in pairs), rms)


def register(first_mm: Floats, second_mm: Floats) -> Registration | None:
    """Find the shells of one photo again in another.

    Parameters
    ----------
    first_mm, second_mm : ndarray (N, 2), (M, 2)
        Plan-view centres in each photo's own tray frame.

    Returns
    -------
    Registration or None
        None if the photos do not show the same shells: too few found again, or not in their
        places to `SAME_RMS_MM`.
    """
    if min(len(first_mm), len(second_mm)) < FEWEST:
        return None
    tried = []
    for angle in TURNS_DEG:
        turn = _rotation(angle)
        tried.append(
            _settled(first_mm, second_mm, turn, _voted_shift(first_mm, second_mm @ turn.T))
        )
    found = [r for r in tried if r is not None]
    if not found:
        return None
    best = max(found, key=lambda r: (len(r.pairs), -r.rms_mm))
    enough = len(best.pairs) >= max(FEWEST, FOUND_REL * min(len(first_mm), len(second_mm)))
    return best if enough and best.rms_mm <= SAME_RMS_MM else None
