"""The record of one photo from what its steps found, and the error where there is no shell."""

from petitpied import __version__
from petitpied.camera.seen_view import SeenView
from petitpied.contours.found_outlines import FoundOutlines
from petitpied.contours.tray_rings import TrayRings
from petitpied.domain.errors import ShellsError
from petitpied.domain.photo import Photo
from petitpied.domain.quantity import Quantity
from petitpied.domain.record import PhotoFacts, Record, TrayPlace
from petitpied.domain.settings import Settings
from petitpied.domain.shell import Shell
from petitpied.finding.lattice import Lattice
from petitpied.sizing.false_scenes import flat_words, grid_words, size_words
from petitpied.sizing.view_doubts import view_warnings
from petitpied.surface.survey import Survey

NO_CARD = (
    "no card was used: sizes are relative to the median shell, and the lower edge of the "
    "photo is taken for the door's side"
)


def record_of(
    photo: Photo, settings: Settings, outlines: FoundOutlines, seen: SeenView, tray: TrayRings,
    surfaces: Survey, unseen: tuple[str, ...],
) -> Record:  # fmt: skip
    """The record, in the tray frame; ``unseen``: sentences on parts of the photo."""
    frame, lattice, heights = tray.frame, tray.lattice, tray.heights
    return Record(
        tool_version=__version__,
        photo=_facts(photo),
        scale_source="lens profile+cards" if seen.guess.profile else "cards",
        view=tray.view,
        cards=seen.cards,
        px_per_mm=tray.view.px_per_mm((0.0, 0.0)),
        tray=TrayPlace(
            frame.frame, lattice.rows, lattice.columns, frame.door, frame.width_mm, frame.depth_mm
        ),
        shells=surfaces.shells,
        heights_mm={
            "cap_rim": Quantity(heights.cap_rim_mm, 0.0, heights.cap_rim_u_mm),
            "foot": Quantity(heights.foot_mm, 0.0, heights.foot_u_mm),
        },
        heights_source=heights.source,
        warnings=(
            *photo.warnings,
            *outlines.warnings,
            *seen.warnings,
            *view_warnings(tray.view, seen.solved, seen.sightings, seen.focal_known),
            *flat_words(tray.view, tray.middles_mm, tray.parallax),
            *unseen,
            *size_words(surfaces.shells),
            *grid_words(outlines.grid_peak),
            *surfaces.warnings,
            *_asked_for(settings),
        ),
        lens_profile=seen.guess.profile,
        smallest_crack_width_mm=surfaces.smallest_crack_width_mm,
        colour=surfaces.colour,
    )


def relative_record(
    photo: Photo, outlines: FoundOutlines, shells: tuple[Shell, ...], lattice: Lattice,
    doubts: tuple[str, ...],
) -> Record:  # fmt: skip
    """The record of a photo without a card; ``doubts``: sentences on slant and parts of it."""
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
            *outlines.warnings,
            *doubts,
            *grid_words(outlines.grid_peak),
            NO_CARD,
        ),
    )


def _facts(photo: Photo) -> PhotoFacts:
    return PhotoFacts(
        photo.name, photo.sha256, photo.width_px, photo.height_px, photo.taken_at, photo.camera
    )


def _asked_for(settings: Settings) -> tuple[str, ...]:
    least = settings.crack_confidence
    if least is None:
        return ()
    return (f"as you asked, cracks are told from a confidence of {least:.2f} on",)


def no_shells(photo: Photo, partial: int) -> ShellsError:
    """The error where no whole shell was found; ``partial``: cut or covered ones."""
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
