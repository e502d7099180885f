"""Checking a lot by a sample: how many shells to look at, and what that promises.

ISO 2859-1:1999 (the same as ANSI/ASQ Z1.4 and MIL-STD-105E), single sampling, normal
inspection, general inspection level II: tables 1 and 2-A for lots up to 1200.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import hypergeom

#: acceptance quality limits offered, per cent
AQLS = (0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0, 15.0)
LARGEST_LOT = 1200
#: table 1, level II: largest lot of each code letter; table 2-A: sample size and acceptance
#: number for each of `AQLS`, arrows followed (take the next plan in the arrow's direction, with
#: its sample size). The cell of letter A at AQL 10 is from memory.
PLANS: tuple[tuple[int, str, tuple[tuple[int, int], ...]], ...] = (
    (8, "A", ((20, 0), (13, 0), (8, 0), (5, 0), (3, 0), (2, 0), (5, 1), (3, 1))),
    (15, "B", ((20, 0), (13, 0), (8, 0), (5, 0), (3, 0), (2, 0), (5, 1), (3, 1))),
    (25, "C", ((20, 0), (13, 0), (8, 0), (5, 0), (3, 0), (8, 1), (5, 1), (5, 2))),
    (50, "D", ((20, 0), (13, 0), (8, 0), (5, 0), (13, 1), (8, 1), (8, 2), (8, 3))),
    (90, "E", ((20, 0), (13, 0), (8, 0), (20, 1), (13, 1), (13, 2), (13, 3), (13, 5))),
    (150, "F", ((20, 0), (13, 0), (32, 1), (20, 1), (20, 2), (20, 3), (20, 5), (20, 7))),
    (280, "G", ((20, 0), (50, 1), (32, 1), (32, 2), (32, 3), (32, 5), (32, 7), (32, 10))),
    (500, "H", ((80, 1), (50, 1), (50, 2), (50, 3), (50, 5), (50, 7), (50, 10), (50, 14))),
    (1200, "J", ((80, 1), (80, 2), (80, 3), (80, 5), (80, 7), (80, 10), (80, 14), (80, 21))),
)


@dataclass(frozen=True, slots=True)
class LotPlan:
    """Look at ``sample`` shells drawn by chance from ``lot``; accept if at most ``accept`` of
    them are bad. ``whole``: the plan asks for as many as there are: all are looked at, and
    nothing is left to chance."""

    lot: int
    aql_percent: float
    letter: str
    sample: int
    accept: int
    whole: bool


def plan_for(lot: int, aql_percent: float) -> LotPlan:
    """The plan of a lot size (2 to 1200) and an acceptance quality limit of `AQLS`.

    Raises
    ------
    ValueError
        For any other.
    """
    if aql_percent not in AQLS:
        raise ValueError(f"aql_percent must be one of {AQLS}, got {aql_percent}")
    if not 2 <= lot <= LARGEST_LOT:
        raise ValueError(f"lot must be 2 to {LARGEST_LOT}, got {lot}")
    _, letter, row = next(plan for plan in PLANS if lot <= plan[0])
    sample, accept = row[AQLS.index(aql_percent)]
    whole = sample >= lot
    if whole:  # all are looked at: accept by the lot's own share of bad ones
        sample, accept = lot, int(lot * aql_percent / 100)
    return LotPlan(lot, aql_percent, letter, sample, accept, whole)


def chance_accepted(plan: LotPlan) -> NDArray[np.float64]:
    """Operating characteristic (lot + 1,): chance of acceptance by the number of bad shells
    among all of the lot (hypergeometric: drawn without putting back)."""
    bad = np.arange(plan.lot + 1)
    return np.asarray(hypergeom.cdf(plan.accept, plan.lot, bad, plan.sample), float)


def bad_when_rarely_accepted(plan: LotPlan, chance: float) -> int:
    """Fewest bad shells in the lot at which it is accepted with at most ``chance``."""
    return int(np.argmax(chance_accepted(plan) <= chance))
