"""Matched pairs of a lot: which two shells make one macaron."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from petitpied.domain.quantity import Quantity
from petitpied.sorting.closeness import Closeness, Indices, difference_u_mm
from petitpied.sorting.lot import LotShell, Verdict
from petitpied.sorting.matching import match

#: shells that are paired at all; None: judged by no limits
PAIRED = (Verdict.PASS, Verdict.SECOND, None)


@dataclass(frozen=True, slots=True)
class Pair:
    """Two shells of a macaron: ``b`` is turned on its tray by ``turn_deg`` (clockwise as seen
    from above, tray frame), then folded over to the side onto ``a``. ``cost`` in mm, see
    `petitpied.sorting.closeness`; ``difference_mm`` of the diameters, not negative."""

    a: LotShell
    b: LotShell
    turn_deg: float
    cost: float
    difference_mm: Quantity

    @property
    def grade(self) -> Verdict | None:
        return self.a.verdict

    @property
    def flavours(self) -> tuple[str, ...]:
        """The flavour, or both of a mixed pair."""
        return tuple(sorted({self.a.flavour, self.b.flavour}))


@dataclass(frozen=True, slots=True)
class LeftOver:
    """A shell without partner, and why."""

    shell: LotShell
    why: str


@dataclass(frozen=True, slots=True)
class Pairing:
    """All pairs, in the order in which they are picked; no pairing of the lot costs less than
    ``lower_bound``."""

    pairs: tuple[Pair, ...]
    left_over: tuple[LeftOver, ...]
    total_cost: float
    lower_bound: float

    @property
    def gap_rel(self) -> float:
        """How much above the bound at most, relative."""
        above = self.total_cost - self.lower_bound
        return above / self.total_cost if self.total_cost > 0 else 0.0


def pair_lot(shells: Sequence[LotShell], *, mix_flavours: bool = False) -> Pairing:
    """Pair a lot at the least total cost.

    Pass with pass and second with second, each flavour for itself unless ``mix_flavours``;
    rejects and those to be checked by eye stay out. Of an odd number the one is left over
    without which the others cost least.

    Raises
    ------
    ValueError
        If two shells have the same tray and place.
    """
    if len({s.key for s in shells}) < len(shells):
        raise ValueError("two shells of the lot have the same tray and place")
    groups: dict[tuple[str, Verdict | None], list[LotShell]] = defaultdict(list)
    left = []
    for shell in shells:
        if shell.verdict in PAIRED:
            groups["" if mix_flavours else shell.flavour, shell.verdict].append(shell)
        else:
            left.append(LeftOver(shell, f"its verdict is {shell.verdict}"))
    pairs: list[Pair] = []
    total = bound = 0.0
    for (_, grade), members in groups.items():
        closeness = Closeness.of(members)
        matching = match(closeness)
        pairs += _pairs(members, closeness, matching.pairs)
        total, bound = total + matching.total_cost, bound + matching.lower_bound
        odd = np.setdiff1d(np.arange(len(members)), matching.pairs.ravel())
        left += [LeftOver(members[i], _why_alone(grade, len(members))) for i in odd]
    place = {shell.key: number for number, shell in enumerate(shells)}
    order = sorted(pairs, key=lambda p: _pick_order(p, place))
    left.sort(key=lambda item: place[item.shell.key])
    return Pairing(tuple(order), tuple(left), total, min(bound, total))


def _pairs(members: Sequence[LotShell], closeness: Closeness, chosen: Indices) -> list[Pair]:
    costs, turns_deg = closeness.pairs(*chosen.T)
    pairs = []
    for (i, j), cost, turn_deg in zip(chosen, costs, turns_deg, strict=True):
        a, b = members[i], members[j]
        apart = abs(a.diameter_mm.value - b.diameter_mm.value)
        difference_mm = Quantity(apart, difference_u_mm(a, b))
        pairs.append(Pair(a, b, float(turn_deg), float(cost), difference_mm))
    return pairs


def _why_alone(grade: Verdict | None, count: int) -> str:
    kind = "shells" if grade is None else f"shells of its flavour with verdict {grade}"
    if count == 1:
        return f"there are no other {kind}" if grade is not None else "there is no other shell"
    return f"an odd number of {kind} ({count}): without this one the others match best"


def _pick_order(pair: Pair, place: dict[tuple[str, str], int]) -> tuple[object, ...]:
    """Passes first; pairs within one tray, tray by tray, then those across trays."""
    first, second = sorted((place[pair.a.key], place[pair.b.key]))
    return (pair.grade == Verdict.SECOND, pair.a.record != pair.b.record, first, second)
