"""Matched pairs as a list in picking order, JSON and sheets."""

from collections.abc import Mapping, Sequence
from typing import Any

from petitpied.sorting.lot import LotShell, Verdict
from petitpied.sorting.lot_trays import Aside, LotTray
from petitpied.sorting.pairing import Pair, Pairing
from petitpied.text.sheet_words import Code, Listing
from petitpied.text.wording import decimals, printable

#: direction, tray frame, of the notch of the shell that stays: away from the door
NOTCH_DEG = -90.0


def pairing_json(pairing: Pairing, aside: Sequence[Aside]) -> dict[str, Any]:
    """The published form of a pairing: `petitpied pair --json`."""
    left = [{"record": x.shell.record, "id": x.shell.id, "why": x.why} for x in pairing.left_over]
    left += [{"record": x.record, "id": x.id, "why": x.why} for x in aside]
    return {
        "pairs": [pair_json(pair) for pair in pairing.pairs],
        "left_over": left,
        "total_cost": round(pairing.total_cost, 6),
        "lower_bound": round(pairing.lower_bound, 6),
    }


def pair_json(pair: Pair) -> dict[str, Any]:
    """One pair: its shells, the turn of ``b``, cost and difference of diameters in mm."""
    return {
        "a": {"record": pair.a.record, "id": pair.a.id},
        "b": {"record": pair.b.record, "id": pair.b.id},
        "turn_deg": pair.turn_deg,
        "turn_helps": pair.turn_helps,
        "grade": None if pair.grade is None else pair.grade.value,
        "cost": round(pair.cost, 6),
        "difference_mm": round(pair.difference_mm.value, 4),
        "difference_u95_mm": round(pair.difference_mm.u95, 4),
    }


def turn_text(pair: Pair) -> str:
    """Clockwise as seen from above is "right"; "" where a turn changes nothing that is seen."""
    turn_deg = pair.turn_deg
    if turn_deg == 0 or not pair.turn_helps:
        return ""
    if abs(turn_deg) == 180:
        return "turn half round"
    return f"turn {'right' if turn_deg > 0 else 'left'} {abs(turn_deg):.0f}°"


def code_of(number: int, pair: Pair) -> str:
    """Short code on the tray: the pair's number, with a "b" for two bottoms."""
    return f"{number}b" if pair.grade is Verdict.BOTTOM else str(number)


def pair_lines(pairing: Pairing, names: Mapping[str, str]) -> list[str]:
    """A line a pair, in picking order; ``names``: record to tray name."""
    several = len(names) > 1
    return [
        printable(f"{code_of(n, p):>4}  {shells_text(p, names, several)}: {_facts(p)}")
        for n, p in enumerate(pairing.pairs, 1)
    ]


def shells_text(pair: Pair, names: Mapping[str, str], several: bool) -> str:
    """As in "A1 (below) + B3", with the trays' names where there are several."""
    below = " (below)" if pair.is_mixed else ""
    if not several:
        return f"{pair.a.id}{below} + {pair.b.id}"
    if pair.a.record == pair.b.record:
        return f"{pair.a.id}{below} + {pair.b.id} of {names[pair.a.record]}"
    first = f"{pair.a.id} of {names[pair.a.record]}{below}"
    return f"{first} + {pair.b.id} of {names[pair.b.record]}"


def _facts(pair: Pair) -> str:
    difference = pair.difference_mm
    places = min(2, decimals(difference.u95))
    size = f"{difference.value:.{places}f} ± {difference.u95:.{places}f} mm apart"
    two = ", two bottoms" if pair.grade is Verdict.BOTTOM else ""
    turn = turn_text(pair)
    return f"{turn}{', ' if turn else ''}{size}{two}"


def left_lines(pairing: Pairing, aside: Sequence[Aside], names: Mapping[str, str]) -> list[str]:
    """A line for each shell without partner, and why."""
    several = len(names) > 1
    found = [(x.shell.record, x.shell.id, x.why) for x in pairing.left_over]
    found += [(x.record, x.id, x.why) for x in aside]
    return [
        printable(f"left over  {shell}{f' of {names[record]}' if several else ''}: {why}")
        for record, shell, why in found
    ]


def summary_text(pairing: Pairing, seen: int) -> str:
    """How many, how close, and what is proven."""
    count = len(pairing.pairs)
    if count == 0:
        return f"no pairs of {seen} shell{'' if seen == 1 else 's'}"
    mean = sum(p.difference_mm.value for p in pairing.pairs) / count
    largest = max((p.difference_mm for p in pairing.pairs), key=lambda q: q.value)
    if pairing.gap_rel < 1e-9:
        proof = "no better pairing exists"
    else:
        proof = f"at most {100 * pairing.gap_rel:.2f} % above the best possible"
    two = sum(p.grade is Verdict.BOTTOM for p in pairing.pairs)
    parts = f" ({two} of them of two bottoms)" if two else ""
    return (
        f"{count} pair{'' if count == 1 else 's'} of {seen} shells{parts}; diameters within a pair "
        f"differ by {mean:.2f} mm on average, at most {largest.value:.2f} ± {largest.u95:.2f} mm; "
        f"mismatch of all together {pairing.total_cost:.1f} mm: {proof}"
    )


def pair_codes(pairing: Pairing, tray: LotTray) -> dict[str, Code]:
    """Codes of one tray's sheet; the notches of a pair meet when it is closed.

    The shell that is folded over to the side after its turn has the notch where it comes to lie
    on the other's: at the angle t with 180 - (t + turn) = that of the other.
    """
    codes: dict[str, Code] = {}
    for number, pair in enumerate(pairing.pairs, 1):
        text = code_of(number, pair)
        notch_b = 180.0 - NOTCH_DEG - pair.turn_deg
        for shell, notch in ((pair.a, NOTCH_DEG), (pair.b, notch_b)):
            if shell.record == tray.key:
                told = notch if turn_text(pair) else None
                codes[shell.id] = Code(text, shell.id, told)
    for left in pairing.left_over:
        if left.shell.record == tray.key:
            codes[left.shell.id] = Code("-", left.shell.id, taken=False)
    return codes


def pair_listing(pairing: Pairing, tray: LotTray, names: Mapping[str, str]) -> Listing:
    """The pairs that touch one tray, in picking order, and how to close them."""
    lines = []
    for number, pair in enumerate(pairing.pairs, 1):
        if tray.key in (pair.a.record, pair.b.record):
            shells = " + ".join(_here(shell, tray, names) for shell in (pair.a, pair.b))
            turn = turn_text(pair)
            lines.append(f"{code_of(number, pair)}:  {shells}{', ' if turn else ''}{turn}")
    gathered: dict[str, list[str]] = {}
    for x in pairing.left_over:
        if x.shell.record == tray.key:
            gathered.setdefault(x.why, []).append(x.shell.id)
    left = [f"Left over: {' '.join(ids)}, {why}." for why, ids in gathered.items()]
    how = (
        "Same number: one macaron; the shell named first lies below. Where a turn is told, turn "
        "the second (right: clockwise) and fold it over sideways onto the first: the two notches "
        "meet. Elsewhere a turn changes nothing that is seen. Dashed: not taken."
    )
    across = sum(tray.key in (p.a.record, p.b.record) for p in pairing.pairs)
    title = f"{tray.name}: {across} pair{'' if across == 1 else 's'}"
    notes = [printable(note) for note in (*left, how)]
    return Listing(printable(title), [printable(line) for line in lines], notes, columns=2)


def _here(shell: LotShell, tray: LotTray, names: Mapping[str, str]) -> str:
    return shell.id if shell.record == tray.key else f"{shell.id} of {names[shell.record]}"
