"""What a baker calls a measure that is compared over bakes, where the code has another name."""

from petitpied.domain.measures import SERIES
from petitpied.patterns.trends.bake_series import Fault

#: the code's name to the trade's: how far the foot's middle is off the cap's, and its two parts
TRADE: dict[str, str] = {
    "lean": "lopsided",
    "lean_x": "lopsided_x",
    "lean_y": "lopsided_y",
}
_CODE = {trade: code for code, trade in TRADE.items()}


def code_name(typed: str) -> str:
    """The code's name of a measure as a baker types it; any other text as it is."""
    return _CODE.get(typed.strip(), typed)


def typed_name(measure: str) -> str:
    """As a baker types it."""
    return TRADE.get(measure, measure)


def fault_words(fault: Fault) -> str:
    """As in "length of cracks >= 3 mm"."""
    series = SERIES[fault.measure]
    return f"{series.words} {fault.compare} {fault.limit:g} {series.unit}"
