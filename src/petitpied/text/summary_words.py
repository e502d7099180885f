"""What one record says in short, in words: the headline, the odd ones out, the warnings."""

from petitpied.domain.quantity import Quantity
from petitpied.domain.record import Record
from petitpied.statistics.tray_summary import MIN_FOR_ODD, ODD_Z, Odd, Oddity, Summary
from petitpied.text.wording import printable, with_u95


def headline(summary: Summary) -> str:
    """One line: count, mean and spread."""
    parts = [f"{summary.found} shell{'' if summary.found == 1 else 's'}"]
    if summary.measured != summary.found:
        parts.append(f"{summary.measured} measured")
    if summary.diameter_mm is not None:
        parts.append(f"mean diameter {with_u95(summary.diameter_mm, 'mm')}")
    if summary.spread_mm is not None:
        parts.append(f"spread {with_u95(summary.spread_mm, 'mm')}")
    elif summary.spread_rel is not None:
        percent = Quantity(100 * summary.spread_rel.value, 100 * summary.spread_rel.u_own)
        parts.append(f"spread {with_u95(percent, '%')} of the median diameter")
    return ", ".join(parts)


def odd_reasons(odd: Odd) -> tuple[str, ...]:
    """In what a shell is unlike the others, one sentence a quantity."""
    return tuple(_reason(oddity) for oddity in odd.oddities)


def _reason(odd: Oddity) -> str:
    unit = f" {odd.unit}" if odd.unit else ""
    value = with_u95(odd.value, odd.unit) if odd.value.u > 0 else f"{odd.value.value:.3f}"
    places = 2 if odd.unit else 3
    return f"{odd.name} {value}, median {odd.median:.{places}f}{unit}, z {odd.z:+.1f}"


def scale_notes(record: Record) -> list[str]:
    """Which cards are not printed true, and which lens profile was used."""
    notes = [
        f"card {c.id} is printed at {100 * c.print_scale:.1f} %, allowed for"
        for c in record.cards
        if c.print_scale != 1.0
    ]
    if record.lens_profile is not None:
        notes.append(f"lens profile: {record.lens_profile}")
    return notes


def summary_lines(record: Record, summary: Summary) -> tuple[str, ...]:
    """The short table that `petitpied inspect` prints for one photo."""
    has_uncertainty = summary.diameter_mm is not None or summary.spread_rel is not None
    lines = [headline(summary) + (" (± holds 95 %)" if has_uncertainty else "")]
    if summary.touching:
        lines.append(f"touching a neighbour: {summary.touching}")
    for shell in record.shells:
        if shell.not_measured is not None:
            lines.append(f"not measured  {shell.id:<4} {shell.not_measured}")
    for odd in summary.odd:
        reasons = "; ".join(odd_reasons(odd))
        lines.append(f"odd one out   {odd.id:<4} {', '.join(odd.words)}: {reasons}")
    if not summary.odd and summary.measured >= MIN_FOR_ODD:
        lines.append(f"no odd one out (robust z above {ODD_Z})")
    lines += scale_notes(record)
    lines += [f"warning: {w}" for w in record.warnings]
    return tuple(printable(line) for line in lines)
