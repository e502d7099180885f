"""Verdicts and their reasons in plain words."""

from petitpied.domain.quantity import Quantity
from petitpied.sorting.limits import LIMITABLE
from petitpied.sorting.lot import Verdict
from petitpied.sorting.verdicts import Count, Reason, Value
from petitpied.text.wording import printable, with_u95

#: how a quantity is called in a sentence; others by their name without the unit
WORDS = {
    "feret_min_mm": "smallest width",
    "feret_max_mm": "largest width",
    "crack_length_mm": "length of cracks",
}


def spoken(name: str) -> str:
    """A quantity's name for a sentence: "foot spread"."""
    return WORDS.get(name, name.removesuffix("_mm").replace("_", " "))


def reason_text(reason: Reason) -> str:
    """As in "diameter 47.2 mm ± 0.4 mm is above 46.5 mm"."""
    if reason.kind == "missing":
        what = "not measured" if reason.name == "shell" else f"{spoken(reason.name)} is not known"
        return f"{what}: {printable(reason.why)}"
    grade = "" if reason.grade is Verdict.PASS else f" for {reason.grade}"
    unit = LIMITABLE[reason.name][0]
    bound = f"{reason.bound:g} {unit}".strip()
    if reason.kind == "near" and isinstance(reason.value, Count):
        most = len(reason.value.chances)
        return f"{spoken(reason.name)}: perhaps up to {most}, and the limit{grade} is {bound}"
    value = f"{spoken(reason.name)} {_shown(reason.value, unit)}"
    if reason.kind == "beyond":
        return f"{value} is {reason.side} the limit{grade}, {bound}"
    return f"{value} is too near{' the limit' if grade else ''}{grade} {bound} to tell"


def _shown(value: Value | None, unit: str) -> str:
    if isinstance(value, Quantity):
        return with_u95(value, unit)
    return "" if value is None else str(value.likely)
