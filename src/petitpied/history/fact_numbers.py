"""Numbers as bakers write them: units, per cent, decimal commas, thousands; asked, never guessed.

What could be read in two ways is not taken: the error says both, and how to write each.
"""

import re
from typing import Any

#: what a home or shop oven can be set to, degrees Celsius (common practice, no source)
OVEN_C = (20.0, 400.0)
REST_MINUTES = (0.0, 10_000.0)  # a week
#: beyond these a number without its unit is asked about: hotter than macarons are baked, but a
#: usual setting in degrees Fahrenheit; longer than shells rest (common practice, no source)
ASKED_ABOVE_C, ASKED_ABOVE_MINUTES = 230.0, 600.0
#: no kitchen's air is drier, in per cent (deserts have about 10)
LEAST_HUMIDITY = 10.0
_THOUSANDS = re.compile(r"[+-]?\d{1,3}([.,' \u00a0\u2009\u202f])\d{3}(\1\d{3})*")
_HOURS = re.compile(r"(\d+)\s*(?:h|hours?)(?:\s*(\d{1,2})\s*(?:m|min|minutes?)?)?", re.IGNORECASE)


def readings(text: str) -> tuple[float, ...]:
    """All numbers that a text may mean: "1,200" is 1.2 and 1200, "150,5" only 150.5.

    Raises
    ------
    ValueError
        If it is no number.
    """
    text = text.strip()
    whole = _THOUSANDS.fullmatch(text)
    found = []
    if whole:
        found.append(float(re.sub(r"[.,' \u00a0\u2009\u202f]", "", text)))
        if whole[1] not in ".," or text.count(whole[1]) > 1:
            return tuple(found)
    if "," in text and "." in text:  # the last one is the decimal mark
        mark = max(",.", key=text.rfind)
        other = "." if mark == "," else ","
        head, tail = text.rsplit(mark, 1)
        if not re.fullmatch(r"[+-]?\d{1,3}(" + re.escape(other) + r"\d{3})+", head):
            raise ValueError("must be a number")
        return (float(f"{head.replace(other, '')}.{tail}"),)
    found.append(float(text.replace(",", ".")))
    return tuple(found)


def _one(value: Any, limits: tuple[float, float]) -> float:
    """The only reading of a value that lies within limits."""
    low, high = limits
    found = readings(value) if isinstance(value, str) else (float(value),)
    fitting = sorted({n for n in found if low <= n <= high})
    if not fitting:
        raise ValueError(f"must lie between {low:g} and {high:g}")
    if len(fitting) > 1:
        small, large = fitting
        raise ValueError(
            f"is {small:g} or {large:g}: write it without the comma or point, as {large:g}, or as "
            f"{small:.1f}"
        )
    return fitting[0]


def celsius(value: Any) -> float:
    """Degrees Celsius from "150", "150 C", "302 F"; 302 alone is asked about."""
    if not isinstance(value, str):
        return _asked_celsius(_one(value, OVEN_C))
    text = re.sub(r"(?i)\s*(°|deg|degrees)\s*", " ", value).strip()
    unit = text[-1:].upper()
    if unit == "F":
        low, high = (c * 9 / 5 + 32 for c in OVEN_C)
        return round((_one(text[:-1], (low, high)) - 32) * 5 / 9, 1)
    if unit == "C":
        return _one(text[:-1], OVEN_C)
    return _asked_celsius(_one(text, OVEN_C))


def _asked_celsius(number: float) -> float:
    if number > ASKED_ABOVE_C:
        raise ValueError(
            f"is very hot for macarons: write {number:g} F if degrees Fahrenheit are meant, "
            f"{number:g} C if it is right"
        )
    return number


def minutes(value: Any) -> float:
    """Minutes from "40", "40 min", "1 h 30"; 1200 alone is asked about."""
    if isinstance(value, str):
        hours = _HOURS.fullmatch(value.strip())
        if hours:
            return _one(60 * int(hours[1]) + int(hours[2] or 0), REST_MINUTES)
        bare = re.sub(r"(?i)\s*(minutes?|min|m)$", "", value.strip())
        if bare != value.strip():
            return _one(bare, REST_MINUTES)
    number = _one(value, REST_MINUTES)
    if number > ASKED_ABOVE_MINUTES:
        raise ValueError(
            f"is {number / 60:.0f} hours, very long for shells to rest: write {number:g} min if it "
            "is right"
        )
    return number


def humidity(value: Any) -> float:
    """A fraction, from per cent ("55", "55 %"), or a fraction as it stands (0.55)."""
    sign = isinstance(value, str) and value.strip().endswith("%")
    number = _one(value.strip().removesuffix("%") if sign else value, (0.0, 100.0))
    if not sign and LEAST_HUMIDITY / 100 <= number < 1:
        return number  # as per cent no air is so dry
    if number < LEAST_HUMIDITY:
        raise ValueError(
            f"must lie between {LEAST_HUMIDITY:g} and 100 %: no kitchen's air is drier; write 55 "
            "for 55 %"
        )
    return number / 100


def kept_celsius(value: Any) -> float:
    """As the history wrote it itself."""
    return _one(float(value), OVEN_C)


def kept_minutes(value: Any) -> float:
    """As the history wrote it itself."""
    return _one(float(value), REST_MINUTES)


def kept_humidity(value: Any) -> float:
    """From per cent, as the history wrote it itself."""
    return _one(float(value), (0.0, 100.0)) / 100
