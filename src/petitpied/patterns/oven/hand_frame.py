"""The frame in which a tray was piped: the tray's own, or turned by half with the tray."""

from collections.abc import Sequence
from dataclasses import replace

from petitpied.domain.bake import Bake
from petitpied.patterns.oven.tray_stack import POINTING


def in_hand_frame(bakes: Sequence[Bake]) -> tuple[Bake, ...]:
    """The same bakes with the shells' places, and what points somewhere, in the hand frame.

    A bake's tray frame is the oven's (the card's strip points at the door). A bake that went in
    turned was piped half a turn from there: (x, y) becomes (-x, -y), and so does a lean.
    """
    return tuple(b if b.facts.turn_deg == 0 else _turned(b) for b in bakes)


def _turned(bake: Bake) -> Bake:
    shells = bake.shells
    values = {n: -v if n in POINTING else v for n, v in shells.values.items()}
    return replace(
        bake, shells=replace(shells, x_mm=-shells.x_mm, y_mm=-shells.y_mm, values=values)
    )
