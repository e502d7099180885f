"""What looks like a shell in a photo, and the edges along its rays: the view is not needed yet."""

from dataclasses import dataclass

from petitpied.contours.edges import ShellEdges, find_edges
from petitpied.domain.photo import Photo
from petitpied.domain.shell import Seed
from petitpied.finding.find_shells import find_shells
from petitpied.finding.lost_parts import LostParts, lost_parts
from petitpied.finding.screen_grid import grid_peak


@dataclass(frozen=True)
class FoundOutlines:
    """All seeds; ``edges`` of those that are whole, in their order, None where none is; the photo's
    ``lost`` parts, and how much of a screen's grid it shows; ``warnings``: plain sentences."""

    seeds: tuple[Seed, ...]
    edges: ShellEdges | None
    lost: LostParts
    grid_peak: float
    warnings: tuple[str, ...]

    @property
    def whole(self) -> tuple[Seed, ...]:
        """Those not cut by the photo's edge."""
        return tuple(seed for seed in self.seeds if seed.whole)


def find_outlines(photo: Photo) -> FoundOutlines:
    """Seeds and edges; also of the few that prove to be no shells once the view is known."""
    found = find_shells(photo.pixels_bgr)
    whole = [seed for seed in found.seeds if seed.whole]
    edges = find_edges(photo.pixels_bgr, whole, found.light) if whole else None
    lost = lost_parts(photo.pixels_bgr, found.seeds)
    grid = grid_peak(photo.pixels_bgr, found.seeds)
    return FoundOutlines(found.seeds, edges, lost, grid, _left_out(found.things))


def _left_out(things: int) -> tuple[str, ...]:
    if not things:
        return ()
    those = "a round thing was" if things == 1 else f"{things} round things were"
    return (
        f"{those} left out: of a colour that no shell has, and of another size or as uneven as "
        "metal; a shell that is left out so must be photographed with some of its like",
    )
