"""Verdicts by guarded limits: a shell passes only if it is sure enough that it conforms.

JCGM 106:2012: the probability that the true value lies within the limits, given the measured
one and its uncertainty (clause 7); acceptance only where the risk of being wrong is at most the
one chosen (guarded acceptance, 8.3.2), rejection likewise (guarded rejection, 8.3.3).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import erfc, sqrt
from typing import Literal

import numpy as np

from petitpied.domain.quantity import Quantity
from petitpied.sorting.limits import Limit, Limits
from petitpied.sorting.lot import Verdict


@dataclass(frozen=True, slots=True)
class Count:
    """How many there are of something, each seen with a probability of being real."""

    chances: tuple[float, ...] = ()

    @property
    def likely(self) -> int:
        """Those more likely real than not."""
        return sum(chance >= 0.5 for chance in self.chances)


Value = Quantity | Count


@dataclass(frozen=True, slots=True)
class Measured:
    """One shell's values by name, and why others are missing. A name in neither was not
    measured for any shell of the photo: it is left out of the verdict."""

    values: Mapping[str, Value]
    missing: Mapping[str, str] = field(default_factory=dict)
    not_measured: str | None = None  # the whole shell, and why


@dataclass(frozen=True, slots=True)
class Reason:
    """One limit's part in a verdict: the value lies surely ``beyond`` the limit, ``near`` it,
    or is ``missing`` (then ``why``)."""

    kind: Literal["beyond", "near", "missing"]
    name: str
    value: Value | None = None
    bound: float | None = None
    side: Literal["above", "below"] | None = None
    grade: Verdict = Verdict.TOP  # whose limit
    why: str = ""


@dataclass(frozen=True, slots=True)
class Judgement:
    """A verdict and what decided it; no reasons for a plain pass."""

    verdict: Verdict
    reasons: tuple[Reason, ...] = ()


def chance_outside(value: Value, limit: Limit) -> tuple[float, float]:
    """Probability that the true value lies below and above the limits (JCGM 106, 7.4)."""
    if isinstance(value, Count):
        return _count_outside(value, limit)
    below = 0.0 if limit.low is None else _normal_beyond(value.value - limit.low, value.u)
    above = 0.0 if limit.high is None else _normal_beyond(limit.high - value.value, value.u)
    return below, above


def _normal_beyond(room: float, u: float) -> float:
    """Chance that a normal deviate of standard deviation ``u`` exceeds ``room``."""
    if u <= 0:
        return 0.0 if room >= 0 else 1.0
    return 0.5 * erfc(room / (u * sqrt(2)))


def _count_outside(count: Count, limit: Limit) -> tuple[float, float]:
    """The number of real ones is a sum of independent yes-or-no (Poisson binomial)."""
    spread = np.ones(1)
    for chance in count.chances:
        spread = np.convolve(spread, [1 - chance, chance])
    number = np.arange(len(spread))
    below = 0.0 if limit.low is None else float(spread[number < limit.low].sum())
    above = 0.0 if limit.high is None else float(spread[number > limit.high].sum())
    return below, above


def judge(shell: Measured, limits: Limits) -> Judgement:
    """The verdict of one shell.

    ``pass`` or ``second`` if the chances of lying outside, summed over the limits of that grade
    (Bonferroni: however the quantities hang together), are at most the risk; ``reject``, or not
    ``pass``, if one limit is broken with a chance of at least 1 - risk; between these ``check by
    eye``. A quantity missing for this shell only is checked by eye, unless it is rejected for
    another; one that no shell of the photo has is left out.
    """
    if shell.not_measured is not None:
        reason = Reason("missing", "shell", why=shell.not_measured)
        return Judgement(Verdict.BY_EYE, (reason,))
    first = _grade(shell, limits.tops, limits.risk, Verdict.TOP)
    if first.fits:
        return Judgement(Verdict.TOP)
    if not limits.bottoms:
        verdict = Verdict.CRUMBS if first.broken else Verdict.BY_EYE
        return Judgement(verdict, first.broken or first.open)
    second = _grade(shell, limits.bottoms, limits.risk, Verdict.BOTTOM)
    if second.broken:
        return Judgement(Verdict.CRUMBS, second.broken)
    if first.broken and second.fits:
        return Judgement(Verdict.BOTTOM, first.broken)
    return Judgement(Verdict.BY_EYE, second.open or first.open)


@dataclass(frozen=True)
class _Grade:
    fits: bool
    broken: tuple[Reason, ...]
    open: tuple[Reason, ...]


def _grade(shell: Measured, limits: Sequence[Limit], risk: float, grade: Verdict) -> _Grade:
    broken: list[Reason] = []
    near: list[tuple[float, Reason]] = []
    missing: list[Reason] = []
    for limit in limits:
        value = shell.values.get(limit.name)
        if value is None:
            if limit.name in shell.missing:
                why = shell.missing[limit.name]
                missing.append(Reason("missing", limit.name, grade=grade, why=why))
            continue
        below, above = chance_outside(value, limit)
        side: Literal["above", "below"] = "above" if above >= below else "below"
        bound = limit.high if side == "above" else limit.low
        if max(below, above) >= 1 - risk:
            broken.append(Reason("beyond", limit.name, value, bound, side, grade))
        elif below + above > 0:
            near.append((below + above, Reason("near", limit.name, value, bound, side, grade)))
    total = sum(chance for chance, _ in near)
    # those that alone or together are too uncertain, the worst first
    near.sort(key=lambda item: -item[0])
    worth_telling = [r for chance, r in near if chance > risk] or [r for _, r in near[:1]]
    if total <= risk:
        worth_telling = []
    fits = not broken and not missing and total <= risk
    return _Grade(fits, tuple(broken), (*worth_telling, *missing))
