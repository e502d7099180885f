"""The baker's limits for tops and bottoms, and the small file that they are written in."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from petitpied.domain.measures import DELTA_E, MEASURES
from petitpied.domain.own_file import OwnFile, quoted
from petitpied.sorting.lot import Verdict


@dataclass(frozen=True, slots=True)
class Limitable:
    """What can have limits: its unit, the range that a limit may lie in (wide enough for any
    shell, narrow enough that centimetres or inches are noticed), the measure or the field of
    `Surface` it is read from, and whether it is counted (0, 1, 2, ...) rather than measured."""

    unit: str
    lowest: float
    highest: float
    field: str
    counted: bool = False


#: a colour difference is told in steps: 1 is about the least that an eye sees side by side
#: (CIEDE2000, ISO/CIE 11664-6)
STEPS = "steps"
#: the measures, and what else a surface shows
LIMITABLE: dict[str, Limitable] = {
    **{
        m.limit_name: Limitable(STEPS if m.unit == DELTA_E else m.unit, *m.limits, m.field)
        for m in MEASURES
        if m.limits is not None
    },
    "one_sided_foot_mm": Limitable("mm", 0.0, 30.0, "foot.one_sided_mm"),
    "uneven_foot_mm": Limitable("mm", 0.0, 30.0, "foot.uneven_mm"),
    "foot_shows": Limitable("", 0.0, 1.0, "foot.shows_rel"),
    "foot_missing": Limitable("", 0.0, 1.0, "foot.none", counted=True),
    "foot_hidden": Limitable("", 0.0, 1.0, "foot.hidden", counted=True),
    "dimples": Limitable("", 0.0, 100.0, "dimples", counted=True),
    "peaks": Limitable("", 0.0, 1.0, "peak", counted=True),
    "pinholes": Limitable("", 0.0, 100.0, "pinholes", counted=True),
}
#: lengths that cannot be below 0: "at most 0" could never be shown
NEVER_BELOW_0 = tuple(
    name for name, kind in LIMITABLE.items() if kind.unit == "mm" and kind.lowest == 0
)
#: as other tools and habits name lengths
OTHER_UNITS = ("_cm", "_in", "_inch", "_inches", "_m", "_um", "_px", "_pt")
#: chance at most that a shell passed as good is not (JCGM 106, 8.3.2: 5 % is common)
DEFAULT_RISK = 0.05
MOST_NAME_LETTERS = 30


@dataclass(frozen=True, slots=True)
class Limit:
    """What is wanted of one quantity; ``low`` or ``high`` None: open on that side."""

    name: str
    low: float | None
    high: float | None
    target: float | None = None

    @property
    def unit(self) -> str:
        return LIMITABLE[self.name].unit

    def holds(self, other: "Limit") -> bool:
        """Whether everything that the other allows is allowed here too."""
        low_fits = self.low is None or (other.low is not None and other.low >= self.low)
        high_fits = self.high is None or (other.high is not None and other.high <= self.high)
        return low_fits and high_fits


@dataclass(frozen=True, slots=True)
class GradeNames:
    """What the baker calls the grades."""

    top: str = "top"
    bottom: str = "bottom"
    crumbs: str = "crumbs"

    def of(self, verdict: Verdict) -> str:
        """The baker's word for a verdict."""
        own = {Verdict.TOP: self.top, Verdict.BOTTOM: self.bottom, Verdict.CRUMBS: self.crumbs}
        return own.get(verdict, verdict.value)


@dataclass(frozen=True, slots=True)
class Limits:
    """``risk``: chance at most that a verdict "top" or "bottom" is too kind to a shell.

    ``bottoms`` empty: what is no top is crumbs.
    """

    risk: float
    tops: tuple[Limit, ...]
    bottoms: tuple[Limit, ...] = ()
    grades: GradeNames = GradeNames()

    @property
    def names(self) -> tuple[str, ...]:
        """Every limited quantity, once."""
        return tuple(dict.fromkeys(limit.name for limit in (*self.tops, *self.bottoms)))


def parse_limits(file: OwnFile) -> Limits:
    """Limits from the baker's file (see `starter_text`).

    Raises
    ------
    OwnFileError
        With the line, what is wrong and what is allowed.
    """
    for old, new in (("pass", "top"), ("second", "bottom")):
        if old in file.content:
            raise file.fault((old,), f"[{old}] is now called [{new}]", f"[{new}]")
    content = file.only(file.content, (), ("risk", "top", "bottom", "names"))
    risk = file.number(content.get("risk", DEFAULT_RISK), ("risk",), 0.001, 0.5)
    tops = _group(file, content.get("top", {}), "top")
    if not tops:
        raise file.fault(("top",), "there are no limits for tops", "[top] and a limit below it")
    bottoms = _group(file, content.get("bottom", {}), "bottom")
    strict = {limit.name: limit for limit in tops}
    for limit in bottoms:
        if limit.name in strict and not limit.holds(strict[limit.name]):
            raise file.fault(
                ("bottom", limit.name),
                f"{limit.name} is stricter for bottoms than for tops",
                "limits for bottoms that hold those for tops",
            )
    return Limits(risk, tops, bottoms, _grade_names(file, content.get("names", {})))


def _grade_names(file: OwnFile, given: Any) -> GradeNames:
    """The baker's own words for the grades; each word once."""
    table = file.only(given, ("names",), ("top", "bottom", "crumbs"))
    allowed = f"a word of 1 to {MOST_NAME_LETTERS} letters in quotes, another one for each grade"
    for key, word in table.items():
        fits = isinstance(word, str) and word.strip() and len(word) <= MOST_NAME_LETTERS
        if not fits or not word.isprintable():
            raise file.fault(("names", key), f"{key} = {quoted(word)} is no name", allowed)
    names = GradeNames(**{key: word.strip() for key, word in table.items()})
    words = [names.top, names.bottom, names.crumbs, Verdict.BY_EYE.value]
    for number, (key, word) in enumerate(zip(("top", "bottom", "crumbs"), words, strict=False)):
        others = words[:number] + words[number + 1 :]
        if word.casefold() in (other.casefold() for other in others):
            raise file.fault(("names", key), f"two grades are called {quoted(word)}", allowed)
    return names


def _group(file: OwnFile, table: Any, group: str) -> tuple[Limit, ...]:
    if isinstance(table, dict):
        for name in table:
            _refuse_other_units(file, group, name)
    known = file.only(table, (group,), LIMITABLE)
    return tuple(_limit(file, (group, name), value) for name, value in known.items())


def _refuse_other_units(file: OwnFile, group: str, name: str) -> None:
    for ending in OTHER_UNITS:
        right = name.removesuffix(ending) + "_mm"
        if name.endswith(ending) and right in LIMITABLE:
            why = f"{name} mixes units: every length in this file is in millimetres"
            raise file.fault((group, name), why, f"{right}, with its numbers in mm")


def _limit(file: OwnFile, place: tuple[str, ...], value: Any) -> Limit:
    table = file.only(value, place, ("target", "tolerance", "min", "max"))
    name = place[-1]
    kind = LIMITABLE[name]
    unit, lowest, highest = kind.unit, kind.lowest, kind.highest
    number: dict[str, float] = {}
    for key, given in table.items():
        low, high = (0.0, highest - lowest) if key == "tolerance" else (lowest, highest)
        if isinstance(given, str):
            why = f"{key} = {given[:40]!r} is text"
            allowed = f"a plain number{f' in {unit}' if unit else ''}, without its unit"
            raise file.fault((*place, key), why, allowed)
        number[key] = file.number(given, (*place, key), low, high)
    allowed = "{ target = 45.0, tolerance = 1.5 }, or { min = 1.0 }, { max = 2.0 } or both"
    around = {"target", "tolerance"} & number.keys()
    if not number or (around and number.keys() != {"target", "tolerance"}):
        raise file.fault(place, f"{name} has {_named(number)}", allowed)
    if around:
        target, tolerance = number["target"], number["tolerance"]
        return _checked(file, place, Limit(name, target - tolerance, target + tolerance, target))
    return _checked(file, place, Limit(name, number.get("min"), number.get("max")))


def _named(number: Mapping[str, float]) -> str:
    return f"only {' and '.join(number)}" if len(number) == 1 else " and ".join(number) or "nothing"


def _checked(file: OwnFile, place: tuple[str, ...], limit: Limit) -> Limit:
    """No empty range; no "at most 0" that measuring could never confirm."""
    closed = limit.low is not None and limit.high is not None
    width = (limit.high or 0.0) - (limit.low or 0.0)
    if closed and (width < 0 or (width == 0 and not LIMITABLE[limit.name].counted)):
        why = f"{limit.name} leaves nothing between {limit.low:g} and {limit.high:g}"
        raise file.fault(place, why, "a min below the max, a tolerance above 0")
    if limit.high == 0 and limit.name in NEVER_BELOW_0:
        why = f"{limit.name} of at most 0 can never be shown: every measured length has its ±"
        raise file.fault(place, why, "a max above 0, such as 1.0")
    return limit
