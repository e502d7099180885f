"""Which of the seeds are shells of this tray, and which of them can be measured."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from petitpied.contours.neighbours import COVERED_REL, share_covered
from petitpied.domain.record import SeenCard
from petitpied.domain.shell import Seed
from petitpied.domain.view import View
from petitpied.finding.lost_parts import UNMEASURED_REL, LostParts
from petitpied.numerics.polygons import areas_of

Floats = NDArray[np.float64]

#: diameters a shell may have, mm: 15 to 80 mm (common practice, no source) with a margin
SHELL_RANGE_MM = (12.0, 95.0)
#: height of the outlines that shells are sorted by, mm: near enough
COARSE_HEIGHT_MM = 2.0
CUT, COVERED = "cut by the edge of the photo", "partly covered by the card"
UNSEEN = "partly in a washed-out or black part of the photo"


@dataclass(frozen=True)
class SortedOut:
    """All seeds kept, why each is not measured (None: it is), and coarse diameters (S,) of all;
    ``of_whole`` (W,): which of the whole seeds that were found are measured."""

    seeds: tuple[Seed, ...]
    reasons: tuple[str | None, ...]
    diameters_mm: Floats
    of_whole: NDArray[np.bool_]

    @property
    def measurable(self) -> tuple[Seed, ...]:
        return tuple(s for s, r in zip(self.seeds, self.reasons, strict=True) if r is None)

    @property
    def _place(self) -> NDArray[np.intp]:
        return np.array([i for i, reason in enumerate(self.reasons) if reason is None], np.intp)

    @property
    def measurable_mm(self) -> Floats:
        """Coarse diameters of the measurable ones."""
        return self.diameters_mm[self._place]

    def without(self, which: NDArray[np.bool_], reason: str) -> "SortedOut":
        """The same, those of the measurable that are marked left out for ``reason``."""
        reasons = list(self.reasons)
        for i in self._place[which].tolist():
            reasons[i] = reason
        of_whole = self.of_whole.copy()
        of_whole[np.flatnonzero(of_whole)[which]] = False
        return replace(self, reasons=tuple(reasons), of_whole=of_whole)


def sort_out(
    seeds: Sequence[Seed], cards: Sequence[SeenCard], view: View, lost: LostParts
) -> SortedOut:
    """Drop what has no shell's size or lies on a card; note what is cut, covered or not seen."""
    diameters = _coarse_diameters_mm(view, [seed.outline_px for seed in seeds])
    corners = [card.corners_px for card in cards]
    each = zip(seeds, diameters, strict=True)
    kept = np.array([_is_shell(seed, size, corners) for seed, size in each], bool)
    reasons = [_reason(s, corners, lost) if k else None for s, k in zip(seeds, kept, strict=True)]
    measured = [k and r is None for k, r in zip(kept, reasons, strict=True)]
    return SortedOut(
        tuple(seed for seed, k in zip(seeds, kept, strict=True) if k),
        tuple(reason for reason, k in zip(reasons, kept, strict=True) if k),
        diameters[kept],
        np.array([m for m, seed in zip(measured, seeds, strict=True) if seed.whole], bool),
    )


def _coarse_diameters_mm(view: View, outlines_px: Sequence[Floats]) -> Floats:
    """Diameters (S,) of the circles with the outlines' areas."""
    if not outlines_px:
        return np.zeros(0)
    plane = view.to_plane(np.concatenate(outlines_px), COARSE_HEIGHT_MM)
    areas = areas_of(plane, np.array([len(outline) for outline in outlines_px]))
    return np.asarray(np.sqrt(4 * areas / np.pi), float)


def _is_shell(seed: Seed, size_mm: float, cards_px: Sequence[Floats]) -> bool:
    centre = np.array([seed.centre_px])
    if any(share_covered(centre, corners) > 0 for corners in cards_px):
        return False
    return not seed.whole or SHELL_RANGE_MM[0] <= size_mm <= SHELL_RANGE_MM[1]


def _reason(seed: Seed, cards_px: Sequence[Floats], lost: LostParts) -> str | None:
    """Why a shell is not measured."""
    if not seed.whole:
        return CUT
    covered = max(share_covered(seed.outline_px, corners) for corners in cards_px)
    if covered > COVERED_REL:
        return COVERED
    return UNSEEN if lost.share(seed.outline_px) > UNMEASURED_REL else None
