"""Verdicts, yield and capability of a lot: lines, JSON and sheets."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from petitpied.domain.shell import Shell
from petitpied.sorting.limits import Limit, Limits
from petitpied.sorting.lot import Verdict
from petitpied.sorting.lot_trays import LotTray, quantity_of, verdict_counts
from petitpied.sorting.yields import Capability, Share, capability, share_of_trays
from petitpied.text.sheet_words import Code, Listing
from petitpied.text.verdict_words import spoken
from petitpied.text.wording import printable

#: on a shell of the sheet; nothing but a tick's word for a pass
CODES = {
    Verdict.PASS: "ok",
    Verdict.SECOND: "2nd",
    Verdict.REJECT: "X",
    Verdict.BY_EYE: "?",
}


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
        """Passes of all; those to be checked by eye count as not passed."""
        return self._share(Verdict.PASS)

    @property
    def yields_at_best(self) -> Share:
        """The same if all that are checked by eye turn out to pass."""
        return self._share(Verdict.PASS, Verdict.BY_EYE)

    def _share(self, *kept: Verdict) -> Share:
        shells = [tray.record.shells for tray in self.trays]
        names = {v.value for v in kept}
        counts = [sum(s.verdict in names for s in each) for each in shells]
        return share_of_trays(counts, [len(each) for each in shells])

    @property
    def diameter(self) -> tuple[Limit, Capability] | None:
        """Capability of the diameter against its limits for pass, where it has any."""
        limit = next((x for x in self.limits.passes if x.name == "diameter_mm"), None)
        if limit is None:
            return None
        sizes = [
            (q, k)
            for k, tray in enumerate(self.trays)
            for s in tray.record.shells
            if (q := quantity_of(s, "diameter_mm")) is not None
        ]
        found = capability([q for q, _ in sizes], limit, [k for _, k in sizes])
        return None if found is None else (limit, found)


def result_lines(result: LotResult) -> list[str]:
    """What `petitpied sort` prints."""
    lines = []
    for tray in result.trays:
        lines.append(f"{tray.name}: {counts_text(tray.record.shells)}")
        for shell in tray.record.shells:
            if shell.verdict != Verdict.PASS.value:
                reasons = "; ".join(shell.reasons)
                lines.append(f"  {shell.id:<4} {shell.verdict:<12} {reasons}")
    if len(result.trays) > 1:
        lines.append(f"all {len(result.trays)} trays: {counts_text(result.shells)}")
    lines += [yield_text(result), *capability_lines(result)]
    lines += [f"note: {note}" for note in result.notes]
    return [printable(line) for line in lines]


def counts_text(shells: Sequence[Shell]) -> str:
    """As in "31 shells: 24 pass, 4 second, 1 reject, 2 check by eye"."""
    counts = verdict_counts(shells)
    parts = [f"{number} {verdict}" for verdict, number in counts.items() if number]
    return f"{len(shells)} shell{'' if len(shells) == 1 else 's'}: {', '.join(parts)}"


def yield_text(result: LotResult) -> str:
    """The yield with its interval, and what checking by eye may add."""
    sure, best = result.yields, result.yields_at_best
    several = len(result.trays) > 1
    of = f"for trays like these {len(result.trays)}" if several else "of this tray; others differ"
    text = f"yield {_percent(sure.value)} pass (95 % interval {_interval(sure)}, {of})"
    if best.count > sure.count:
        text += f"; {_percent(best.value)} ({_interval(best)}) if all checked by eye pass"
    return text


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _interval(share: Share) -> str:
    return f"{100 * share.low:.0f} to {100 * share.high:.0f} %"


def capability_lines(result: LotResult) -> list[str]:
    """Cp and Cpk of the diameter; above 1 nearly all lie within the limits."""
    if result.diameter is None:
        return []
    limit, found = result.diameter
    words = f"diameter: mean {found.mean:.2f} mm, spread {found.spread:.2f} mm"
    if limit.target is not None:
        words += f", target {limit.target:g} mm"
    if found.cp is not None and found.cp_interval is not None:
        low, high = found.cp_interval
        words += f"; Cp {found.cp:.2f} (95 %: {low:.2f} to {high:.2f})"
    low, high = found.cpk_interval
    words += f"; Cpk {found.cpk:.2f} (95 %: {low:.2f} to {high:.2f}); above 1: nearly all fit"
    if found.trays == 1:
        words += "; of this tray alone, trays differ by more"
    return [words]


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
        "yield_if_all_by_eye_pass": _share_json(result.yields_at_best),
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
        "trays": found.trays,
        "mean_mm": round(found.mean, 4),
        "spread_mm": round(found.spread, 4),
        "limits_mm": [limit.low, limit.high],
        "cp": None if found.cp is None else round(found.cp, 4),
        "cp_interval95": rounded(found.cp_interval),
        "cpk": round(found.cpk, 4),
        "cpk_interval95": rounded(found.cpk_interval),
    }


def verdict_codes(tray: LotTray) -> dict[str, Code]:
    """Codes of the sheet: the verdict, and the id."""
    return {
        s.id: Code(CODES[Verdict(s.verdict)], s.id, taken=s.verdict == Verdict.PASS.value)
        for s in tray.record.shells
        if s.verdict is not None
    }


def verdict_listing(tray: LotTray) -> Listing:
    """Title, reasons of all that do not pass, and the codes' meaning."""
    lines = [
        f"{s.id}  {s.verdict}: {'; '.join(s.reasons)}"
        for s in tray.record.shells
        if s.verdict != Verdict.PASS.value
    ]
    meaning = "ok: pass. 2nd: second. X: reject. ?: check by eye. Dashed outline: does not pass."
    title = f"{tray.name}: {counts_text(tray.record.shells)}"
    return Listing(printable(title), [printable(line) for line in lines], [meaning])


def limits_lines(limits: Limits) -> list[str]:
    """A limits file in words."""
    lines = [f"risk {limits.risk:g}: so often, at most, a shell just beyond a limit still passes"]
    groups = [("pass", limits.passes), ("second", limits.second)]
    for word, group in groups:
        lines.append(f"{word}:" if group else f"{word}: no limits; what does not pass is rejected")
        lines += [f"  {spoken(limit.name)} {_range_text(limit)}" for limit in group]
    return lines


def _range_text(limit: Limit) -> str:
    unit = f" {limit.unit}" if limit.unit else ""
    if limit.low is None:
        return f"at most {limit.high:g}{unit}"
    if limit.high is None:
        return f"at least {limit.low:g}{unit}"
    return f"{limit.low:g} to {limit.high:g}{unit}"
