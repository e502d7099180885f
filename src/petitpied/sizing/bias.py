"""Corrections of bias: what edges smoothed from ray to ray do not show of a ruffled foot.

A caliper rests on the ruffles' tips, and the outline is less round than it looks. The figures are
mean errors on shells with a foot (a correction for a known effect, JCGM 100, 3.2.4), fitted with
those of `petitpied.sizing.edge_uncertainty`, which hold the corrections' own doubt.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from petitpied.domain.shell import Shell

#: added to the sizes of a shell with a foot, in each one's unit:
#: ``python -m tests.benchmarks --only coverage --calibrate``
RUFFLES = {
    "feret_min_mm": 0.46,
    "feret_max_mm": 0.70,
    "roundness_mm": 0.083,
    "circularity": -0.0005,
}


def corrected_for_ruffles(shells: Sequence[Shell]) -> tuple[Shell, ...]:
    """Shells with a foot get their ruffles' share of widths, roundness and circularity, and the
    aspect ratio of the corrected widths; others stay as they are."""
    return tuple(_corrected(s) if s.sizes.foot_diameter_mm is not None else s for s in shells)


def _corrected(shell: Shell) -> Shell:
    changed: dict[str, Any] = {}
    for name, more in RUFFLES.items():
        quantity = shell.quantity(name)
        if quantity is not None:
            changed[name] = replace(quantity, value=quantity.value + more)
    low, high, ratio = (
        changed.get("feret_min_mm"),
        changed.get("feret_max_mm"),
        shell.sizes.aspect_ratio,
    )
    if low is not None and high is not None and ratio is not None:
        changed["aspect_ratio"] = replace(ratio, value=low.value / high.value)
    return replace(shell, sizes=replace(shell.sizes, **changed))
