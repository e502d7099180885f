"""An evening's answer on one screen: verdict, reason, figure, and what to do next."""

from collections.abc import Sequence

from petitpied.evening.advice import Advice, OvenSign
from petitpied.evening.answer import Evening, TrayAnswer
from petitpied.sorting.limits import GradeNames
from petitpied.sorting.lot import Verdict
from petitpied.text.evening.advice_words import advice_words, fault_words
from petitpied.text.wording import counted, printable, with_u95

#: a terminal's width, and a page of it without scrolling
MOST_LETTERS, MOST_LINES = 100, 12
#: trays that have lines of their own; of more, those that lose most shells
MOST_TRAYS = 4

def screen(
    evening: Evening, oven: OvenSign | None, advice: Advice, notes: Sequence[str], page: str
) -> tuple[str, ...]:
    """The whole answer: at most `MOST_LINES` lines of at most `MOST_LETTERS` letters; ``page``
    may make its line longer, a path is not cut."""
    head = [_verdict_line(evening)]
    tail = [*_pair_lines(evening), *_oven_lines(oven), *_filled(f"Next: {advice_words(advice)}", 2)]
    where = [f"Page: {page}"] if page else []
    room = MOST_LINES - len(head) - len(tail) - len(where) - min(len(notes), 2)
    middle = _tray_lines(evening, max(room, 1))
    left = MOST_LINES - len(head) - len(middle) - len(tail) - len(where)
    told = _notes(notes, left)
    return tuple(printable(line) for line in (*head, *middle, *tail, *told, *where))


def page_lines(
    evening: Evening, oven: OvenSign | None, advice: Advice, notes: Sequence[str]
) -> tuple[str, ...]:
    """The same for the page: whole sentences, none cut."""
    faults = []
    for tray in evening.trays:
        said = _fault_text(tray, evening.grades)
        line = _tray_line(tray, evening)
        both = f"{line[:1].upper()}{line[1:]}. {said[:1].upper()}{said[1:]}"
        faults.append(f"{both.rstrip(' .')}.")
    lines = [_verdict_line(evening), *faults, *_pair_texts(evening)]
    if oven is not None:
        lines.append(_oven_text(oven))
    lines += [f"Next: {advice_words(advice)}", *(f"Note: {note}." for note in notes)]
    return tuple(printable(line) for line in lines)


def _notes(notes: Sequence[str], room: int) -> list[str]:
    if not notes or room < 1:
        return []
    if len(notes) <= room:
        return [_cut(f"Note: {note}") for note in notes]
    more = f" (and {counted(len(notes) - room, 'more note')} on the page)"
    shown = [_cut(f"Note: {note}") for note in notes[:room]]
    shown[-1] = _cut(f"Note: {notes[room - 1]}", len(more)) + more
    return shown


def _verdict_line(evening: Evening) -> str:
    """As in "59 of 66 shells are good: 47 tops, 12 bottoms. 3 are crumbs, 4 for your eye."."""
    tops, bottoms, crumbs, by_eye = (evening.count(v) for v in Verdict)
    whole, good = tops + bottoms + crumbs + by_eye, tops + bottoms
    names = evening.grades
    if good == 0:
        line = f"None of {whole} shells is good." if whole > 1 else "The one shell is not good."
        if crumbs == whole > 1:
            return f"None of {whole} shells is good: all are {names.crumbs}."
    elif good == whole:
        line = f"All {counted(whole, 'shell')} are good" if whole > 1 else "The one shell is good"
        line += f": {_grades(tops, bottoms, names)}."
    else:
        verb = "is" if good == 1 else "are"
        line = f"{good} of {counted(whole, 'shell')} {verb} good: {_grades(tops, bottoms, names)}."
    rest = [f"{crumbs} {'is' if crumbs == 1 else 'are'} {names.crumbs}"] if crumbs else []
    if by_eye:
        verb = "" if rest else "is " if by_eye == 1 else "are "
        rest.append(f"{by_eye} {verb}for your eye")
    return f"{line} {', '.join(rest)}." if rest else line


def _grades(tops: int, bottoms: int, names: GradeNames) -> str:
    parts = [counted(n, word) for n, word in ((tops, names.top), (bottoms, names.bottom)) if n]
    return ", ".join(parts)


def _tray_lines(evening: Evening, room: int) -> list[str]:
    """For each tray a line, and a second one with the shells that are not good where there is
    room."""
    trays = list(evening.trays)
    if len(trays) > min(MOST_TRAYS, room):
        trays.sort(key=lambda t: t.good - t.found)
        kept = trays[: max(1, min(MOST_TRAYS, room) - 1)]
        more = len(trays) - len(kept)
        rest = f"And {counted(more, 'more tray')}: see the page."
        return [*(_cut(_tray_line(tray, evening)) for tray in kept), rest]
    faulty = sum(bool(tray.faults) for tray in trays)
    each, more = divmod(room - len(trays), max(1, faulty))  # lines for the faults of a tray
    lines = []
    for tray in trays:
        lines.append(_cut(_tray_line(tray, evening)))
        if tray.faults:
            lines += _filled("  " + _fault_text(tray, evening.grades), min(2, each + (more > 0)))
            more -= 1
    return lines


def _tray_line(tray: TrayAnswer, evening: Evening) -> str:
    """As in "rose: 30 of 33 good, mean 44.5 mm ± 0.1 mm, eight of ten within 3.1 mm"."""
    alike = sum(other.flavour == tray.flavour for other in evening.trays) > 1
    name = f"{tray.flavour} ({tray.name})" if alike and tray.flavour else tray.flavour or tray.name
    parts = [f"{name}: {tray.good} of {tray.found} good"]
    if tray.mean_mm is not None:
        parts.append(f"mean {with_u95(tray.mean_mm, 'mm')}")
    if tray.middle_mm is not None:
        parts.append(f"eight of ten within {tray.middle_mm:.1f} mm")
    return ", ".join(parts)


def _fault_text(tray: TrayAnswer, names: GradeNames) -> str:
    """The shells that are not tops, by what they have, the gravest first."""
    order = (Verdict.CRUMBS, Verdict.BY_EYE, Verdict.BOTTOM)
    heads = {Verdict.CRUMBS: names.crumbs, Verdict.BY_EYE: "look at", Verdict.BOTTOM: names.bottom}
    parts: list[str] = []
    for verdict in order:
        groups: dict[str, list[str]] = {}
        for fault in tray.faults:
            if fault.verdict is verdict:
                groups.setdefault(fault_words(fault), []).append(fault.id)
        if groups:
            said = ", ".join(f"{_named(ids, tray.found)} {word}" for word, ids in groups.items())
            parts.append(f"{heads[verdict]}: {said}")
    return "; ".join(parts)


def _named(ids: Sequence[str], found: int) -> str:
    """The shells by their names; where it is most of a tray, their number."""
    if len(ids) == found > 1:
        return f"all {found}"
    return f"{len(ids)} of {found}" if 2 * len(ids) > found > 3 else " ".join(ids)


def _pair_lines(evening: Evening) -> list[str]:
    return [_cut(text) for text in _pair_texts(evening)]


def _pair_texts(evening: Evening) -> list[str]:
    if evening.pairs is None:
        return ["Pairs: none can be made."]
    text = f"Pairs: {counted(evening.pairs, 'macaron')}"
    if evening.pairs:
        gap = evening.pair_gap_mm
        much = f"{gap:.1f} mm" if gap >= 0.05 else "less than 0.1 mm"
        text += f", halves differ by {much} on average"
    if evening.unpaired:
        text += f"; {counted(evening.unpaired, 'good shell')} without a partner"
    lines = [f"{text}."]
    if evening.boxes is None:
        return lines
    if evening.boxes == 0:
        why = f": {evening.unboxed_why}" if evening.unboxed_why else ""
        return [*lines, f"Boxes: none of {evening.slots} can be filled{why}."]
    text = f"Boxes: {counted(evening.boxes, 'box')} of {evening.slots}"
    if evening.box_range_mm is not None:
        text += f", in each the sizes within {evening.box_range_mm:.1f} mm"
    if evening.unboxed:
        text += f"; {counted(evening.unboxed, 'macaron')} left"
    return [*lines, f"{text}."]


def _oven_lines(oven: OvenSign | None) -> list[str]:
    return [] if oven is None else _filled(_oven_text(oven), 2)


def _oven_text(oven: OvenSign) -> str:
    where = f"Oven {oven.oven}, {counted(oven.bakes, 'bake')}"
    if not oven.measure:
        return f"{where}: nothing stands out so far."
    return f"{where}: {'' if oven.shown else 'perhaps '}{oven.said}."


def _filled(text: str, lines: int) -> list[str]:
    """A text over at most so many lines, broken between words."""
    start = text[: len(text) - len(text.lstrip())]
    rest = text
    result: list[str] = []
    while rest and len(result) < lines:
        indent = f"{start}  " if result else ""
        room = MOST_LETTERS - len(indent)
        if len(rest) <= room:
            return [*result, indent + rest]
        if len(result) == lines - 1:
            return [*result, indent + _cut(rest, len(indent))]
        at = rest.rfind(" ", 0, room + 1)
        at = room if at <= 0 else at
        result.append(indent + rest[:at].rstrip())
        rest = rest[at:].lstrip()
    return result


def _cut(text: str, less: int = 0) -> str:
    """At most a line, whole words, with "..." where something is missing."""
    room = MOST_LETTERS - less
    if len(text) <= room:
        return text
    at = text.rfind(" ", 0, room - 3)
    return text[: at if at > 0 else room - 3].rstrip(" ,;:(") + " ..."
