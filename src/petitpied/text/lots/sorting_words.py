"""Verdicts, yield and capability of a lot: lines, JSON and sheets."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any

import numpy as np
from scipy.stats import norm

from petitpied.domain.shell import Shell
from petitpied.sorting.limits import LIMITABLE, GradeNames, Limit, Limits
from petitpied.sorting.lot import Verdict
from petitpied.sorting.lot_trays import LotTray, quantity_of, verdict_counts
from petitpied.sorting.yields import Capability, Share, capability, wilson
from petitpied.text.hints import faults_to_try
from petitpied.text.lots.verdict_words import GRADES, spoken
from petitpied.text.sheet_words import Code, Listing
from petitpied.text.wording import printable
from petitpied.text.wording import share as share_text

#: on a shell of the sheet: nothing on a top
CODES = {
    Verdict.TOP: "",
    Verdict.BOTTOM: "B",
    Verdict.CRUMBS: "X",
    Verdict.BY_EYE: "?",
}


#: so many shells of a tray that are off in size alone are told in one line
MANY_BY_SIZE = 5


@dataclass(frozen=True)
class LotResult:
    """A lot judged: its trays (verdicts filled in), notes, and how good it is."""

    trays: tuple[LotTray, ...]
    notes: tuple[str, ...]
    limits: Limits

    @property
    def shells(self) -> tuple[Shell, ...]:
        return tuple(s for tray in self.trays for s in tray.record.shells)

    @property
    def yields(self) -> Share:
        """Tops of all; those to be checked by eye count as none."""
        shells = self.shells
        return wilson(sum(s.verdict == Verdict.TOP.value for s in shells), len(shells))

    @property
    def yields_at_best(self) -> Share:
        """The same if all that are checked by eye turn out to be tops."""
        shells = self.shells
        kept = (Verdict.TOP.value, Verdict.BY_EYE.value)
        return wilson(sum(s.verdict in kept for s in shells), len(shells))

    @property
    def diameter_limit(self) -> Limit | None:
        """The diameter's limit for tops."""
        return next((x for x in self.limits.tops if x.name == "diameter_mm"), None)

    @property
    def diameter(self) -> tuple[Limit, Capability] | None:
        """Capability of the diameter against its limits for tops, where it has any."""
        limit = self.diameter_limit
        if limit is None:
            return None
        sizes = [q for s in self.shells if (q := quantity_of(s, "diameter_mm")) is not None]
        found = capability(sizes, limit)
        return None if found is None else (limit, found)


def result_lines(result: LotResult) -> list[str]:
    """What `petitpied sort` prints: what holds for whole trays first, then shell by shell."""
    grades = result.limits.grades
    lines = [*far_lines(result)]
    for tray in result.trays:
        lines.append(f"{tray.name}: {counts_text(tray.record.shells, grades)}")
        lines += _shell_lines(tray, grades)
    if len(result.trays) > 1:
        lines.append(f"all {len(result.trays)} trays: {counts_text(result.shells, grades)}")
    lines += [yield_text(result), *size_lines(result)]
    lines += [f"note: {note}" for note in result.notes]
    lines += [f"to try: {what}: {text}" for what, text in islice(faults_to_try(result.shells), 1)]
    return [printable(line) for line in lines]


def _shell_lines(tray: LotTray, grades: GradeNames, colon: str = "") -> list[str]:
    """A line for each shell that is no top; many of one grade that are off in size alone
    together."""
    off = [s for s in tray.record.shells if s.verdict not in (None, Verdict.TOP.value)]
    by_size = defaultdict[str, list[str]](list)
    for shell in off:
        if len(shell.reasons) == 1 and shell.reasons[0].startswith("diameter "):
            by_size[str(shell.verdict)].append(shell.id)
    many = {verdict: ids for verdict, ids in by_size.items() if len(ids) >= MANY_BY_SIZE}
    lines = [
        f"  {s.id:<4} {grades.of(Verdict(str(s.verdict))) + colon:<12} {'; '.join(s.reasons)}"
        for s in off
        if s.id not in many.get(str(s.verdict), ())
    ]
    lines += [
        f"  {grades.of(Verdict(verdict))} by the diameter alone, {len(ids)} shells: "
        f"{', '.join(ids)}"
        for verdict, ids in many.items()
    ]
    return lines


def far_lines(result: LotResult) -> list[str]:
    """Said first of trays whose mean diameter lies beyond what is a top."""
    limit = result.diameter_limit
    if limit is None or limit.low is None or limit.high is None:
        return []
    middle = (limit.low + limit.high) / 2 if limit.target is None else limit.target
    lines = []
    for tray in result.trays:
        sizes = [q for s in tray.record.shells if (q := quantity_of(s, "diameter_mm"))]
        if not sizes:
            continue
        mean = float(np.mean([q.value for q in sizes]))
        if not limit.low <= mean <= limit.high:
            side = "above" if mean > middle else "below"
            lines.append(
                f"{tray.name}: the whole tray is off: its mean diameter is {mean:.1f} mm, "
                f"{abs(mean - middle):.1f} mm {side} your target of {middle:g} mm. Pipe "
                f"{'smaller' if mean > middle else 'larger'}, or set the target that this tray "
                "has: petitpied limits --from RECORD"
            )
    return lines


def counts_text(shells: Sequence[Shell], grades: GradeNames = GRADES) -> str:
    """As in "31 shells: 24 top, 4 bottom, 1 crumbs, 2 check by eye"."""
    counts = verdict_counts(shells)
    parts = [f"{number} {grades.of(verdict)}" for verdict, number in counts.items() if number]
    return f"{len(shells)} shell{'' if len(shells) == 1 else 's'}: {', '.join(parts)}"


def yield_text(result: LotResult) -> str:
    """The yield with its interval, and what checking by eye may add."""
    sure, best = result.yields, result.yields_at_best
    word = result.limits.grades.top
    text = f"{_percent(sure.value)} {word} (for a process like this {_interval(sure)}, 95 % sure)"
    if best.count > sure.count:
        text += f"; {_percent(best.value)} ({_interval(best)}) if all to be checked by eye are too"
    return text


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _interval(share: Share) -> str:
    return f"{100 * share.low:.0f} to {100 * share.high:.0f} %"


def size_lines(result: LotResult) -> list[str]:
    """Mean and spread of the diameter, and how many such shells would be out of the limits."""
    if result.diameter is None:
        return []
    limit, found = result.diameter
    words = f"diameter: mean {found.mean:.1f} mm, usual spread {found.spread:.1f} mm"
    if limit.target is not None:
        words += f", target {limit.target:g} mm"
    return [f"{words}; {outside_text(limit, found)}"]


def outside_text(limit: Limit, found: Capability) -> str:
    """As in "of 100 such shells about 4 are out of your limits": what Cpk says, in shells."""
    out = 0.0
    if limit.low is not None:
        out += float(norm.cdf(limit.low, found.mean, found.spread))
    if limit.high is not None:
        out += float(norm.sf(limit.high, found.mean, found.spread))
    if out < 0.005:
        return "of 100 such shells hardly one is out of these limits"
    return f"of 100 such shells about {100 * out:.0f} are out of these limits"


def result_json(result: LotResult) -> dict[str, Any]:
    """What `petitpied sort --json` prints."""
    found = result.diameter
    return {
        "risk": result.limits.risk,
        "shells": [
            {"record": t.key, "id": s.id, "verdict": s.verdict, "reasons": list(s.reasons)}
            for t in result.trays
            for s in t.record.shells
        ],
        "counts": {v.value: n for v, n in verdict_counts(result.shells).items()},
        "yield": _share_json(result.yields),
        "yield_if_all_by_eye_are_tops": _share_json(result.yields_at_best),
        "diameter_capability": None if found is None else _capability_json(*found),
        "notes": list(result.notes),
    }


def _share_json(share: Share) -> dict[str, Any]:
    interval = [round(share.low, 5), round(share.high, 5)]
    return {"count": share.count, "total": share.total, "interval95": interval}


def _capability_json(limit: Limit, found: Capability) -> dict[str, Any]:
    def rounded(pair: tuple[float, float] | None) -> list[float] | None:
        return None if pair is None else [round(v, 4) for v in pair]

    return {
        "n": found.count,
        "mean_mm": round(found.mean, 4),
        "spread_mm": round(found.spread, 4),
        "limits_mm": [limit.low, limit.high],
        "cp": None if found.cp is None else round(found.cp, 4),
        "cp_interval95": rounded(found.cp_interval),
        "cpk": round(found.cpk, 4),
        "cpk_interval95": rounded(found.cpk_interval),
    }


def verdict_codes(tray: LotTray) -> dict[str, Code]:
    """Codes of the sheet: the grade, and the id."""
    return {
        s.id: Code(CODES[Verdict(s.verdict)], s.id, taken=s.verdict == Verdict.TOP.value)
        for s in tray.record.shells
        if s.verdict is not None
    }


def verdict_listing(tray: LotTray, grades: GradeNames = GRADES) -> Listing:
    """Title, reasons of all that are no tops, and the codes' meaning."""
    lines = [" ".join(line.split()) for line in _shell_lines(tray, grades, ":")]
    meaning = (
        f"Solid outline: {grades.top}. B: {grades.bottom}. X: {grades.crumbs}. ?: check by eye."
    )
    title = f"{tray.name}: {counts_text(tray.record.shells, grades)}"
    return Listing(printable(title), [printable(line) for line in lines], [printable(meaning)])


def limits_lines(limits: Limits) -> list[str]:
    """A limits file in words."""
    grades = limits.grades
    lines = [f"at most {share_text(limits.risk)} of the shells called {grades.top} are none"]
    groups = [(grades.top, limits.tops), (grades.bottom, limits.bottoms)]
    for word, group in groups:
        nothing = f"{word}: no limits; what is no {grades.top} is {grades.crumbs}"
        lines.append(f"{word}:" if group else nothing)
        lines += [f"  {spoken(limit.name)} {_range_text(limit)}" for limit in group]
    return [printable(line) for line in lines]


def _range_text(limit: Limit) -> str:
    unit = f" {limit.unit}" if limit.unit else ""
    if LIMITABLE[limit.name].counted and limit.high == 0:
        return "none"
    if limit.low is None:
        return f"at most {limit.high:g}{unit}"
    if limit.high is None:
        return f"at least {limit.low:g}{unit}"
    return f"{limit.low:g} to {limit.high:g}{unit}"
