"""One photo to one record: the only file that knows the order of the steps."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied import __version__
from petitpied.camera.card_check import check_cards
from petitpied.camera.find_card import CardSighting, find_cards
from petitpied.camera.solve_photo import solve_photo
from petitpied.camera.straight_edges import StraightEdge
from petitpied.camera.tray_frame import TrayFrame, tray_frame
from petitpied.camera.view import SolvedView, guess_camera
from petitpied.camera.view_slopes import place_in_world
from petitpied.contours.edges import ShellEdges, find_edges
from petitpied.contours.heights import heights_from_ruler, refine_heights
from petitpied.contours.neighbours import COVERED_REL, find_neighbours, share_covered
from petitpied.contours.rings import Heights, fit_rings
from petitpied.domain import card
from petitpied.domain.errors import ShellsError
from petitpied.domain.lens import CameraGuess
from petitpied.domain.photo import Photo
from petitpied.domain.quantity import Quantity
from petitpied.domain.record import PhotoFacts, Record, SeenCard, TrayPlace
from petitpied.domain.settings import Settings
from petitpied.domain.shell import Seed, Shell
from petitpied.domain.view import View
from petitpied.finding.find_shells import find_shells
from petitpied.finding.lattice import Lattice, find_lattice
from petitpied.sizing.evidence import with_evidence
from petitpied.sizing.measured_shells import Places, SortedOut, measured_shells
from petitpied.sizing.relative import relative_shells
from petitpied.sizing.view_doubts import blur_mm, view_warnings
from petitpied.surface.foot.foot_ring import RimHeights
from petitpied.surface.survey import survey
from petitpied.surface.tray_surface import Scene as SurfaceScene

Floats = NDArray[np.float64]
T = TypeVar("T")

#: diameters a shell may have, mm: 15 to 80 mm (common practice, no source) with a margin
SHELL_RANGE_MM = (12.0, 95.0)
#: the fit that heights are taken from sees one ray in so many (`petitpied.contours.rings`)
THINNED = 3


class Aside(Protocol):
    """Begins a piece of work, perhaps beside the caller's own; gives the way to wait for it."""

    def __call__(self, work: Callable[[], T], /) -> Callable[[], T]: ...


def in_turn(work: Callable[[], T], /) -> Callable[[], T]:
    """`Aside` without a second thread: done when it is asked for."""
    return work


def inspect_photo(photo: Photo, settings: Settings, aside: Aside = in_turn) -> Record:
    """Measure every shell in a photo.

    The cards and the view are looked for ``aside`` while shells and their edges are: neither needs
    the other.

    Raises
    ------
    CardError
        No usable scale, unless ``settings.relative``.
    ShellsError
        No shell in the photo.
    """
    if settings.relative:
        return _inspect_relative(photo)
    thickness_mm = settings.card_thickness_mm
    focal_mm = settings.focal_35mm_mm or photo.focal_35mm_mm
    guess = photo.lens or guess_camera(photo.width_px, photo.height_px, focal_mm)
    seeing = aside(lambda: _see(photo, settings, guess))
    found = find_shells(photo.pixels_bgr)
    whole = [seed for seed in found.seeds if seed.whole]
    # also of the few that prove to be no shells once the view is known
    edges = find_edges(photo.pixels_bgr, whole, found.light) if whole else None
    seen = seeing()
    solved, straight, cards, sightings = seen.solved, seen.straight, seen.cards, seen.sightings
    warnings = [*photo.warnings, *_left_out(found.things), *seen.warnings]
    sorted_out = _sort_out(found.seeds, cards, solved.view)
    if edges is None or not sorted_out.measurable:
        raise _no_shells(photo, len(sorted_out.seeds))
    heights = (
        heights_from_ruler(settings.shell_height_mm) if settings.shell_height_mm else Heights()
    )
    kept = {id(seed) for seed in sorted_out.measurable}
    edges = edges.only(np.array([id(seed) in kept for seed in whole]))
    measured = _measure(solved.view, sorted_out, edges, straight, cards, heights)
    warnings += view_warnings(measured.view, solved, sightings, bool(guess.profile or focal_mm))
    warnings += measured.warnings
    frame, lattice = measured.frame, measured.lattice
    shells = with_evidence(photo.pixels_bgr, measured.shells, blur_mm(sightings))
    rims = RimHeights(
        measured.heights.cap_rim_mm, measured.heights.bare_rim_mm, measured.heights.foot_mm
    )
    surfaces = survey(
        SurfaceScene(
            photo.pixels_bgr, measured.view, cards, thickness_mm, shells, settings.reference
        ),
        rims,
        settings.crack_confidence,
    )
    warnings += surfaces.warnings
    if settings.crack_confidence is not None:
        least = settings.crack_confidence
        warnings.append(f"as you asked, cracks are told from a confidence of {least:.2f} on")
    return Record(
        tool_version=__version__,
        photo=_facts(photo),
        scale_source="lens profile+cards" if guess.profile else "cards",
        view=measured.view,
        cards=cards,
        px_per_mm=measured.view.px_per_mm((0.0, 0.0)),
        tray=TrayPlace(
            frame.frame, lattice.rows, lattice.columns, frame.door, frame.width_mm, frame.depth_mm
        ),
        shells=surfaces.shells,
        heights_mm={
            "cap_rim": Quantity(measured.heights.cap_rim_mm, 0.0, measured.heights.cap_rim_u_mm),
            "foot": Quantity(measured.heights.foot_mm, 0.0, measured.heights.foot_u_mm),
        },
        heights_source=measured.heights.source,
        warnings=tuple(warnings),
        lens_profile=guess.profile,
        smallest_crack_width_mm=surfaces.smallest_crack_width_mm,
        colour=surfaces.colour,
    )


def _inspect_relative(photo: Photo) -> Record:
    found = find_shells(photo.pixels_bgr)
    if not any(seed.whole for seed in found.seeds):
        raise _no_shells(photo, len(found.seeds))
    whole = [seed for seed in found.seeds if seed.whole]
    edges = find_edges(photo.pixels_bgr, whole, found.light)
    shells, lattice = relative_shells(found.seeds, edges, find_neighbours(edges, whole))
    return Record(
        tool_version=__version__,
        photo=_facts(photo),
        scale_source="none",
        view=None,
        cards=(),
        px_per_mm=None,
        tray=TrayPlace("lattice", lattice.rows, lattice.columns, "assumed"),
        shells=shells,
        warnings=(
            *photo.warnings,
            *_left_out(found.things),
            "no card was used: sizes are relative to the median shell, and the lower edge of the "
            "photo is taken for the door's side",
        ),
    )


def _left_out(things: int) -> tuple[str, ...]:
    if not things:
        return ()
    those = "a round thing was" if things == 1 else f"{things} round things were"
    return (
        f"{those} left out: of a colour that no shell has, and of another size or as uneven as "
        "metal; a shell that is left out so must be photographed with some of its like",
    )


def _facts(photo: Photo) -> PhotoFacts:
    return PhotoFacts(
        photo.name, photo.sha256, photo.width_px, photo.height_px, photo.taken_at, photo.camera
    )


def _no_shells(photo: Photo, partial: int) -> ShellsError:
    why = (
        f"{partial} were seen, all cut by the frame or covered by the card"
        if partial
        else "nothing in the picture looks like one"
    )
    return ShellsError(
        what=f"no whole shell found in {photo.name}",
        why=why,
        next_step="stand above the tray so that all of it is in the picture, sharp and evenly "
        "lit, and retake",
    )


@dataclass(frozen=True)
class _Seen:
    """What cards and straight edges say of one photo, with doubts as plain sentences."""

    sightings: tuple[CardSighting, ...]
    solved: SolvedView
    straight: tuple[StraightEdge, ...]
    cards: tuple[SeenCard, ...]
    warnings: tuple[str, ...]


def _see(photo: Photo, settings: Settings, guess: CameraGuess) -> _Seen:
    grey = np.asarray(cv2.cvtColor(photo.pixels_bgr, cv2.COLOR_BGR2GRAY), np.uint8)
    thickness_mm, printed = settings.card_thickness_mm, dict(settings.print_scales)
    sightings = tuple(s.printed_at(printed.get(s.letter, 1.0)) for s in find_cards(grey))
    seen = solve_photo(grey, sightings, guess, thickness_mm)
    warnings = (*check_cards(sightings, seen.solved, thickness_mm), *seen.warnings)
    cards = _seen_cards(sightings, seen.solved, thickness_mm)
    return _Seen(sightings, seen.solved, seen.straight, cards, warnings)


def _seen_cards(
    sightings: Sequence[CardSighting], solved: SolvedView, thickness_mm: float
) -> tuple[SeenCard, ...]:
    outline = card.outline_corners_mm()
    return tuple(
        SeenCard(
            s.letter,
            solved.view.project(place_in_world(outline * s.print_scale, place), thickness_mm),
            s.print_scale,
        )
        for s, place in zip(sightings, solved.card_places, strict=True)
    )


def _coarse_diameters_mm(view: View, outlines_px: Sequence[Floats]) -> Floats:
    """Diameters (S,) of the circles with the outlines' areas, near enough to sort by."""
    if not outlines_px:
        return np.zeros(0)
    count = np.array([len(outline) for outline in outlines_px])
    x, y = view.to_plane(np.concatenate(outlines_px), 2.0).T
    first = np.cumsum(count) - count
    after = np.arange(1, len(x) + 1)
    after[first + count - 1] = first
    areas = np.abs(np.add.reduceat(x * y[after] - y * x[after], first)) / 2
    return np.asarray(np.sqrt(4 * areas / np.pi), float)


def _sort_out(seeds: Sequence[Seed], cards: Sequence[SeenCard], view: View) -> SortedOut:
    """Drop what has no shell's size or lies on a card; note what is cut or covered."""
    kept: list[Seed] = []
    reasons: list[str | None] = []
    diameters: list[float] = []
    sizes = _coarse_diameters_mm(view, [seed.outline_px for seed in seeds])
    for seed, size in zip(seeds, sizes, strict=True):
        centre = np.array([seed.centre_px])
        if any(share_covered(centre, c.corners_px) > 0 for c in cards):
            continue
        if seed.whole and not SHELL_RANGE_MM[0] <= size <= SHELL_RANGE_MM[1]:
            continue
        covered = max(share_covered(seed.outline_px, c.corners_px) for c in cards)
        if not seed.whole:
            reasons.append("cut by the edge of the photo")
        else:
            reasons.append("partly covered by the card" if covered > COVERED_REL else None)
        kept.append(seed)
        diameters.append(float(size))
    return SortedOut(tuple(kept), tuple(reasons), np.array(diameters))


@dataclass(frozen=True)
class _Measured:
    """Everything measured, in the tray frame."""

    view: View
    frame: TrayFrame
    lattice: Lattice
    shells: tuple[Shell, ...]
    heights: Heights
    warnings: tuple[str, ...]


def _measure(
    view: View,
    sorted_out: SortedOut,
    edges: ShellEdges,
    straight: Sequence[StraightEdge],
    cards: Sequence[SeenCard],
    heights: Heights,
) -> _Measured:
    """The tray frame, rings in it, heights from them, rings at these heights, sizes."""
    neighbours = find_neighbours(edges, sorted_out.measurable)
    middles = np.array([s.centre_px for s in sorted_out.seeds])
    centres = view.to_plane(middles, heights.foot_mm)
    diameters = sorted_out.diameters_mm
    row_angle = None
    if not straight and len(centres) >= 4:
        row_angle = find_lattice(centres, diameters).angle_deg
    seen = [*(c.corners_px for c in cards), *(s.outline_px for s in sorted_out.measurable)]
    occupied = np.concatenate([centres, view.to_plane(np.concatenate(seen))])
    frame = tray_frame(view, straight, occupied, row_angle)
    view = view.moved(frame.origin_mm, frame.turn_deg)
    first = fit_rings(view, edges, heights, neighbours.free, every=THINNED)
    heights = refine_heights(first, heights)
    rings = fit_rings(view, edges, heights, neighbours.free, first)
    lattice = find_lattice(view.to_plane(middles, heights.foot_mm), diameters)
    shells = measured_shells(view, sorted_out, rings, heights, Places(neighbours, lattice))
    return _Measured(view, frame, lattice, shells, heights, ())
