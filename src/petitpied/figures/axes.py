"""Axes: round steps that people read, and the places of the ticks."""

from math import ceil, floor, log10


def round_step(rough: float) -> tuple[float, int]:
    """The least of 1, 2 or 5 times a power of ten that is at least ``rough`` (> 0), and how many
    decimals it needs."""
    power = 10.0 ** floor(log10(rough))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= rough * (1 - 1e-9))
    return step, max(0, -floor(log10(step) + 1e-9))


def ticks(low: float, high: float, step: float) -> list[float]:
    """All multiples of the step from ``low`` to ``high``."""
    return [step * n + 0.0 for n in range(ceil(low / step - 1e-9), floor(high / step + 1e-9) + 1)]
