"""One photo to one record: the only file that knows the order of the steps.

The view and the outlines need nothing of each other, so a caller with two cores may look for both
at the same time: `see_view` and `find_outlines`, then `measure`.
"""

from petitpied.camera.seen_view import SeenView, see_view
from petitpied.contours.found_outlines import FoundOutlines, find_outlines
from petitpied.contours.heights import first_heights
from petitpied.contours.neighbours import find_neighbours
from petitpied.contours.sorted_out import sort_out
from petitpied.contours.tray_rings import fit_tray
from petitpied.domain.photo import Photo
from petitpied.domain.record import Record
from petitpied.domain.settings import Settings
from petitpied.inspection.one_photo_record import no_shells, record_of, relative_record
from petitpied.sizing.bias import corrected_for_ruffles
from petitpied.sizing.edge_uncertainty import with_edge_uncertainty
from petitpied.sizing.measured_shells import measured_shells
from petitpied.sizing.relative import frame_of, relative_shells, slant_words
from petitpied.sizing.unseen_parts import with_lost_parts
from petitpied.sizing.view_doubts import blur_mm
from petitpied.surface.foot.foot_ring import rim_heights
from petitpied.surface.survey import scene_of, survey

__all__ = ["find_outlines", "inspect_photo", "measure", "measure_relative", "see_view"]


def inspect_photo(photo: Photo, settings: Settings) -> Record:
    """Measure every shell in a photo.

    Raises
    ------
    CardError
        No usable scale, unless ``settings.relative``.
    ShellsError
        No shell in the photo.
    """
    if settings.relative:
        return measure_relative(photo, settings, find_outlines(photo))
    return measure(photo, settings, find_outlines(photo), see_view(photo, settings))


def measure(photo: Photo, settings: Settings, outlines: FoundOutlines, seen: SeenView) -> Record:
    """From outlines and view to the record.

    Raises
    ------
    ShellsError
        No shell can be measured.
    """
    sorted_out = sort_out(outlines.seeds, seen.cards, seen.solved.view, outlines.lost)
    if outlines.edges is None or not sorted_out.measurable:
        raise no_shells(photo, len(sorted_out.seeds))
    edges = outlines.edges.only(sorted_out.of_whole)
    tray = fit_tray(seen, sorted_out, edges, first_heights(settings.shell_height_mm))
    sized = measured_shells(tray)
    doubted = with_lost_parts(photo.pixels_bgr, sized, outlines.lost)
    unbiased = corrected_for_ruffles(doubted.shells)
    judged = with_edge_uncertainty(photo.pixels_bgr, unbiased, blur_mm(seen.sightings))
    scene = scene_of(photo, settings, tray.view, seen.cards, judged)
    surfaces = survey(scene, rim_heights(tray.heights), settings.crack_confidence)
    return record_of(photo, settings, outlines, seen, tray, surfaces, doubted.warnings)


def measure_relative(photo: Photo, settings: Settings, outlines: FoundOutlines) -> Record:
    """Shapes and relative sizes, for a photo without a card.

    Raises
    ------
    ShellsError
        No whole shell in the photo.
    """
    if outlines.edges is None:
        raise no_shells(photo, len(outlines.seeds))
    neighbours = find_neighbours(outlines.edges, outlines.whole)
    frame = frame_of(photo, settings)
    shells, lattice, slant = relative_shells(outlines.seeds, outlines.edges, neighbours, frame)
    doubted = with_lost_parts(photo.pixels_bgr, shells, outlines.lost)
    warnings = (*slant_words(slant), *doubted.warnings)
    return relative_record(photo, outlines, doubted.shells, lattice, warnings)
