"""What a baker calls a measure that is compared over bakes, where the code has another name."""

from petitpied.domain.measures import SERIES
from petitpied.patterns.trends.bake_series import Fault

_CODE = {series.typed_name: key for key, series in SERIES.items()}


def code_name(typed: str) -> str:
    """The code's name of a measure as a baker types it; any other text as it is."""
    return _CODE.get(typed.strip(), typed)


def typed_name(measure: str) -> str:
    """As a baker types it."""
    return SERIES[measure].typed_name if measure in SERIES else measure


def fault_words(fault: Fault) -> str:
    """As in "length of cracks >= 3 mm"."""
    series = SERIES[fault.measure]
    return f"{series.words} {fault.compare} {fault.limit:g} {series.unit}"
