"""What a tray's sheet says: a code on every shell, and a list below."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Code:
    """What stands on one shell: large ``text``, small ``below`` it; a notch at the rim in a
    direction of the tray frame (from +x towards +y); dashed outline: not taken."""

    text: str
    below: str = ""
    notch_deg: float | None = None
    taken: bool = True


@dataclass(frozen=True, slots=True)
class Listing:
    """Title above, ``lines`` in ``columns`` below, then ``notes`` across the page."""

    title: str
    lines: Sequence[str]
    notes: Sequence[str] = ()
    columns: int = 1
