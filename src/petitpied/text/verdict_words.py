"""Verdicts and their reasons in plain words."""

from petitpied.domain.quantity import Quantity
from petitpied.sorting.limits import LIMITABLE, GradeNames
from petitpied.sorting.lot import Verdict
from petitpied.sorting.verdicts import Count, Reason, Value
from petitpied.text.wording import printable, with_u95

#: how a quantity is called in a sentence; others by their name without the unit
WORDS = {
    "feret_min_mm": "smallest width",
    "feret_max_mm": "largest width",
    "crack_length_mm": "length of cracks",
    "roundness_mm": "out of round",
    "lopsided_mm": "lopsided foot",
    "one_sided_foot_mm": "one-sided foot",
    "uneven_foot_mm": "uneven foot",
    "foot_shows": "share of the edge where the foot shows",
    "foot_missing": "missing foot",
    "foot_hidden": "hidden foot",
    "peaks": "peak",
    "pinholes": "dark specks and pinholes",
    "lumpiness_mm": "lumps",
    "browning": "colour",
    "edge_browning": "colour of the edge",
}
GRADES = GradeNames()
#: counts that are there or not
ONE_WORD = {
    "foot_missing": "the foot is missing, not allowed",
    "foot_hidden": "the foot is hidden, not allowed",
    "peaks": "it has a peak, not allowed",
}


def spoken(name: str) -> str:
    """A quantity's name for a sentence: "foot spread"."""
    return WORDS.get(name, name.removesuffix("_mm").replace("_", " "))


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
    value = f"{spoken(reason.name)} {_shown(reason.value, unit)}"
    if reason.kind == "beyond":
        return f"{value} is {reason.side} the limit{grade}, {bound}"
    return f"{value} is too near{' the limit' if grade else ''}{grade} {bound} to tell"


def _shown(value: Value | None, unit: str) -> str:
    if isinstance(value, Quantity):
        return with_u95(value, unit)
    return "" if value is None else str(value.likely)
