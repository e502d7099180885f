"""What to do at the next bake, at most three lines."""

from collections.abc import Sequence
from typing import Any

from petitpied.patterns.next_bake import Suggestion
from petitpied.text.oven_doubt_words import SETTLES
from petitpied.text.oven_map_words import TRY
from petitpied.text.wording import decimals, printable

KEEP_OTHERS = "leave everything else as it is"


def lines(suggestions: Sequence[Suggestion], where: str) -> list[str]:
    """What `petitpied next-bake` prints."""
    return [printable(f"{where[:1].upper()}{where[1:]}.")] + [
        printable(f"{number}. {words(s)}") for number, s in enumerate(suggestions, start=1)
    ]


def words(s: Suggestion) -> str:
    """One suggestion as sentences."""
    way = "turned by half (log it with --turn 180)" if s.turned else "straight"
    if s.what == "more days":
        text = (
            f"Keep baking: {_days(s.days)} more can show what is there{_amount(s, ', down to ')}."
        )
        return f"{text} Put the next tray in {way}, the one after it the other way round."
    if s.what == "keep":
        found = "" if s.shows is None else f": a spot of {_size(s)} would have shown"
        return f"Nothing to change{found}. Keep baking, and log each tray."
    if s.what == "photo":
        return f"{SETTLES}."
    if s.what == "turn":
        return (
            f"Put the next tray in {way}, then by turns, and {KEEP_OTHERS}: {_days(s.days)} so "
            "tell whether it is the oven or the hand"
            f"{_amount(s, ', from a difference of ', ' on')}."
        )
    if s.what == "try":
        return (
            f"One thing to try (common practice, not a finding): {TRY[s.about[0]]}. Do so on every "
            f"second day, {KEEP_OTHERS}: {_days(s.days)} show whether the {_size(s)} go away."
        )
    if s.what == "apart":
        first, second = s.about
        return (
            f"{first} and {second} always came together: vary {first} alone on every second day, "
            f"{KEEP_OTHERS}. {_days(s.days)} show an effect of {_size(s)}."
        )
    return (
        f"Vary {s.about[0]} on every second day, the order by lot, and {KEEP_OTHERS}: "
        f"{_days(s.days)} show an effect of {_size(s)}."
    )


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"


def _size(s: Suggestion) -> str:
    value = s.shows or 0.0
    return f"{value:.{decimals(max(value, 1e-6))}f} {s.unit}"


def _amount(s: Suggestion, before: str, after: str = "") -> str:
    return "" if s.shows is None else f"{before}{_size(s)}{after}"


def next_json(suggestions: Sequence[Suggestion]) -> list[dict[str, Any]]:
    """The same for programs."""
    return [
        {
            "what": s.what,
            "days": s.days,
            "shows_80": {"value": None if s.shows is None else round(s.shows, 5), "unit": s.unit},
            "about": list(s.about),
            "next_tray": "turned" if s.turned else "straight",
            "text": words(s),
        }
        for s in suggestions
    ]
