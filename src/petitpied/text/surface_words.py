"""What the surfaces of a tray show, in a line or two for the terminal."""

from petitpied.domain.record import Record
from petitpied.text.shell_faults import crack_words, mark_words
from petitpied.text.wording import printable

#: shells named in a line
MOST_NAMED = 12


def surface_lines(record: Record) -> tuple[str, ...]:
    """How even the colours are, which shells are cracked, and which have marks; nothing of what
    was not seen."""
    return (*_colour_line(record), *_cracks_line(record), *_marks_line(record))


def _colour_line(record: Record) -> tuple[str, ...]:
    known = [(s.browning.value, s.id) for s in record.shells if s.browning is not None]
    if record.colour is None or record.colour.evenness is None or not known:
        return ()
    low, high = min(known), max(known)
    even = record.colour.evenness
    against = printable(record.colour.reference)
    return (
        f"browning      spread {even.value:.1f} ± {even.u95:.1f} ΔE00; against the {against}: "
        f"palest {low[1]} {low[0]:+.1f}, brownest {high[1]} {high[0]:+.1f}",
    )


def _cracks_line(record: Record) -> tuple[str, ...]:
    cracked = [
        f"{s.id} {crack_words(len(s.cracks), s.crack_length_mm.value)}"
        for s in record.shells
        if s.cracks and s.crack_length_mm is not None
    ]
    return (f"cracked       {_first(cracked)}",) if cracked else ()


def _marks_line(record: Record) -> tuple[str, ...]:
    marked = [f"{s.id} {', '.join(mark_words(s))}" for s in record.shells if s.dimples or s.peak]
    return (f"marks         {_first(marked)}",) if marked else ()


def _first(told: list[str]) -> str:
    more = f"; and {len(told) - MOST_NAMED} more" if len(told) > MOST_NAMED else ""
    return "; ".join(told[:MOST_NAMED]) + more
