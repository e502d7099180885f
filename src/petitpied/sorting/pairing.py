"""Matched pairs of a lot: which two shells make one macaron."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from petitpied.domain.quantity import Quantity
from petitpied.sorting.closeness import Closeness, Indices, difference_u_mm
from petitpied.sorting.limits import GradeNames
from petitpied.sorting.lot import LotShell, Verdict
from petitpied.sorting.matching import Costs, match
from petitpied.sorting.no_eye_would import NoEyeWould, any_too_far, too_far
from petitpied.sorting.tops_and_bottoms import TopsAndBottoms

#: shells that are paired at all; None: judged by no limits
PAIRED = (Verdict.TOP, Verdict.BOTTOM, None)
#: a turn is told only if it brings the edges closer by more than this, mm: less is not seen
#: (common practice, no source)
SEEN_AT_THE_EDGE_MM = 0.3
BY_EYE = Verdict.BY_EYE.value
WHY_FAR = "no shell left is like it in size and colour"


@dataclass(frozen=True, slots=True)
class Pair:
    """Two shells of a macaron: ``b`` is turned on its tray by ``turn_deg`` (clockwise as seen
    from above, tray frame), then folded over to the side onto ``a``, which is the bottom where
    one of them is. ``cost`` in mm, see `petitpied.sorting.closeness`; ``difference_mm`` of the
    diameters, not negative. ``turn_helps``: the turn brings the edges closer by more than can be
    seen."""

    a: LotShell
    b: LotShell
    turn_deg: float
    cost: float
    difference_mm: Quantity
    turn_helps: bool = True

    @property
    def grade(self) -> Verdict | None:
        """Top: a macaron with a top; bottom: one of two bottoms; None: not judged."""
        return self.b.verdict

    @property
    def is_mixed(self) -> bool:
        """Whether it is one top and one bottom."""
        return self.a.verdict is not self.b.verdict

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


def pair_lot(
    shells: Sequence[LotShell], *, mix_flavours: bool = False, grades: GradeNames | None = None
) -> Pairing:
    """Pair a lot: as many macarons with a top as can be, as many as can be of the rest, and all
    that at the least total cost.

    A top takes a bottom or another top, two bottoms are paired only where tops run short; each
    flavour for itself unless ``mix_flavours``; crumbs and those to be checked by eye stay out. Of
    an odd number the one is left over without which the others cost least. Shells that no eye would
    pair (`petitpied.sorting.no_eye_would`) stay apart, even of one flavour. ``grades``: the
    baker's words for the reasons.

    Raises
    ------
    ValueError
        If two shells have the same tray and place.
    """
    if len({s.key for s in shells}) < len(shells):
        raise ValueError("two shells of the lot have the same tray and place")
    names = GradeNames() if grades is None else grades
    groups: dict[tuple[str, bool], list[LotShell]] = defaultdict(list)
    left = []
    for shell in shells:
        if shell.verdict in PAIRED:
            flavour = "" if mix_flavours else shell.flavour
            groups[flavour, shell.verdict is not None].append(shell)
        else:
            word = "" if shell.verdict is None else names.of(shell.verdict)
            left.append(LeftOver(shell, f"it is {word}" if word != BY_EYE else "to check by eye"))
    pairs: list[Pair] = []
    total = bound = 0.0
    for members in groups.values():
        closeness = Closeness.of(members)
        matching = match(_costs(members, closeness))
        far = too_far(closeness, *matching.pairs.T)
        pairs += _pairs(members, closeness, matching.pairs[~far])
        total, bound = total + matching.total_cost, bound + matching.lower_bound
        odd = np.setdiff1d(np.arange(len(members)), matching.pairs.ravel())
        left += [LeftOver(members[i], _why_alone(members, names)) for i in odd]
        left += [LeftOver(members[i], WHY_FAR) for i in matching.pairs[far].ravel()]
    place = {shell.key: number for number, shell in enumerate(shells)}
    order = sorted(pairs, key=lambda p: _pick_order(p, place))
    left.sort(key=lambda item: place[item.shell.key])
    # what pairs of two bottoms cost more is no mismatch
    extra = total - sum(p.cost for p in pairs)
    total, bound = total - extra, bound - extra
    return Pairing(tuple(order), tuple(left), total, min(bound, total))


def _costs(members: Sequence[LotShell], closeness: Closeness) -> Costs:
    is_top = np.array([s.verdict is Verdict.TOP for s in members])
    costs: Costs = closeness
    if is_top.any() and not is_top.all():
        costs = TopsAndBottoms.of(closeness, is_top)
    return NoEyeWould.of(costs, closeness) if any_too_far(closeness) else costs


def _pairs(members: Sequence[LotShell], closeness: Closeness, chosen: Indices) -> list[Pair]:
    swap = [
        members[i].verdict is Verdict.TOP and members[j].verdict is Verdict.BOTTOM
        for i, j in chosen
    ]
    chosen = np.where(np.array(swap, bool).reshape(-1, 1), chosen[:, ::-1], chosen)
    costs, turns_deg = closeness.pairs(*chosen.T)
    pairs = []
    for (i, j), cost, turn_deg in zip(chosen, costs, turns_deg, strict=True):
        a, b = members[i], members[j]
        apart = abs(a.diameter_mm.value - b.diameter_mm.value)
        difference_mm = Quantity(apart, difference_u_mm(a, b))
        unturned, turned = (closeness.edge_gap_mm(i, j, t) for t in (0.0, float(turn_deg)))
        helps = unturned - turned > SEEN_AT_THE_EDGE_MM
        pairs.append(Pair(a, b, float(turn_deg), float(cost), difference_mm, helps))
    return pairs


def _why_alone(members: Sequence[LotShell], names: GradeNames) -> str:
    if len(members) == 1:
        return "there is no other shell to go with it"
    tops = sum(s.verdict is Verdict.TOP for s in members)
    bottoms = sum(s.verdict is Verdict.BOTTOM for s in members)
    parts = ((tops, names.top), (bottoms, names.bottom), (len(members) - tops - bottoms, ""))
    counted = ", ".join(f"{number} {word}".strip() for number, word in parts if number)
    return f"an odd number of shells ({counted}): without this one the others match best"


def _pick_order(pair: Pair, place: dict[tuple[str, str], int]) -> tuple[object, ...]:
    """Macarons with a top first; pairs within one tray, tray by tray, then those across trays."""
    first, second = sorted((place[pair.a.key], place[pair.b.key]))
    return (pair.grade is Verdict.BOTTOM, pair.a.record != pair.b.record, first, second)
