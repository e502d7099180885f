"""Agreement between tool and baker, in plain words."""

from collections.abc import Mapping, Sequence

import numpy as np

from petitpied.statistics.agreement import Agreement, agreement, best_threshold
from petitpied.statistics.judgements import Pair

#: words for kappa: Landis & Koch, "The measurement of observer agreement for categorical data",
#: Biometrics 33 (1977) 159-174
WORDS = ((0.0, "none"), (0.2, "slight"), (0.4, "fair"), (0.6, "moderate"), (0.8, "substantial"))
#: with fewer faults (or whole shells) a word for kappa would say more than is known: the rule of
#: thumb for the normal approximation, five of each kind
FEW = 5
#: and with fewer a limit chosen on them fits these alone (common practice, no source)
FEW_FOR_LIMIT = 10
#: what a subject's yes is called
NOUNS = {"crack": "cracked shell", "foot": "shell with a foot", "dimple": "dimpled shell"}


def kappa_word(kappa: float) -> str:
    return next((word for most, word in WORDS if kappa <= most), "almost perfect")


def agreement_lines(pairs: Mapping[str, Sequence[Pair]]) -> list[str]:
    """The tables of all subjects that were judged, and the crack limit that agrees best."""
    lines: list[str] = []
    for subject, found in pairs.items():
        if not found:
            continue
        both = agreement([p.tool for p in found], [p.baker for p in found])
        lines += [*([""] if lines else []), *_table(subject, both), _kappa_line(subject, both)]
        if subject == "crack":
            lines += _limit_lines(found)
    return lines


def _table(subject: str, a: Agreement) -> list[str]:
    shells = "shell" if a.count == 1 else "shells"
    return [
        f"{subject}: {a.count} {shells} judged by you and by the tool",
        "             you: yes   you: no",
        f"  tool: yes  {a.both:>8}  {a.only_tool:>8}",
        f"  tool: no   {a.only_baker:>8}  {a.neither:>8}",
    ]


def _rarer(a: Agreement) -> tuple[int, bool]:
    """How many shells you gave the rarer answer, and whether that was yes."""
    yes = a.both + a.only_baker
    return min(yes, a.count - yes), yes <= a.count - yes


def _few_words(subject: str, a: Agreement) -> str:
    """As in "one cracked shell: too few to judge"."""
    count, is_yes = _rarer(a)
    noun = (
        NOUNS[subject] if is_yes else f"shell without {'cracks' if subject == 'crack' else subject}"
    )
    if count == 1:
        return f"one {noun}: too few to judge"
    return f"{count or 'no'} {noun.replace('shell', 'shells', 1)}: too few to judge"


def _kappa_line(subject: str, a: Agreement) -> str:
    alike = f"{a.both + a.neither} of {a.count} alike"
    if a.kappa is None or a.low95 is None or a.high95 is None:
        return f"  {alike}; all answers are the same, so that kappa cannot be told"
    word = f"agreement beyond chance: {kappa_word(a.kappa)}"
    if _rarer(a)[0] < FEW:
        word = _few_words(subject, a)
    elif kappa_word(a.low95) != kappa_word(a.high95):
        word = f"agreement beyond chance: {kappa_word(a.low95)} to {kappa_word(a.high95)}"
    return f"  {alike}; Cohen's kappa {a.kappa:.2f} (95 %: {a.low95:.2f} to {a.high95:.2f}); {word}"


def _limit_lines(pairs: Sequence[Pair]) -> list[str]:
    baker = [p.baker for p in pairs]
    if min(sum(baker), len(baker) - sum(baker)) < FEW_FOR_LIMIT:
        return [
            f"  no crack limit is suggested: that takes {FEW_FOR_LIMIT} cracked and "
            f"{FEW_FOR_LIMIT} whole shells, judged by you"
        ]
    length = best_threshold(np.array([p.length_mm for p in pairs]), baker)
    if length is None or length.agreement.kappa is None:
        return ["  no crack limit can be suggested: judge cracked and whole shells, both"]
    lines = [
        f"  best crack limit: {length.value:.1f} mm of cracks in all "
        f"({length.low:.1f} to {length.high:.1f} mm agree as well): "
        f"kappa {length.agreement.kappa:.2f}, {_alike(length.agreement)}"
    ]
    sure = best_threshold(np.array([p.confidence for p in pairs]), baker)
    if sure is not None and sure.agreement.kappa is not None:
        lines.append(
            f"  best by the tool's confidence: {sure.value:.2f} "
            f"(inspect --crack-confidence {sure.value:.2f}): "
            f"kappa {sure.agreement.kappa:.2f}, {_alike(sure.agreement)}"
        )
    lines.append("  (a limit chosen on these shells flatters itself: judge new ones to see)")
    return lines


def _alike(a: Agreement) -> str:
    return f"{a.both + a.neither} of {a.count} alike"
