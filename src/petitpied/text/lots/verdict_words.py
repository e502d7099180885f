"""Verdicts and their reasons in plain words."""

from petitpied.domain.measures import MEASURE
from petitpied.domain.quantity import Quantity
from petitpied.sorting.limits import LIMITABLE, GradeNames
from petitpied.sorting.lot import Verdict
from petitpied.sorting.verdicts import Count, Reason, Value
from petitpied.text.wording import printable, with_u95

#: how what is no measure is called in a sentence
WORDS = {
    "one_sided_foot_mm": "one-sided foot",
    "uneven_foot_mm": "uneven foot",
    "foot_shows": "share of the edge where the foot shows",
    "foot_missing": "missing foot",
    "foot_hidden": "hidden foot",
    "peaks": "peak",
    "pinholes": "dark specks and pinholes",
}
GRADES = GradeNames()
#: counts that are there or not
ONE_WORD = {
    "foot_missing": "the foot is missing, not allowed",
    "foot_hidden": "the foot is hidden, not allowed",
    "peaks": "it has a peak, not allowed",
}


def spoken(name: str) -> str:
    """A limit's name for a sentence: "foot spread"."""
    field = LIMITABLE[name].field if name in LIMITABLE else name
    return MEASURE[field].words if field in MEASURE else WORDS.get(name, name)


def counted(name: str, number: int) -> str:
    """As in "1 dimple" or "3 dimples"."""
    words = spoken(name)
    one = number == 1 and words.endswith("s") and " and " not in words
    return f"{number} {words.removesuffix('s') if one else words}"


def reason_text(reason: Reason, grades: GradeNames = GRADES) -> str:
    """As in "diameter 47.2 mm ± 0.4 mm is above 46.5 mm"."""
    if reason.kind == "missing":
        what = "not measured" if reason.name == "shell" else f"{spoken(reason.name)} is not known"
        return f"{what}: {printable(reason.why)}"
    grade = "" if reason.grade is Verdict.TOP else f" for {grades.of(reason.grade)}"
    unit = LIMITABLE[reason.name].unit
    bound = f"{reason.bound:g} {unit}".strip()
    if reason.kind == "beyond" and reason.name in ONE_WORD:
        return f"{ONE_WORD[reason.name]}{' even' + grade if grade else ''}"
    if reason.kind == "near" and isinstance(reason.value, Count):
        most = len(reason.value.chances)
        return f"{spoken(reason.name)}: perhaps up to {most}, and the limit{grade} is {bound}"
    if reason.kind == "beyond" and isinstance(reason.value, Count):
        return f"{counted(reason.name, reason.value.likely)}, and the limit{grade} is {bound}"
    value = f"{spoken(reason.name)} {_shown(reason.value, unit)}"
    if reason.kind == "beyond":
        return f"{value} is {reason.side} the limit{grade}, {bound}"
    near = f" the limit{grade}, {bound}," if grade else f" {bound}"
    return f"{value} is too near{near} to tell"


def _shown(value: Value | None, unit: str) -> str:
    if isinstance(value, Quantity):
        return with_u95(value, unit)
    return "" if value is None else str(value.likely)
