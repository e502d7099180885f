"""Shells beside parts of the photo that are washed out, black or unsharp: doubts, and warnings."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Shell
from petitpied.finding.lost_parts import DOUBTFUL_REL, LostParts, edge_widths_px, unsharp

#: shells named in one sentence; the rest are counted
NAMED = 6


@dataclass(frozen=True)
class Doubted:
    """Shells, those doubted that stand in such a part, and a sentence on each part."""

    shells: tuple[Shell, ...]
    warnings: tuple[str, ...]


def with_lost_parts(
    pixels_bgr: NDArray[np.uint8], shells: Sequence[Shell], lost: LostParts
) -> Doubted:
    """The shells of a photo (H, W, 3), those doubted that stand in such a part; and a sentence on
    each part, with the shells beside it."""
    shares = [lost.share(shell.place.outline_px) for shell in shells]
    measured = [k for k, shell in enumerate(shells) if shell.not_measured is None]
    widths = edge_widths_px(pixels_bgr, [shells[k].place.outline_px for k in measured])
    blurred = {k for k, is_so in zip(measured, unsharp(widths), strict=True) if is_so}
    doubted = []
    for k, (shell, share) in enumerate(zip(shells, shares, strict=True)):
        doubts = list(shell.doubts)
        if share > DOUBTFUL_REL and shell.not_measured is None:
            doubts.append(f"{share:.0%} of its outline is in a washed-out or black part")
        if k in blurred:
            doubts.append("its edge is much less sharp than the others'")
        doubted.append(replace(shell, doubts=tuple(doubts)))
    warnings = [
        f"a part of the tray {part.place} of the photo is {part.what}, "
        f"{max(part.share_rel, 0.01):.0%} of it: "
        f"shells may be missing there{_beside(shells, shares)}; change the light or the place you "
        "stand, and retake"
        for part in lost.parts
    ]
    if blurred:
        names = [shells[k].id for k in sorted(blurred)]
        are = "is" if len(names) == 1 else "are"
        warnings.append(
            f"a part of the photo is unsharp: {_listed(names)} {are} less sure, and shells there "
            "may be missing; wipe the lens, hold the phone level, and retake"
        )
    return Doubted(tuple(doubted), tuple(warnings))


def _beside(shells: Sequence[Shell], shares: Sequence[float]) -> str:
    near = [s.id for s, share in zip(shells, shares, strict=True) if share > DOUBTFUL_REL]
    return f", and {_listed(near)} may be wrong" if near else ""


def _listed(names: Sequence[str]) -> str:
    more = len(names) - NAMED
    if more > 0:
        return f"{', '.join(names[:NAMED])} and {more} more"
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))
