"""Run rules: patterns of points that a steady process seldom makes.

Western Electric (Statistical Quality Control Handbook, 1956) and Nelson (The Shewhart control
chart - tests for special causes, J. Quality Technology 16, 1984). "Beyond" is strict; a point on
the centre line belongs to neither side; gaps are passed over.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Signal:
    """A rule broken at point ``index``, the last of the ``length`` points that it looks at."""

    index: int
    rule: str
    meaning: str
    length: int


#: rule to what it says and how many points it looks at
WESTERN_ELECTRIC = {
    "Western Electric 1": ("one point beyond 3 sigma", 1),
    "Western Electric 2": ("two of three successive points beyond 2 sigma, same side", 3),
    "Western Electric 3": ("four of five successive points beyond 1 sigma, same side", 5),
    "Western Electric 4": ("eight successive points on one side of the centre line", 8),
}
NELSON = {
    "Nelson 1": ("one point beyond 3 sigma", 1),
    "Nelson 2": ("nine in a row on one side of the centre line", 9),
    "Nelson 3": ("six in a row steadily rising or falling", 6),
    "Nelson 4": ("fourteen in a row alternating up and down", 14),
    "Nelson 5": ("two of three in a row beyond 2 sigma, same side", 3),
    "Nelson 6": ("four of five in a row beyond 1 sigma, same side", 5),
    "Nelson 7": ("fifteen in a row within 1 sigma, either side", 15),
    "Nelson 8": ("eight in a row all beyond 1 sigma, on both sides", 8),
}


def western_electric(z: Floats) -> tuple[Signal, ...]:
    """Signals of standardised points (N,), by point and then rule."""
    known, there = _without_gaps(z)
    broken = {
        "Western Electric 1": np.abs(known) > 3,
        "Western Electric 2": _either(known, lambda x: _m_of_n(x > 2, 2, 3)),
        "Western Electric 3": _either(known, lambda x: _m_of_n(x > 1, 4, 5)),
        "Western Electric 4": _either(known, lambda x: _m_of_n(x > 0, 8, 8)),
    }
    return _signals(broken, WESTERN_ELECTRIC, there)


def nelson(z: Floats) -> tuple[Signal, ...]:
    """Signals of standardised points (N,), by point and then rule."""
    known, there = _without_gaps(z)
    step = np.sign(np.diff(known, prepend=known[:1]))
    turns = np.zeros(len(known), bool)
    turns[2:] = step[2:] * step[1:-1] < 0
    out = np.abs(known) > 1
    both = _m_of_n(out, 8, 8) & ~(_m_of_n(known > 1, 8, 8) | _m_of_n(known < -1, 8, 8))
    broken = {
        "Nelson 1": np.abs(known) > 3,
        "Nelson 2": _either(known, lambda x: _m_of_n(x > 0, 9, 9)),
        # six points make five rises, fourteen points twelve turns
        "Nelson 3": _m_of_n(step > 0, 5, 5) | _m_of_n(step < 0, 5, 5),
        "Nelson 4": _m_of_n(turns, 12, 12),
        "Nelson 5": _either(known, lambda x: _m_of_n(x > 2, 2, 3)),
        "Nelson 6": _either(known, lambda x: _m_of_n(x > 1, 4, 5)),
        "Nelson 7": _m_of_n(np.abs(known) < 1, 15, 15),
        "Nelson 8": both,
    }
    return _signals(broken, NELSON, there)


def only_limits(beyond: Bools, name: str, meaning: str) -> tuple[Signal, ...]:
    """A signal for each point beyond its limits: for charts whose points are skewed, or hang
    together, so that the rules do not hold."""
    return tuple(Signal(int(i), name, meaning, 1) for i in np.flatnonzero(beyond))


def _without_gaps(z: Floats) -> tuple[Floats, NDArray[np.intp]]:
    there = np.flatnonzero(~np.isnan(z))
    return np.asarray(z[there], float), there


def _m_of_n(hit: Bools, m: int, n: int) -> Bools:
    """Where m of the last n points are hits, the point itself among them.

    A run shorter than n at the start counts if it has m hits.
    """
    total = np.cumsum(hit)
    before = np.concatenate([np.zeros(n, total.dtype), total])[: len(total)]
    return np.asarray(hit & (total - before >= m), bool)


def _either(z: Floats, rule: Callable[[Floats], Bools]) -> Bools:
    return np.asarray(rule(z) | rule(-z), bool)


def _signals(
    broken: dict[str, Bools], rules: dict[str, tuple[str, int]], there: NDArray[np.intp]
) -> tuple[Signal, ...]:
    found = [
        Signal(int(there[i]), rule, *rules[rule])
        for rule, where in broken.items()
        for i in np.flatnonzero(where)
    ]
    return tuple(sorted(found, key=lambda s: (s.index, s.rule)))
