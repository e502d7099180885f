"""The baker's judgements of shells beside what the tool says of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from petitpied.domain.record import Record
from petitpied.domain.shell import Shell

#: what can be judged, by yes or no
SUBJECTS = ("crack", "foot", "dimple")
#: a shell is the judged one if its middle is within this part of its size of where it was
SAME_PLACE_REL = 0.4


@dataclass(frozen=True)
class Judged:
    """What the baker said of one shell: subject to yes or no; ``centre_px`` is its middle."""

    id: str
    centre_px: tuple[float, float]
    answers: Mapping[str, bool]


def of_shells(record: Record, judged: Sequence[Judged]) -> dict[str, Mapping[str, bool]]:
    """Judgements by the record's own shell ids, each followed to the shell at its place."""
    found: dict[str, Mapping[str, bool]] = {}
    for judgement in judged:
        shell = _at(record, judgement.centre_px)
        if shell is not None:
            found[shell.id] = judgement.answers
    return found


def _at(record: Record, centre_px: tuple[float, float]) -> Shell | None:
    if not record.shells:
        return None
    gaps = [np.hypot(*np.subtract(s.centre_px, centre_px)) for s in record.shells]
    nearest = record.shells[int(np.argmin(gaps))]
    size = float(np.ptp(nearest.outline_px, axis=0).max())
    return nearest if min(gaps) < SAME_PLACE_REL * size else None


def tool_says(shell: Shell, subject: str) -> bool | None:
    """What the tool found; None where it did not look, or could not tell."""
    if subject == "crack":
        return None if shell.cracks is None else bool(shell.cracks)
    if subject == "foot":
        if shell.foot is None or shell.foot.state == "unsure":
            return None
        return shell.foot.state == "shows"
    dimples = getattr(shell, "dimples", None)
    return None if dimples is None else bool(dimples)


@dataclass(frozen=True)
class Pair:
    """One judged shell: both answers, and the length and confidence of what the tool found."""

    tool: bool
    baker: bool
    length_mm: float = 0.0
    confidence: float = 0.0


def judged_pairs(
    judged: Sequence[tuple[Record, Sequence[Judged]]],
) -> Mapping[str, tuple[Pair, ...]]:
    """Subject to all shells on which both tool and baker gave an answer."""
    pairs: dict[str, list[Pair]] = {subject: [] for subject in SUBJECTS}
    for record, judgements in judged:
        shells = {s.id: s for s in record.shells}
        for number, answers in of_shells(record, judgements).items():
            for subject, answer in answers.items():
                tool = tool_says(shells[number], subject)
                if tool is not None:
                    pairs[subject].append(_pair(shells[number], tool, answer))
    return {subject: tuple(found) for subject, found in pairs.items()}


def _pair(shell: Shell, tool: bool, baker: bool) -> Pair:
    cracks = shell.cracks or ()
    return Pair(
        tool,
        baker,
        sum(c.length_mm.value for c in cracks),
        _confidence(shell),
    )


def _confidence(shell: Shell) -> float:
    """Of the likeliest dark line; in older records of those alone that were told."""
    if shell.crack_confidence is not None:
        return shell.crack_confidence
    return max((c.confidence for c in shell.cracks or ()), default=0.0)
