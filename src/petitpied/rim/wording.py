"""How numbers and foreign text are shown to people."""

from math import floor, log10

from petitpied.domain.quantity import Quantity

MAX_DECIMALS = 4


def decimals(u95: float, digits: int = 2) -> int:
    """Decimal places so that ``u95`` keeps ``digits`` significant digits (JCGM 100, 7.2.6: at
    most two)."""
    if u95 <= 0:
        return MAX_DECIMALS
    return min(MAX_DECIMALS, max(0, digits - 1 - floor(log10(u95))))


def with_u95(quantity: Quantity, unit: str) -> str:
    """As in "44.83 mm ± 0.24 mm": value and expanded uncertainty, 95 %; unit may be empty."""
    places = decimals(quantity.u95)
    suffix = f" {unit}" if unit else ""
    return f"{quantity.value:.{places}f}{suffix} ± {quantity.u95:.{places}f}{suffix}"


def rounded(quantity: Quantity) -> str:
    """The value alone, to the first significant digit of its u95: "44.8"."""
    return f"{quantity.value:.{decimals(quantity.u95, 1)}f}"


def printable(text: str) -> str:
    """Text from outside without control, escape and direction characters."""
    return "".join(c if c.isprintable() else "?" for c in text)
