"""Several measures looked at at once: which stand out, allowing for how many there were.

Each map holds 5 % over its own patterns. Over the maps together Holm's step (Scandinavian Journal
of Statistics 6, 1979) holds it, however the measures hang together.
"""

from collections.abc import Sequence

from petitpied.patterns.oven.findings import OvenMap


def holm(p_values: Sequence[float]) -> tuple[float, ...]:
    """Adjusted p values, in the order given: the family-wise error over all of them."""
    count, worst = len(p_values), 0.0
    adjusted = [1.0] * count
    for rank, index in enumerate(sorted(range(count), key=lambda i: p_values[i])):
        worst = max(worst, min(1.0, (count - rank) * p_values[index]))
        adjusted[index] = worst
    return tuple(adjusted)


def over_all(maps: Sequence[OvenMap]) -> dict[str, float]:
    """Each measure's least p over its patterns, adjusted for the number of measures; measures of
    which nothing could be told are left out."""
    least = {
        m.measure: min(f.p_adjusted for f in m.findings if f.p_adjusted is not None)
        for m in maps
        if any(f.p_adjusted is not None for f in m.findings)
    }
    return dict(zip(least, holm(list(least.values())), strict=True))
