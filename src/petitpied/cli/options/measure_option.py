"""How the options that take a measure list what there is: from the register."""

from petitpied.domain.measures import SERIES

#: every measure of maps and charts, for help texts
NAMES = ", ".join(series.typed_name for series in SERIES.values())
EACH = f"One of {NAMES}."
EACH_OR_ALL = f"One of {NAMES}, or all."
EACH_REPEATED = f"Only this measure, one of {NAMES}; may be repeated."
