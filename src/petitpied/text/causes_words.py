"""What goes along with what, in plain sentences and as JSON; hints from common practice.

Going along is never worded as causing: the kitchen's days are no experiment.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from petitpied.patterns.trends.association import FALSE_SHARE, Association
from petitpied.patterns.trends.regressors import TOGETHER, Regressor, Together
from petitpied.text.wording import decimals, printable

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: not findings: usual causes by common practice, no source. Fact, measure, sign of the effect
#: (0: either), and one thing to try
HINTS = (
    ("humidity", "cracks", 1, "damp air keeps the skin from drying: rest the shells until a "
     "finger no longer sticks, or dry the air"),
    ("rest time", "cracks", -1, "shells without a dry skin crack: rest them longer"),
    ("set temperature", "cracks", 1, "too hot an oven lifts the skin before the foot forms: try "
     "5 to 10 °C lower"),
    ("fan", "cracks", 1, "a strong fan dries and lifts the tops: try a lower fan, or none and "
     "some 10 °C more"),
    ("fan", "lean", 1, "the fan's draught can push the feet to one side: try a lower fan, or "
     "shield the tray"),
    ("set temperature", "browning", 1, "shells brown when the top is too hot: try 5 to 10 °C "
     "lower, or a tray on the rack above"),
    ("rest time", "foot_spread", -1, "a skin that is too thin lets the foot run out: rest them "
     "longer"),
    ("humidity", "foot_spread", 1, "shells that stay damp spread at the foot: rest them longer"),
    ("flavour", "browning", 0, "light colours show browning that dark ones hide: compare with the "
     "same flavour only"),
    ("flavour", "diameter", 0, "powders and pastes change how the batter runs: pipe that flavour a "
     "little smaller or larger"),
    ("liner", "foot_spread", 0, "smooth mats let the feet slide out, paper holds them: use one "
     "kind"),
    ("rack", "browning", 0, "racks differ in top and bottom heat: bake on one rack"),
)  # fmt: skip
MOST_TOLD = 8


def lines(
    found: Sequence[Association], pairs: Sequence[Together], bakes: int, where: str
) -> list[str]:
    """The findings, what cannot be told apart, hints, and what was not found."""
    head = f"{bakes} bakes{f' ({where})' if where else ''}"
    if not found:
        return [
            printable(
                f"{head}: nothing could be compared. A fact must be logged for 6 bakes or more, "
                "and differ between them."
            )
        ]
    standing = [a for a in found if a.stands_out]
    result = [
        printable(
            f"{head}: {len(found)} comparisons of a fact with a measure; among those that stand "
            f"out, {100 * FALSE_SHARE:.0f} % false ones are to be expected at most."
        )
    ]
    for a in standing[:MOST_TOLD]:
        result += _finding(a, pairs)
    if len(standing) > MOST_TOLD:
        result.append(f"And {len(standing) - MOST_TOLD} more: see --json.")
    if not standing:
        result.append("Nothing stands out. That does not show that nothing goes along.")
        a = found[0]
        result.append(f"Closest: {_effect(a)}; it may well be chance (adjusted p {_p(a)}).")
    shown = [t for t in pairs if "time" not in (t.first.fact, t.second.fact)]
    shown += [t for t in pairs if "time" in (t.first.fact, t.second.fact)]
    result += [f"Cannot be told apart: {together_words(t)}" for t in shown[:MOST_TOLD]]
    if standing:
        result.append(
            "What goes along need not be the cause. To find out, change one thing at a time, "
            "on days chosen by lot."
        )
    return [printable(line) for line in result]


def _finding(a: Association, pairs: Sequence[Together]) -> list[str]:
    unit = "days or batters"
    unit = f"within {a.units} {unit}" if a.within else f"{a.units} {unit}"
    result = [f"- {_effect(a)}; {unit}, adjusted p {_p(a)}."]
    others = confounded_with(a, pairs)
    if others:
        result.append(f"  It may as well be: {', '.join(o.label for o in others)}.")
    hint = hint_for(a)
    if hint is not None:
        result.append(f"  Common practice, not a finding: {hint}.")
    return result


def _effect(a: Association) -> str:
    unit = "percentage points" if a.outcome.unit == "%" else a.outcome.unit
    places = decimals(max((a.high - a.low) / 2, 1e-6))
    value, low, high = (f"{v:+.{places}f}" for v in (a.effect, a.low, a.high))
    fact = a.fact
    if fact.is_name:
        which = {"fan": "with the fan on", "tray": "with the tray turned"}.get(
            fact.fact, f"with {fact.fact} {fact.level}"
        )
    else:
        which = f"for each {fact.step:g} {fact.unit} more {fact.fact}"
    percent = 100 * a.level
    return (
        f"{a.outcome.name} {which}: {value} {unit} ({percent:.{0 if percent == 95 else 1}f} % "
        f"interval {low} to {high} {unit})"
    )


def _p(a: Association) -> str:
    return "below 0.001" if a.p_adjusted < 0.001 else f"{a.p_adjusted:.3f}"


def confounded_with(a: Association, pairs: Sequence[Together]) -> list[Regressor]:
    """Facts that went along with this one."""
    return [
        other
        for pair in pairs
        for own, other in ((pair.first, pair.second), (pair.second, pair.first))
        if own is a.fact
    ]


def hint_for(a: Association) -> str | None:
    """What bakers usually take it for, where there is such a thing."""
    for fact, measure, sign, hint in HINTS:
        if fact == a.fact.fact and measure == a.outcome.measure and sign * a.effect >= 0:
            return hint
    return None


def together_words(pair: Together) -> str:
    """As in "every humid day was also a pink day"."""
    a, b = pair.first, pair.second
    if "time" in (a.fact, b.fact):
        fact = a if b.fact == "time" else b
        return (
            f"{fact.label} and the course of time ({fact.label} changed as the bakes went on), so "
            "anything else that changed meanwhile may be behind it."
        )
    both = np.isfinite(a.values) & np.isfinite(b.values)
    if pair.correlation < 0 and a.is_name:
        a, b = b, a  # the turned one of a pair that goes opposite ways is an amount, if any
    x, x_words = _as_yes(a, a.values[both], b.values[both], sign=1)
    y, y_words = _as_yes(b, b.values[both], a.values[both], sign=1 if pair.correlation > 0 else -1)
    same, of, other = int((x & y).sum()), int(x.sum()), int(y.sum())
    if same == of:
        return f"every bake with {x_words} was also one with {y_words} ({same} of {of})."
    if same == other:
        return f"every bake with {y_words} was also one with {x_words} ({same} of {other})."
    return f"{same} of {of} bakes with {x_words} were also ones with {y_words}."


def _as_yes(fact: Regressor, values: Floats, partner: Floats, *, sign: int) -> tuple[Bools, str]:
    """Which bakes have the name, or much of an amount: beyond the cut that agrees best with the
    partner's upper half. ``sign`` -1: those without, or with little."""
    if fact.is_name:
        return (values > 0.5) == (sign > 0), fact.label if sign > 0 else f"no {fact.label}"
    high = partner > (partner.min() + partner.max()) / 2
    known = np.unique(values)
    cuts = (known[:-1] + known[1:]) / 2
    agree = [float(np.mean((sign * (values - cut) > 0) == high)) for cut in cuts]
    cut = float(cuts[int(np.argmax(np.maximum(agree, 1 - np.array(agree))))])
    word = "more" if sign > 0 else "less"
    return sign * (values - cut) > 0, f"{word} than {cut:.3g} {fact.unit} {fact.fact}"


def causes_json(
    found: Sequence[Association], pairs: Sequence[Together], bakes: int, text: list[str]
) -> dict[str, Any]:
    """The same for programs."""
    return {
        "bakes": bakes,
        "comparisons": len(found),
        "false_discovery_rate": FALSE_SHARE,
        "associations": [_association_json(a, pairs) for a in found],
        "together": [
            {
                "facts": [t.first.label, t.second.label],
                "correlation": round(t.correlation, 3),
                "bakes": t.bakes,
                "limit": TOGETHER,
                "text": together_words(t),
            }
            for t in pairs
        ],
        "text": "\n".join(text),
    }


def _association_json(a: Association, pairs: Sequence[Together]) -> dict[str, Any]:
    step = "against the others" if a.fact.is_name else f"for {a.fact.step:g} {a.fact.unit}"
    return {
        "outcome": a.outcome.name,
        "fact": a.fact.label,
        "effect": {
            "value": round(a.effect, 6),
            "unit": a.outcome.unit,
            "of": step,
            "low": round(a.low, 6),
            "high": round(a.high, 6),
            "level": round(a.level, 6),
        },
        "p": round(a.p, 6),
        "p_adjusted": round(a.p_adjusted, 6),
        "stands_out": a.stands_out,
        "smallest_effect_80": round(a.smallest_80, 6),
        "units": a.units,
        "compared": "within days or batters" if a.within else "days or batters",
        "may_as_well_be": [r.label for r in confounded_with(a, pairs)],
        "hint_common_practice": hint_for(a) if a.stands_out else None,
    }
