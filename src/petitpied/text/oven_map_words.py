"""An oven's map in two plain sentences and what to try, and as JSON."""

import math
from collections.abc import Mapping
from typing import Any

from petitpied.patterns.oven.findings import Cell, Effect, Finding, OvenMap
from petitpied.patterns.oven.templates import Region
from petitpied.statistics.sign_flips import ALPHA, LEAST_UNITS
from petitpied.text.oven_doubt_words import camera_json, camera_words, missing_json, missing_words
from petitpied.text.place_words import direction_words, place_words
from petitpied.text.wording import decimals, printable

Json = dict[str, Any]

#: measure to its name and the words for more and for less of it
MEASURE_WORDS = {
    "diameter": ("diameter", "larger", "smaller"),
    "cap_diameter": ("cap diameter", "wider in the cap", "narrower in the cap"),
    "roundness": ("departure from round", "less round", "rounder"),
    "foot_spread": ("foot spread", "wider in the foot", "narrower in the foot"),
    "lean_x": ("lean to the right", "leaning more to the right", "leaning more to the left"),
    "lean_y": ("lean to the door", "leaning more to the door", "leaning more to the back"),
    "lean": ("lean", "leaning", "leaning"),
    "height": ("height", "higher", "lower"),
    "browning": ("browning", "browner", "paler"),
    "cracks": ("length of cracks", "more cracked", "less cracked"),
    "growth": ("growth in the oven", "grown more", "grown less"),
    "piped_diameter": ("piped diameter", "piped larger", "piped smaller"),
}
#: what is usually tried; common practice, no source
TRY = {
    "across": "turn the tray by half when half the time is over, and look whether the sides agree",
    "front-back": "turn the tray by half when half the time is over; check the door's seal",
    "centre-edge": "use a heavier tray or a second one under it, and one rack lower, one at a time",
    "spot": "pipe no shells at that place in the next bake, or shield it; check the heater near it",
    "lean": "take the fan down a step or off, or let the shells rest until they have a dry skin",
}
#: fewer days cannot tell how alike they are from one to the next: with 6 and a correlation of 0.7
#: half of histories without an oven's pattern show one (`tests.benchmarks.many_bakes`)
TELLS_LIKENESS = 12
TRY_NEXT = "Common practice, not a finding"


def amount(value: float, u95: float | None, unit: str) -> str:
    """As in "0.92 mm ± 0.31 mm"; without an interval where it is not known."""
    if u95 is None or u95 <= 0:
        return f"{value:.2f} {unit} (interval not known)"
    places = decimals(u95)
    return f"{value:.{places}f} {unit} ± {u95:.{places}f} {unit}"


def pattern_words(measure: str, finding: Finding, region: Region) -> str:
    """What a pattern says of the shells, a clause."""
    effect = finding.effect
    if effect is None:
        return finding.why
    size = amount(abs(effect.value), effect.u95, effect.unit)
    if measure == "lean":
        return _lean_words(finding, effect, size, region)
    _, more, less = MEASURE_WORDS[measure]
    word = more if effect.value >= 0 else less
    if finding.kind == "across":
        return f"shells on the right are {size} {word} than on the left"
    if finding.kind == "front-back":
        return f"shells near the door are {size} {word} than at the back"
    if finding.kind == "centre-edge":
        return f"shells at the edge are {size} {word} than in the middle"
    where = place_words(finding.place_mm or (0.0, 0.0), region)
    doubt = ""
    if finding.stands_out and (effect.u95 is None or effect.u95 > abs(effect.value)):
        doubt = " (its place is in doubt, and so its size)"
    return f"shells {where} are {size} {word} than the others around{doubt}"


def _lean_words(finding: Finding, effect: Effect, size: str, region: Region) -> str:
    way = direction_words(effect.direction_deg or 0.0)
    if finding.kind == "lean":
        return f"shells lean {size} towards {way}, the whole tray alike"
    places = {
        "across": "shells on the right lean, against those on the left,",
        "front-back": "shells near the door lean, against those at the back,",
        "centre-edge": "shells at the edge lean, against those in the middle,",
    }
    spot = f"shells {place_words(finding.place_mm or (0.0, 0.0), region)} lean, against the others,"
    return f"{places.get(finding.kind, spot)} {size} towards {way}"


def chance_words(p: float) -> str:
    """As in "chance alone does as much in 1 of 500 such histories"."""
    if p >= 1:
        return "chance alone does as much"
    return f"chance alone does as much in {max(1, round(1000 * p))} of 1,000 such histories"


def p_words(p: float) -> str:
    """As in "p 0.031" or "p < 0.001"."""
    return f"p {p:.3f}" if p >= 0.001 else "p < 0.001"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _bakes(count: int) -> str:
    return "1 bake" if count == 1 else f"{count} bakes"


def unit_words(bakes: int, units: int) -> str:
    """As in "12 bakes", or "12 trays, but 4 days or batters": how many are independent."""
    if units == bakes:
        return _bakes(bakes)
    return f"{bakes} trays, but {'1 day or batter' if units == 1 else f'{units} days or batters'}"


def verdict(found: OvenMap) -> str:
    """Two sentences: what stands out, or that nothing does; and what could have been found."""
    strongest = found.strongest
    if found.flat:
        return (
            f"All shells of {_bakes(found.bakes)} read the same, so there is nothing to compare. "
            "Check that the records are the right ones."
        )
    if strongest is None:
        counted = unit_words(found.bakes, found.units)
        return f"No pattern stood out from chance in {counted}. {_could_miss(found)}"
    said = pattern_words(found.measure, strongest, found.region)
    chance = chance_words(strongest.p_adjusted or 0.0)
    if found.strength == "suggests":
        few = "One bake suggests, but cannot show:" if found.bakes == 1 else (
            f"{_capital(unit_words(found.bakes, found.units))}: that suggests, but cannot show:"
            if found.units < found.bakes
            else f"{found.bakes} bakes suggest, but cannot show:"
        )  # fmt: skip
        return (
            f"{few} {said} ({chance}, if likeness of neighbours by chance reaches no farther than "
            f"110 mm). {_more_days(found)}"
        )
    counted = unit_words(found.bakes, found.units)
    few = "" if found.units >= TELLS_LIKENESS else (
        f" This takes days to be independent: what stays in a kitchen for days (air, flour, "
        f"an oven's mood) looks the same in so few. {TELLS_LIKENESS} days can tell."
    )  # fmt: skip
    return f"{_capital(said)}, over {counted}: {chance}. {_could_find(found)}{few}"


def _more_days(found: OvenMap) -> str:
    """What it takes to show: more days, not more trays of one day."""
    if found.units == found.bakes:
        return f"At least {LEAST_UNITS} bakes on {LEAST_UNITS} days can show it."
    return (
        f"Trays of one day or batter share its chances, so they count once: at least {LEAST_UNITS} "
        "days or batters can show it."
    )


def _could_miss(found: OvenMap) -> str:
    if found.units < LEAST_UNITS:
        few = "one tray gives" if found.bakes == 1 else "so few days or batters give"
        return (
            f"The oven may still be uneven: {few} away only glaring patterns, and "
            f"{LEAST_UNITS} or more, on different days, can show lesser ones."
        )
    if found.smallest_effect_80 is None:
        return "The oven may still be uneven: these bakes cannot tell how much."
    return (
        f"The oven may still be uneven: a spot below {_rounded(found)} is missed more often than "
        f"1 time in 5, and {_more_words(found)} would halve that."
    )


def _could_find(found: OvenMap) -> str:
    if found.smallest_effect_80 is None:
        return "How small a spot these bakes would find is not known."
    return (
        f"A spot of {_rounded(found)} is found 4 times in 5 with so many; "
        f"{_more_words(found)} would halve that."
    )


def _more_words(found: OvenMap) -> str:
    what = "bakes on other days" if found.units == found.bakes else "days or batters"
    return f"{found.more_units_to_halve} more {what}"


def _rounded(found: OvenMap) -> str:
    value = found.smallest_effect_80 or 0.0
    return f"{value:.{decimals(value)}f} {found.unit}"


def what_to_try(found: OvenMap, *, turned: bool) -> str:
    """One thing, said to be common practice; before that, what tells oven and hand apart."""
    strongest = found.strongest
    if strongest is None:
        return "To try: go on logging bakes; the plan of petitpied oven-or-hand says which to turn."
    first = ""
    if not turned and strongest.kind != "centre-edge":
        first = "First turn the tray by half in some bakes: it may be the hand, not the oven. "
    return f"{first}{TRY_NEXT}: {TRY[strongest.kind]}."


def lines(found: OvenMap, where: str, *, turned: bool) -> list[str]:
    """What `petitpied oven-map` prints of one measure."""
    name = MEASURE_WORDS[found.measure][0]
    result = [
        f"{_capital(name)}, {where}: {unit_words(found.bakes, found.units)}, "
        f"{found.shells} shells.",
        verdict(found),
        missing_words(found),
        camera_words(found.camera, found.unit),
        what_to_try(found, turned=turned),
    ]
    result = [line for line in result if line]
    for finding in found.findings:
        mark = "stands out" if finding.stands_out else "no"
        if finding.p_adjusted is None or finding.effect is None:
            result.append(f"  {finding.kind:<12} not told: {finding.why}")
            continue
        said = pattern_words(found.measure, finding, found.region)
        result.append(f"  {finding.kind:<12} {mark:<10} {p_words(finding.p_adjusted):<9}  {said}")
    if found.airflow is not None and found.measure != "lean":
        flow = found.airflow
        result.append(
            f"  airflow      mean lean {flow.length_mm:.2f} mm towards "
            f"{direction_words(flow.direction_deg)}, {p_words(flow.p)} ({flow.test}, "
            f"{_bakes(flow.bakes)})"
        )
    return [printable(line) for line in result]


def over_all_words(over_all: Mapping[str, float]) -> str:
    """What is left of several maps, allowing for how many were looked at."""
    names = [f"{MEASURE_WORDS[m][0]} ({p_words(p)})" for m, p in over_all.items() if p <= ALPHA]
    left = ", ".join(names) if names else "none"
    return printable(
        f"Of {len(over_all)} measures looked at together these still stand out: {left}. (Above, "
        "each is judged by itself: of 20 even ones about one would stand out by chance.)"
    )


def map_json(
    found: OvenMap, oven: str, rack: str | None, *, turned: bool, over_all: float | None = None
) -> Json:
    """The contract of ``--json``, and the map's cells; ``over_all``: the map's least p where it is
    one of several measures looked at together."""
    smallest = found.smallest_effect_80
    return {
        "oven": oven,
        "rack": rack,
        "measure": found.measure,
        "bakes": found.bakes,
        "independent_units": found.units,
        "shells": found.shells,
        "strength": found.strength,
        "patterns": [finding_json(f, found.unit) for f in found.findings],
        "smallest_effect_80": {"value": _places(smallest), "unit": found.unit},
        "more_units_to_halve": found.more_units_to_halve,
        "least_p": _places(found.least_p),
        "p_over_all_measures": _places(over_all),
        "morans_i": _places(found.neighbours),
        "airflow": _airflow_json(found),
        "cells": [_cell_json(c, found.unit) for c in found.cells],
        "text": verdict(found),
        "missing": missing_json(found),
        "camera": camera_json(found.camera, found.unit),
        "try": what_to_try(found, turned=turned),
    }


def finding_json(finding: Finding, unit: str) -> Json:
    """One pattern; effect and p are null where they cannot be told, and ``why`` says so."""
    return {
        "kind": finding.kind,
        "effect": effect_json(finding.effect, unit),
        "p_adjusted": _places(finding.p_adjusted),
        "stands_out": finding.stands_out,
        "place_mm": None if finding.place_mm is None else [round(v, 1) for v in finding.place_mm],
        "why": finding.why or None,
    }


def effect_json(effect: Effect | None, unit: str) -> Json:
    if effect is None:
        return {"value": None, "unit": unit, "u95": None}
    result: Json = {"value": _places(effect.value), "unit": unit, "u95": _places(effect.u95)}
    if effect.direction_deg is not None:
        result["direction_deg"] = round(effect.direction_deg, 1)
    return result


def _airflow_json(found: OvenMap) -> Json | None:
    flow = found.airflow
    if flow is None:
        return None
    return {
        "lean": {"value": _places(flow.length_mm), "unit": "mm", "u95": _places(flow.u95_mm)},
        "direction_deg": round(flow.direction_deg, 1),
        "p": _places(flow.p),
        "test": flow.test,
        "bakes": flow.bakes,
    }


def _cell_json(cell: Cell, unit: str) -> Json:
    return {
        "middle_mm": [round(v, 1) for v in cell.middle_mm],
        "size_mm": [round(v, 1) for v in cell.size_mm],
        "effect": {"value": _places(cell.value), "unit": unit, "u95": _places(cell.u95)},
        "bakes": cell.bakes,
        "stands_out": cell.stands_out,
        "lean_mm": None if cell.lean_mm is None else [_places(v) for v in cell.lean_mm],
    }


def _places(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 5)
