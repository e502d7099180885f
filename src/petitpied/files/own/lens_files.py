"""Lens profiles on disk: read with a bound, kept under the lens's name, chosen for a photo."""

import re
from dataclasses import replace
from pathlib import Path

from petitpied.camera.lens.matching import camera_guess, choose
from petitpied.camera.lens.profile_text import MAX_BYTES, profile_from_text
from petitpied.domain.errors import LensError
from petitpied.domain.lens import LensProfile
from petitpied.domain.photo import Photo
from petitpied.domain.settings import Settings
from petitpied.files.own_folders import lenses_folder
from petitpied.text.wording import printable

SUFFIXES = (".yml", ".yaml")
#: more profiles than phones have lenses, zooms and sizes
MOST_PROFILES = 200


def read_profile(path: Path) -> LensProfile:
    """The profile in a file.

    Raises
    ------
    LensError
        If it cannot be read, is no profile, cut short or changed by hand.
    """
    name = printable(path.name)
    try:
        with path.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "the name is no file name"
        raise LensError(
            what=f"{name} cannot be read as a lens profile",
            why=why[:1].lower() + why[1:],
            next_step="check the name, or make a profile (petitpied lens)",
        ) from None
    return profile_from_text(data, name)


def own_profiles() -> tuple[tuple[LensProfile, ...], tuple[str, ...]]:
    """Profiles of the user's own folder, and a sentence for each that cannot be used."""
    try:
        paths = sorted(p for p in lenses_folder().iterdir() if p.suffix.lower() in SUFFIXES)
    except OSError:
        return (), ()
    profiles, faults = [], []
    for path in paths[:MOST_PROFILES]:
        try:
            profiles.append(read_profile(path))
        except LensError as error:
            faults.append(str(error))
    return tuple(profiles), tuple(faults)


def own_name(profile: LensProfile) -> str:
    """File name by camera, zoom and size: a new profile of a lens replaces the old one."""
    words = re.sub(r"[^a-z0-9]+", "-", (profile.camera or "camera").lower()).strip("-")[:60]
    zoom = f"_{profile.focal_35mm_mm:g}mm" if profile.focal_35mm_mm is not None else ""
    return f"{words or 'camera'}{zoom}_{profile.width_px}x{profile.height_px}.yml"


def with_lens(photo: Photo, settings: Settings) -> Photo:
    """The photo with what a profile says of its camera; profiles that are of another lens are
    passed over, unless the baker named one.

    Raises
    ------
    LensError
        The named profile is of another lens.
    """
    if settings.relative or not settings.profiles:
        return photo
    if not settings.profile_named:
        return replace(photo, lens=choose(settings.profiles, photo))
    guess = camera_guess(settings.profiles[0], photo, named=True)
    if isinstance(guess, str):
        raise LensError(
            what=f"the lens profile is of another lens than {printable(photo.name)}",
            why=printable(f"it is of {settings.profiles[0].title}, and {guess}"),
            next_step="leave --lens out, or make a profile for this lens and zoom (petitpied lens)",
        )
    return replace(photo, lens=guess)
