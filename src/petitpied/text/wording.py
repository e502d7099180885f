"""How numbers and foreign text are shown to people."""

from math import floor, log10

from petitpied.domain.errors import printable as printable
from petitpied.domain.quantity import Quantity

MAX_DECIMALS = 4
#: first characters that spreadsheets take for a formula, wide ones too (OWASP, "CSV Injection")
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")


def decimals(u95: float, digits: int = 2) -> int:
    """Decimal places so that ``u95`` keeps ``digits`` significant digits (JCGM 100, 7.2.6: at
    most two)."""
    if u95 <= 0:
        return MAX_DECIMALS
    return min(MAX_DECIMALS, max(0, digits - 1 - floor(log10(u95))))


def fixed(value: float, places: int, sign: str = "") -> str:
    """A number with so many decimals, never "-0.0"; ``sign`` "+": positive ones with it too."""
    text = f"{value:{sign}.{places}f}"
    return text.lstrip("+-") if float(text) == 0 else text


def counted(number: int, word: str) -> str:
    """As in "1 shell", "2 shells", "3 boxes"."""
    if number == 1:
        return f"1 {word}"
    ending = "" if word.endswith("s") else "es" if word.endswith(("x", "ch")) else "s"
    return f"{number} {word}{ending}"


def with_u95(quantity: Quantity, unit: str) -> str:
    """As in "44.83 mm ± 0.24 mm": value and expanded uncertainty, 95 %; unit may be empty."""
    places = decimals(quantity.u95)
    suffix = f" {unit}" if unit else ""
    return f"{fixed(quantity.value, places)}{suffix} ± {quantity.u95:.{places}f}{suffix}"


def rounded(quantity: Quantity) -> str:
    """The value alone, to the first significant digit of its u95: "44.8"."""
    return fixed(quantity.value, decimals(quantity.u95, 1))


def share(probability: float) -> str:
    """A chance or share, 0 to 1, as per cent in at most two digits; never a bare 0 or 100
    where it is neither."""
    if 0 < probability < 0.001:
        return "less than 0.1 %"
    if 0.999 < probability < 1:
        return "more than 99.9 %"
    percent = 100 * probability
    return f"{percent:.1f} %" if 0 < percent < 10 or 99 < percent < 100 else f"{percent:.0f} %"
