"""How numbers and foreign text are shown to people."""

from math import floor, log10

from petitpied.domain.errors import printable as printable
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


def share(probability: float) -> str:
    """A chance or share, 0 to 1, as per cent in at most two digits; never a bare 0 or 100
    where it is neither."""
    if 0 < probability < 0.001:
        return "less than 0.1 %"
    if 0.999 < probability < 1:
        return "more than 99.9 %"
    percent = 100 * probability
    return f"{percent:.1f} %" if 0 < percent < 10 or 99 < percent < 100 else f"{percent:.0f} %"
