"""Limits to start from: the trade's usual ones, or what the baker's own best tray does."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import Literal

import numpy as np
from scipy.special import ndtri

from petitpied.domain.quantity import Quantity
from petitpied.sorting.limits import DEFAULT_RISK, LIMITABLE, Limit, Limits
from petitpied.sorting.lot import Verdict
from petitpied.sorting.verdicts import Count, Measured, Value, chance_outside, judge

#: share of the tray's own shells that shall be tops by the limits made from it
WANTED_TOPS = 0.8
#: shares of the shells that each limit by itself lets pass, tried in turn
COVERAGES = (0.9, 0.925, 0.95, 0.975, 1.0)
#: faults that a good tray's limits do not forgive unless too few tops are left
FAULTS = ("crack_length_mm", "dimples", "peaks", "foot_missing", "pinholes")
#: a quantity that more shells than this lack is left out: it would send them all to the eye
MOST_MISSING = 0.1
#: bottoms of a tray's own limits may be this much worse than its tops (common practice, no source)
BOTTOM_FACTOR, BOTTOM_MORE_MM = 1.5, 0.5
USUAL_TARGET_MM = 45.0

Side = Literal["low", "high"]


@dataclass(frozen=True, slots=True)
class Usual:
    """Usual limits of one quantity, for tops and for bottoms (common practice, no source): as
    Limit's low and high, for the diameter as differences from the target. ``step``: limits are
    rounded to it; ``remark`` says what it is."""

    top: tuple[float | None, float | None]
    bottom: tuple[float | None, float | None]
    step: float
    remark: str


USUAL: Mapping[str, Usual] = {
    "diameter_mm": Usual((-2.0, 2.0), (-2.5, 2.5), 0.1, "pairs even out the rest"),
    "roundness_mm": Usual((None, 2.0), (None, 4.0), 0.1, "0 is a circle"),
    "foot_spread_mm": Usual(
        (-0.5, 2.5), (-1.5, 4.0), 0.1, "how far the foot reaches out beyond the cap, on each side"
    ),
    "lopsided_mm": Usual((None, 1.5), (None, 3.0), 0.1, "the foot off the middle of the cap"),
    "one_sided_foot_mm": Usual((None, 1.5), (None, 3.0), 0.1, "a foot wider on one side"),
    "foot_missing": Usual((None, 0), (None, 0), 1, "no foot"),
    "crack_length_mm": Usual((None, 3.0), (None, 15.0), 0.5, "all cracks of a shell together"),
    "dimples": Usual((None, 0), (None, 3), 1, "how many"),
    "peaks": Usual((None, 0), (None, 1), 1, "a nipple left by the nozzle"),
    "lumpiness_mm": Usual((None, 0.1), (None, 0.3), 0.02, "how rough the cap is"),
    "pinholes": Usual((None, 3), (None, 12), 1, "dark specks and open bubbles, how many"),
    "browning": Usual((-4.0, 4.0), (-8.0, 8.0), 0.5, "paler and browner than wanted, in steps"),
}


def usual_limits(target_mm: float = USUAL_TARGET_MM) -> Limits:
    """The trade's usual limits about a target (common practice, no source)."""
    tops, bottoms = (
        tuple(_usual(name, grade, target_mm) for name in USUAL) for grade in ("top", "bottom")
    )
    return Limits(DEFAULT_RISK, tops, bottoms)


def _usual(name: str, grade: str, target_mm: float) -> Limit:
    low, high = USUAL[name].top if grade == "top" else USUAL[name].bottom
    if name == "diameter_mm" and low is not None and high is not None:
        return Limit(name, target_mm + low, target_mm + high, target_mm)
    return Limit(name, low, high)


def limits_from(shells: Sequence[Measured]) -> Limits:
    """Limits by which at least `WANTED_TOPS` of these shells are tops, each no wider than it
    must be for that, and none narrower than half the usual.

    The target is the shells' mean diameter. A limit lets pass the share of shells that
    `COVERAGES` says, with room for what measuring cannot tell; the first share that gives
    enough tops is taken. `FAULTS` keep their usual limits as long as that is enough. What
    hardly any shell can be judged by, or what would limit nothing, is left out.

    Raises
    ------
    ValueError
        If no shell has a diameter.
    """
    there = [s for s in shells if s.not_measured is None]
    values = (s.values.get("diameter_mm") for s in there)
    sizes = [v.value for v in values if isinstance(v, Quantity)]
    if not sizes:
        raise ValueError("no shell has a diameter")
    target_mm = round(2 * float(np.mean(sizes))) / 2
    names = [n for n in USUAL if _known_share(there, n) >= 1 - MOST_MISSING]
    for fixed in (FAULTS, ()):
        for coverage in COVERAGES:
            own = _Own(coverage, target_mm, DEFAULT_RISK / len(names))
            tops = [
                t
                for n in names
                if (t := _usual(n, "top", target_mm) if n in fixed else _own(there, n, own))
            ]
            limits = Limits(DEFAULT_RISK, tuple(tops), tuple(_for_bottoms(t) for t in tops))
            if top_share(there, limits) >= WANTED_TOPS:
                return limits
    return limits


def faults_forgiven(limits: Limits) -> tuple[str, ...]:
    """Faults of which tops may have more than is usual."""
    return tuple(
        limit.name
        for limit in limits.tops
        if limit.name in FAULTS
        and limit.high is not None
        and (usual := USUAL[limit.name].top[1]) is not None
        and limit.high > usual
    )


def top_share(shells: Sequence[Measured], limits: Limits) -> float:
    """Share of the shells that are tops by the limits."""
    return float(np.mean([judge(s, limits).verdict is Verdict.TOP for s in shells]))


def _known_share(shells: Sequence[Measured], name: str) -> float:
    return float(np.mean([name in s.values for s in shells]))


@dataclass(frozen=True)
class _Own:
    """How a tray's own limits are made; ``risk`` of each limit: the doubts of a shell's limits
    add up."""

    coverage: float
    target_mm: float
    risk: float


def _own(shells: Sequence[Measured], name: str, own: _Own) -> Limit | None:
    """The tray's own limit; None where it would limit nothing."""
    usual, kind = USUAL[name], LIMITABLE[name]
    values = [s.values[name] for s in shells if name in s.values]
    risk, coverage, target_mm = own.risk, own.coverage, own.target_mm
    if name == "diameter_mm":
        reach = [max(abs(_bound(v, side, risk) - target_mm) for side in _SIDES) for v in values]
        tolerance = max(_up(_quantile(reach, coverage), usual.step), (usual.top[1] or 0.0) / 2)
        return Limit(name, target_mm - tolerance, target_mm + tolerance, target_mm)
    low, high = usual.top
    if high is not None:
        needed = _quantile([_bound(v, "high", risk) for v in values], coverage)
        high = max(_up(needed, usual.step), high if kind.counted else _up(high / 2, usual.step))
    if low is not None:
        needed = _quantile([-_bound(v, "low", risk) for v in values], coverage)
        low = -max(_up(needed, usual.step), _up(-low / 2, usual.step))
    if high is not None and high >= kind.highest:
        return None
    return Limit(name, low, high)


_SIDES: tuple[Side, Side] = ("low", "high")


def _bound(value: Value, side: Side, risk: float) -> float:
    """The nearest limit on that side that the value surely keeps."""
    if isinstance(value, Count):
        most = 0
        while chance_outside(value, Limit("dimples", None, float(most)))[1] > risk:
            most += 1
        return float(most)
    reach = -float(ndtri(risk)) * value.u
    return value.value + (reach if side == "high" else -reach)


def _quantile(needed: Sequence[float], coverage: float) -> float:
    """The smallest of the values that so large a share does not exceed."""
    return float(np.quantile(needed, coverage, method="inverted_cdf"))


def _up(value: float, step: float) -> float:
    return round(ceil(value / step - 1e-9) * step, 6)


def _for_bottoms(top: Limit) -> Limit:
    """A bottom's limit: the usual one, or a little more than the top's, whichever is wider."""
    usual, kind = USUAL[top.name], LIMITABLE[top.name]
    if top.target is not None and top.high is not None:
        least = usual.bottom[1] or 0.0
        tolerance = max(least, top.high - top.target + BOTTOM_MORE_MM)
        return Limit(top.name, top.target - tolerance, top.target + tolerance, top.target)
    factor = 1.0 if kind.counted else BOTTOM_FACTOR
    low, high = usual.bottom
    if high is not None and top.high is not None:
        high = max(high, _up(factor * top.high, usual.step))
    if low is not None and top.low is not None:
        low = min(low, floor(factor * top.low / usual.step) * usual.step)
    return Limit(top.name, low, high)


def starter_text(limits: Limits, origin: str) -> str:
    """A limits file with remarks; ``origin`` says in a line where its numbers come from."""
    return "\n".join(
        [
            *_HEAD.format(origin=origin).splitlines(),
            f"risk = {limits.risk:g}",
            "",
            "[top]   # the upper half of a macaron, what the guest sees",
            *(_line(limit, "top") for limit in limits.tops),
            "",
            "[bottom]   # the lower half: a dimple, a scar, a fine crack do not show there",
            *(_line(limit, "bottom") for limit in limits.bottoms),
            "",
            "# What is worse is crumbs, for bases and toppings.",
            *_NAMES.splitlines(),
            "",
        ]
    )


def _line(limit: Limit, grade: str) -> str:
    if limit.target is not None and limit.high is not None:
        tolerance = limit.high - limit.target
        text = f"{{ target = {limit.target:.1f}, tolerance = {tolerance:.1f} }}"
    else:
        parts = (("min", limit.low), ("max", limit.high))
        text = ", ".join(f"{key} = {_number(limit.name, v)}" for key, v in parts if v is not None)
        text = f"{{ {text} }}"
    remark = _wide_remark(limit) or USUAL[limit.name].remark if grade == "top" else ""
    return f"{limit.name:<17} = {text:<34}{f'  # {remark}' if remark else ''}".rstrip()


def _number(name: str, value: float) -> str:
    return f"{value:.0f}" if LIMITABLE[name].counted else f"{round(value, 2):.4g}"


def _wide_remark(limit: Limit) -> str:
    """Said of a limit that is wider than the trade's usual one for bottoms."""
    usual = USUAL[limit.name].bottom[1]
    reach = limit.high if limit.target is None or limit.high is None else limit.high - limit.target
    if usual is None or reach is None or reach <= usual or limit.name == "browning":
        return ""
    return f"wider than usual ({usual:g}): this tray needs it"


_HEAD = """\
# petitpied: limits for sorting. Change the numbers to your own; lines after # are remarks.
# {origin}
#
# All lengths are in millimetres, numbers without their unit. A limit is written as
#   {{ target = 45.0, tolerance = 2.0 }}   from 43.0 to 47.0
#   {{ min = 0.5, max = 2.5 }}             from 0.5 to 2.5; one of the two is enough
# Delete a line, or put # before it, if you do not care about it.

# How sure do you want to be? At most this chance that a shell called "top" is none.
# Shells nearer to a limit than the measuring can tell are "check by eye". Smaller: more of
# these. From 0.001 to 0.5.
"""
_NAMES = """
# Your own words for the grades, if you have others:
# [names]
# top = "lid"
# bottom = "base"
# crumbs = "crumbs"
"""
USUAL_ORIGIN = "The numbers are the trade's usual ones (common practice, no source)."
