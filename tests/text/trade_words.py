"""Words that a baker does not say: they stand in the record, in tables for export, and in what is
marked "for the curious" only."""

import re

STRANGE = re.compile(
    r"\b(?:lean|leans|leaning|liners?|Cpk|AQL|kappa|Hotelling|Rayleigh|CIELAB|CIEDE2000|robust z"
    r"|adjusted p|p_adjusted|Delta E\d*)\b|ΔE|\bz [+-]?\d",
)
CURIOUS = re.compile("for the curious", re.IGNORECASE)


def strange_in(lines):
    """Lines with such a word. What follows "for the curious" in a line, or below a line that ends
    with it and a colon, is free, as long as the lines are indented; and a section of that name."""
    found, free, section_free = [], False, False
    for line in lines:
        if line.startswith("#"):
            section_free = CURIOUS.search(line) is not None
        if section_free:
            continue
        curious = CURIOUS.search(line)
        free = curious is not None or (free and line.startswith(" "))
        text = line[: curious.start()] if curious else "" if free else line
        if STRANGE.search(text):
            found.append(line)
    return found
