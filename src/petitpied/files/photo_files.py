"""Photo files on disk: collected from folders, read with a bound on their size."""

import re
from collections.abc import Iterable
from pathlib import Path

from petitpied.domain.errors import PhotoError
from petitpied.files.outside_files import Kind, Refused, is_folder, read_outside
from petitpied.files.shown_paths import shown_path

SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif"})
#: our own annotated pictures and contact sheets, never taken as photos of a folder
MARKED_SUFFIX, SHEET_SUFFIX = ".marked.jpg", ".sheet.jpg"
PICTURE_SUFFIXES = (MARKED_SUFFIX, SHEET_SUFFIX)
#: and those that sorting, pairing and boxing write
OWN_PICTURES = (*PICTURE_SUFFIXES, ".sorted.jpg", ".pairs.jpg")
OWN_NUMBERED = re.compile(r"(box|pairs)_\d+\.jpg")


def collect(paths: Iterable[Path]) -> tuple[Path, ...]:
    """Photos in the order given; a folder stands for the photos in it, by name.

    Sub-folders, hidden files and our own pictures are passed over; a file named
    twice is taken once. A folder without photos stays in the list: reading it says so.
    """
    found: dict[Path, Path] = {}
    for path in paths:
        for photo in _photos_of(path) or (path,):
            found.setdefault(photo.absolute(), photo)
    return tuple(found.values())


def _photos_of(folder: Path) -> tuple[Path, ...]:
    try:
        names = sorted(folder.iterdir()) if is_folder(folder) else []
    except OSError:
        return ()
    return tuple(p for p in names if _looks_like_a_photo(p) and p.is_file())


def is_own_picture(path: Path) -> bool:
    """Whether the name is one of those that our pictures have."""
    name = path.name.lower()
    return name.endswith(OWN_PICTURES) or OWN_NUMBERED.fullmatch(name) is not None


def _looks_like_a_photo(path: Path) -> bool:
    if path.name.startswith(".") or is_own_picture(path):
        return False
    return path.suffix.lower() in SUFFIXES


def read_photo(path: Path) -> bytes:
    """All bytes of a photo's file.

    Raises
    ------
    PhotoError
        If it is missing, a folder, no regular file, too large, or may not be read.
    """
    try:
        return read_outside(path, Kind.PHOTO)
    except Refused as refused:
        why = str(refused)
        if is_folder(path):
            why += " without a photo (JPEG, PNG, WebP, TIFF, HEIC)"
        raise _unreadable(path, why) from None


def _unreadable(path: Path, why: str) -> PhotoError:
    next_step = "check the name and that the file opens in a picture viewer"
    return PhotoError(what=f"{shown_path(path)} cannot be read", why=why, next_step=next_step)
