"""A lot check in plain words: what to do, and what it does and does not promise."""

from typing import Any

from petitpied.sorting.lot_check import (
    LotPlan,
    bad_when_rarely_accepted,
    chance_accepted,
)

LOOKS_ONLY = "this is about looks only: not about foreign bodies, mould or allergens"
CURIOUS = "for the curious: ISO 2859-1, {level}, AQL {aql:g} %"
#: shares of bad shells shown, per cent of the lot
SHOWN_PERCENT = (1, 2.5, 5, 10, 15, 20, 30, 40)


def plan_lines(plan: LotPlan) -> list[str]:
    """What `petitpied lot-check` prints."""
    if plan.whole:
        return [
            f"look at all {plan.lot} shells: for so small a lot the plan asks for at least as many",
            f"accept the lot if at most {plan.accept} are bad ({plan.aql_percent:g} % of it), and "
            "take those out",
            "promise: every shell is looked at, so no bad one is missed by the draw, only "
            "by the eye",
            LOOKS_ONLY,
            CURIOUS.format(level="100 % looked at", aql=plan.aql_percent),
        ]
    lines = [
        f"draw {plan.sample} of the {plan.lot} shells by chance (not the nearest, not the nicest) "
        "and look at them",
        f"accept the lot if at most {plan.accept} of them are bad; with {plan.accept + 1} or more "
        "look at all of it",
    ]
    level = f"level II, normal, single; code letter {plan.letter}"
    curious = CURIOUS.format(level=level, aql=plan.aql_percent)
    return [*lines, "", *_promise(plan), LOOKS_ONLY, curious]


def _promise(plan: LotPlan) -> list[str]:
    chance = chance_accepted(plan)
    at_aql = int(plan.lot * plan.aql_percent / 100)
    half, tenth = (bad_when_rarely_accepted(plan, c) for c in (0.5, 0.1))
    return [
        "what it promises:",
        f"  a lot with {at_aql} bad of {plan.lot} ({_percent(at_aql, plan)}) is accepted "
        f"{_often(chance[at_aql])}",
        "what it does not promise:",
        f"  only at {half} bad ({_percent(half, plan)}) is it turned away every second time,",
        f"  and only at {tenth} bad ({_percent(tenth, plan)}) nine times in ten",
        "  an accepted lot is not free of bad shells, and a single box can hold several",
        "bad in the lot: how often it is accepted",
        *_table(plan),
    ]


def _table(plan: LotPlan) -> list[str]:
    chance = chance_accepted(plan)
    counts = sorted({round(plan.lot * percent / 100) for percent in SHOWN_PERCENT} | {1})
    return [
        f"  {bad:>5} ({_percent(bad, plan):>6}): {100 * chance[bad]:5.1f} %"
        for bad in counts
        if bad <= plan.lot
    ]


def _percent(bad: int, plan: LotPlan) -> str:
    return f"{100 * bad / plan.lot:.1f} %"


def _often(chance: float) -> str:
    return "always" if chance > 0.9999 else f"{100 * chance:.1f} % of the time"


def decision_line(plan: LotPlan, found: int) -> str:
    """After looking: what to do."""
    if found <= plan.accept:
        return f"{found} bad of {plan.sample}: accept the lot, and take the bad ones out"
    rest = "sort it shell by shell" if plan.whole else "look at every shell of it"
    return f"{found} bad of {plan.sample}, more than {plan.accept}: do not accept the lot; {rest}"


def plan_json(plan: LotPlan, found: int | None) -> dict[str, Any]:
    """The published form: `petitpied lot-check --json`."""
    chance = chance_accepted(plan)
    return {
        "lot": plan.lot,
        "aql_percent": plan.aql_percent,
        "code_letter": plan.letter,
        "sample": plan.sample,
        "accept": plan.accept,
        "reject": plan.accept + 1,
        "all": plan.whole,
        "found": found,
        "accepted": None if found is None else found <= plan.accept,
        "chance_accepted_by_bad_in_lot": [round(float(c), 6) for c in chance],
    }
