"""The baker's limits for `pass` and `second`, and the small file that they are written in."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from petitpied.domain.own_file import OwnFile

#: measured quantities that can have limits: unit, and the range that a limit may lie in. Wide
#: enough for any shell; narrow enough that centimetres or inches are noticed
LIMITABLE: dict[str, tuple[str, float, float]] = {
    "diameter_mm": ("mm", 10.0, 200.0),
    "cap_diameter_mm": ("mm", 10.0, 200.0),
    "foot_diameter_mm": ("mm", 10.0, 200.0),
    "feret_min_mm": ("mm", 10.0, 200.0),
    "feret_max_mm": ("mm", 10.0, 200.0),
    "height_mm": ("mm", 1.0, 60.0),
    "roundness_mm": ("mm", 0.0, 30.0),
    "foot_spread_mm": ("mm", -10.0, 30.0),
    "lean_mm": ("mm", 0.0, 30.0),
    "crack_length_mm": ("mm", 0.0, 500.0),
    "dimples": ("", 0.0, 100.0),
    "pinholes": ("", 0.0, 100.0),
    "lumpiness_mm": ("mm", 0.0, 10.0),
    "browning": ("Delta E00", -100.0, 100.0),
    "edge_browning": ("Delta E00", -100.0, 100.0),
    "aspect_ratio": ("", 0.0, 1.0),
    "circularity": ("", 0.0, 1.0),
}
#: quantities that are counts: limits may be whole numbers from 0
COUNTS = ("dimples", "pinholes")
#: as other tools and habits name lengths
OTHER_UNITS = ("_cm", "_in", "_inch", "_inches", "_m", "_um", "_px", "_pt")
#: chance at most that a shell passed as good is not (JCGM 106, 8.3.2: 5 % is common)
DEFAULT_RISK = 0.05


@dataclass(frozen=True, slots=True)
class Limit:
    """What is wanted of one quantity; ``low`` or ``high`` None: open on that side."""

    name: str
    low: float | None
    high: float | None
    target: float | None = None

    @property
    def unit(self) -> str:
        return LIMITABLE[self.name][0]

    def holds(self, other: "Limit") -> bool:
        """Whether everything that the other allows is allowed here too."""
        low_fits = self.low is None or (other.low is not None and other.low >= self.low)
        high_fits = self.high is None or (other.high is not None and other.high <= self.high)
        return low_fits and high_fits


@dataclass(frozen=True, slots=True)
class Limits:
    """``risk``: chance at most that a verdict "pass" or "second" is too kind to a shell.

    ``second`` empty: what does not pass is rejected.
    """

    risk: float
    passes: tuple[Limit, ...]
    second: tuple[Limit, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """Every limited quantity, once."""
        return tuple(dict.fromkeys(limit.name for limit in (*self.passes, *self.second)))


def parse_limits(file: OwnFile) -> Limits:
    """Limits from the baker's file (see `STARTER`).

    Raises
    ------
    OwnFileError
        With the line, what is wrong and what is allowed.
    """
    content = file.only(file.content, (), ("risk", "pass", "second"))
    risk = file.number(content.get("risk", DEFAULT_RISK), ("risk",), 0.001, 0.5)
    passes = _group(file, content.get("pass", {}), "pass")
    if not passes:
        raise file.fault(("pass",), "there are no limits for pass", "[pass] and a limit below it")
    second = _group(file, content.get("second", {}), "second")
    strict = {limit.name: limit for limit in passes}
    for limit in second:
        if limit.name in strict and not limit.holds(strict[limit.name]):
            raise file.fault(
                ("second", limit.name),
                f"{limit.name} is stricter for second than for pass",
                "limits for second that hold those for pass",
            )
    return Limits(risk, passes, second)


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
    unit, lowest, highest = LIMITABLE[name]
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
    if closed and (width < 0 or (width == 0 and limit.name not in COUNTS)):
        why = f"{limit.name} leaves nothing between {limit.low:g} and {limit.high:g}"
        raise file.fault(place, why, "a min below the max, a tolerance above 0")
    if limit.high == 0 and limit.name in ("roundness_mm", "lean_mm", "crack_length_mm"):
        why = f"{limit.name} of at most 0 can never be shown: every measured length has its ±"
        raise file.fault(place, why, "a max above 0, such as 1.0")
    return limit


STARTER = """\
# petitpied: limits for sorting. Change the numbers to your own; lines after # are remarks.
#
# All lengths are in millimetres, numbers without their unit. A limit is written as
#   { target = 45.0, tolerance = 1.5 }   from 43.5 to 46.5
#   { min = 0.5, max = 4.0 }             from 0.5 to 4.0; one of the two is enough
# Delete a line, or put # before it, if you do not care about that quantity.

# How sure do you want to be? A shell just beyond a limit is called "pass" at most this often. Of
# a whole lot far fewer passes are wrong, unless most of its shells lie right at a limit.
# Shells nearer to a limit than the measuring can tell are "check by eye". Smaller: more of
# these. From 0.001 to 0.5.
risk = 0.05

[pass]   # for the gift boxes
diameter_mm     = { target = 45.0, tolerance = 1.5 }
roundness_mm    = { max = 2.0 }              # 0 is a circle
foot_spread_mm  = { min = -0.5, max = 4.0 }  # how far the foot reaches out beyond the cap
lean_mm         = { max = 1.5 }              # foot off the cap's middle
crack_length_mm = { max = 3.0 }              # all cracks of a shell together
dimples         = { max = 0 }                # how many
browning        = { min = -4.0, max = 4.0 }  # from the flavour's own colour, Delta E 2000

[second]   # for the staff, for crumbs; what is worse is "reject"
diameter_mm     = { target = 45.0, tolerance = 4.0 }
roundness_mm    = { max = 4.0 }
foot_spread_mm  = { min = -1.5, max = 7.0 }
lean_mm         = { max = 3.0 }
crack_length_mm = { max = 15.0 }
dimples         = { max = 3 }
browning        = { min = -8.0, max = 8.0 }
"""
