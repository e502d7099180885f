"""What the tool says of feet, against what each shell of a path-traced scene has."""

from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, get_args

from petitpied.domain.surface import FootState
from tests.benchmarks.surface_colour import see

TOLD = get_args(FootState)
#: a foot so far under the cap's rim is out of sight from above, mm
WELL_HIDDEN_MM = 2.0


def has(true: dict[str, Any]) -> str:
    """What a true shell has below its cap."""
    if not true["has_foot"]:
        return "no foot"
    spread = true["foot_spread_mm"]
    if spread is not None and spread <= -WELL_HIDDEN_MM:
        return f"a foot {WELL_HIDDEN_MM:g} mm and more under the rim"
    return "a foot under the rim" if true.get("foot_hidden") else "a foot that shows"


def foot_lines(title: str, pictures: Sequence[Path]) -> Iterator[str]:
    """A Markdown table over scenes: a row for what there is, a column for what is said."""
    counts: dict[str, Counter[str]] = {}
    for picture in pictures:
        for true, shell in see(picture).pairs():
            if shell.foot is not None:
                counts.setdefault(has(true), Counter())[shell.foot.state] += 1
    yield f"\n## Feet, {title}\n"
    yield f"| there is | shells | {' | '.join(TOLD)} |"
    yield "|---" * (len(TOLD) + 2) + "|"
    for there, told in sorted(counts.items()):
        said = " | ".join(str(told[state]) for state in TOLD)
        yield f"| {there} | {told.total()} | {said} |"
