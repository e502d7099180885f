"""What the surfaces of a tray show, in a line or two for the terminal."""

from petitpied.domain.record import Record
from petitpied.rim.shell_faults import mark_words
from petitpied.rim.wording import printable

#: shells named in a line
MOST_NAMED = 12


def surface_lines(record: Record) -> tuple[str, ...]:
    """How even the colours are, and which shells have marks; nothing where neither was seen."""
    return (*_colour_line(record), *_marks_line(record))


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


def _marks_line(record: Record) -> tuple[str, ...]:
    marked = [(s.id, mark_words(s)) for s in record.shells if s.dimples or s.peak]
    if not marked:
        return ()
    told = "; ".join(f"{name} {', '.join(words)}" for name, words in marked[:MOST_NAMED])
    more = f"; and {len(marked) - MOST_NAMED} more" if len(marked) > MOST_NAMED else ""
    return (f"marks         {told}{more}",)
