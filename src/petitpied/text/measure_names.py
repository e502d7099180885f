"""What a baker calls a measure that is compared over bakes, where the code has another name."""

from petitpied.patterns.trends.bake_series import SERIES_UNITS, Fault

#: the code's name to the trade's: how far the foot's middle is off the cap's, and its two parts
TRADE: dict[str, str] = {
    "lean": "lopsided",
    "lean_x": "lopsided_x",
    "lean_y": "lopsided_y",
}
SENTENCE: dict[str, str] = {
    "lean": "lopsided foot",
    "lean_x": "lopsided foot, to the right",
    "lean_y": "lopsided foot, to the door",
    "roundness": "out of round",
    "cracks": "length of cracks",
}
_CODE = {trade: code for code, trade in TRADE.items()}


def code_name(typed: str) -> str:
    """The code's name of a measure as a baker types it; any other text as it is."""
    return _CODE.get(typed.strip(), typed)


def typed_name(measure: str) -> str:
    """As a baker types it."""
    return TRADE.get(measure, measure)


def in_words(measure: str) -> str:
    """For a sentence: "foot spread"."""
    return SENTENCE.get(measure, measure.replace("_", " "))


def fault_words(fault: Fault) -> str:
    """As in "length of cracks >= 3 mm"."""
    unit = SERIES_UNITS[fault.measure]
    return f"{in_words(fault.measure)} {fault.compare} {fault.limit:g} {unit}"
