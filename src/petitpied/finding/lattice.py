"""From shell centres to the rows and columns that they were piped in, and their ids.

Hypotheses for the lattice (turn, pitch in the row, pitch of the rows, staggered or not) come
from the displacements between near neighbours: the local structure factor, the mean of
``cos(2 pi g.d)`` over displacements d and reciprocal vectors g, is 1 for a perfect lattice and
0 on average for a wrong one, however dense. Each of the best hypotheses is fitted to the whole
tray by alternate rounding and fitting with a smooth (quadratic) deformation, from the middle
outwards; the shortest description of the centres (Rissanen 1978: which places are taken, and
how far each shell lies from its place) chooses among them.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from petitpied.finding.lattice_fit import Hypothesis, fit, hypotheses

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: a shell takes a free place up to this far away (in pitches) rather than share the nearest
#: one: halfway between the next place (1) and where rounding alone would already send it (0.5)
REACH = 0.75


@dataclass(frozen=True)
class Lattice:
    """Rows and columns of the shells, in the order given to `find_lattice`.

    ``row`` (N,): 0 is farthest from the door; ``column`` (N,): 0 is left-most; ``ids``:
    "A1", "A2", ..., unique; a second shell on a taken place gets a letter, "A2b".
    ``rows`` and ``columns``: size of the lattice from its first to its last place.
    ``pitch_mm``: between neighbours of a row; ``row_pitch_mm``: between rows; None where
    there is no second column or row to tell. ``angle_deg``: of the rows, from +x towards +y.
    ``staggered``: "rows" where every other row is shifted by half a pitch, "columns" where
    every other column is, else "no". ``scatter_rel``: root mean square distance of the shells
    from their places, in pitches and by axis, after a smooth deformation; 0.15 is a very
    uneven hand, 0.29 is what shells strewn at random would show.
    """

    row: Ints
    column: Ints
    ids: tuple[str, ...]
    rows: int
    columns: int
    pitch_mm: float | None
    row_pitch_mm: float | None
    angle_deg: float
    staggered: Literal["no", "rows", "columns"]
    scatter_rel: float


def find_lattice(centres_mm: Floats, diameters_mm: Floats) -> Lattice:
    """Row, column and id of every shell.

    Parameters
    ----------
    centres_mm : ndarray of shape (N, 2)
        Plan-view centres in the tray frame (x right, y towards the door); any unit of length
        will do if the diameters have the same.
    diameters_mm : ndarray of shape (N,)
        NaN where unknown; at least one known when N > 0. Shells do not overlap, so their
        median bounds the pitch from below.

    Raises
    ------
    ValueError
        If the shapes do not match, a centre is not finite, or no diameter is known.
    """
    centres, diameter = _checked(centres_mm, diameters_mm)
    if len(centres) == 0:
        none = np.zeros(0, np.int64)
        return Lattice(none, none, (), 0, 0, None, None, 0.0, "no", 0.0)
    fits = [fit(centres, h, diameter) for h in hypotheses(centres, diameter)]
    best = min(fits, key=lambda f: f.description_nats)
    across, along, doubled = _settle(best.across_along, best.hypothesis)
    settled = np.column_stack([across, along])
    places = _numbered(across, along, best.hypothesis)
    row, column = (places[::-1]) if best.hypothesis.upright else places
    pitch, row_pitch, angle_deg = _pitches(centres, across, along, best.hypothesis)
    return Lattice(
        row=row,
        column=column,
        ids=_ids(row, column, doubled),
        rows=int(row.max()) + 1,
        columns=int(column.max()) + 1,
        pitch_mm=pitch,
        row_pitch_mm=row_pitch,
        angle_deg=angle_deg,
        staggered=_stagger_name(best.hypothesis, along),
        scatter_rel=float(np.sqrt(np.square(best.across_along - settled).mean())),
    )


def row_letters(row: int) -> str:
    """0 to "A", 25 to "Z", 26 to "AA", and so on as spreadsheets count."""
    letters = ""
    row += 1
    while row > 0:
        row, last = divmod(row - 1, 26)
        letters = chr(ord("A") + last) + letters
    return letters


def _checked(centres_mm: Floats, diameters_mm: Floats) -> tuple[Floats, float]:
    centres = np.asarray(centres_mm, float).reshape(-1, 2)
    if np.shape(diameters_mm) != (len(centres),):
        raise ValueError(
            f"diameters_mm must have shape ({len(centres)},), got {np.shape(diameters_mm)}"
        )
    if not np.isfinite(centres).all():
        raise ValueError("centres_mm holds values that are not finite")
    known = np.asarray(diameters_mm, float)
    known = known[np.isfinite(known)]
    if len(centres) and not (len(known) and np.median(known) > 0):
        raise ValueError("at least one diameter must be known and positive")
    return centres, float(np.median(known)) if len(known) else 0.0


def _stagger_name(hypothesis: Hypothesis, along: Ints) -> Literal["no", "rows", "columns"]:
    if not hypothesis.staggered or np.ptp(along) == 0:
        return "no"
    return "columns" if hypothesis.upright else "rows"


def _settle(across_along: Floats, hypothesis: Hypothesis) -> tuple[Floats, Ints, Ints]:
    """Give each shell a place of its own: least sum of squared distances.

    Returns place across (half-integers in every other line of a staggered lattice), line
    index, and for shells left on a taken place their rank there (1, 2, ...; else 0).
    """
    places = hypothesis.places_near(across_along)
    scale = np.array([1.0, hypothesis.ratio])
    squared = (((across_along[:, None] - places) * scale) ** 2).sum(axis=2)
    count = len(across_along)
    chosen = squared.argmin(axis=1)
    rank = np.zeros(count, np.int64)
    if len(np.unique(chosen)) < count:
        chosen, rank = _without_sharing(squared)
    settled = places[chosen]
    return settled[:, 0], np.rint(settled[:, 1]).astype(np.int64), rank


def _without_sharing(squared: Floats) -> tuple[Ints, Ints]:
    """Place and rank (N,) of each shell where two have one nearest place; ``squared``:
    distances (N, M) of shells from places."""
    from scipy.optimize import linear_sum_assignment  # half a second to import, seldom needed

    nearest = squared.min(axis=1)
    count, places = squared.shape
    cost = np.full((count, places + count), 1e6)
    allowed = squared < np.maximum(REACH**2, nearest[:, None] + 1e-9)
    first_come = 1e-9 * np.arange(count)[:, None]  # of two on one spot the first one gets it
    cost[:, :places][allowed] = (squared + first_come)[allowed]
    # sharing costs as much as going REACH farther than the nearest place
    cost[np.arange(count), places + np.arange(count)] = nearest + REACH**2
    chosen = linear_sum_assignment(cost)[1]
    shares = chosen >= places
    chosen[shares] = squared[shares].argmin(axis=1)
    rank = np.zeros(count, np.int64)
    for place in np.unique(chosen[shares]):
        mates = np.flatnonzero(shares & (chosen == place))
        owned = int(np.any(~shares & (chosen == place)))
        rank[mates[np.argsort(squared[mates, place])]] = np.arange(len(mates)) + owned
    return chosen, rank


def _numbered(across: Floats, along: Ints, hypothesis: Hypothesis) -> tuple[Ints, Ints]:
    """(line, place in line) from 0; half places share the number of the whole place before."""
    first = across.min()
    place = np.floor(across - first + 0.25).astype(np.int64)
    if not hypothesis.staggered:
        place = np.rint(across - first).astype(np.int64)
    return along - along.min(), place


def _ids(row: Ints, column: Ints, doubled: Ints) -> tuple[str, ...]:
    return tuple(
        f"{row_letters(int(r))}{int(c) + 1}{row_letters(int(d)).lower() if d else ''}"
        for r, c, d in zip(row, column, doubled, strict=True)
    )


def _pitches(
    centres: Floats, across: Floats, along: Ints, hypothesis: Hypothesis
) -> tuple[float | None, float | None, float]:
    """Pitch in rows, pitch of rows, angle of rows (degrees) by linear fit of centres to places."""
    has = np.ptp(across) > 0.75, np.ptp(along) > 0
    design = np.column_stack([np.ones(len(centres)), across * has[0], along * has[1]])
    step = np.linalg.lstsq(design, centres, rcond=None)[0]
    u, v = step[1], step[2]
    if hypothesis.upright:
        u, v, has = v, u, (has[1], has[0])
    angle_rad = hypothesis.turn_rad * (-1 if hypothesis.upright else 1)
    if has[0]:
        angle_rad = float(np.arctan2(u[1], u[0]))
    elif has[1]:
        angle_rad = float(np.arctan2(-v[0], v[1]))
    return (
        float(np.hypot(*u)) if has[0] else None,
        # between lines, square to the rows
        abs(float(v @ [-np.sin(angle_rad), np.cos(angle_rad)])) if has[1] else None,
        float(np.rad2deg(angle_rad)),
    )
