"""Photo files on disk: collected from folders, read with a bound on their size."""

from collections.abc import Iterable
from pathlib import Path

from petitpied.domain.errors import PhotoError
from petitpied.text.wording import printable

SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif"})
#: our own annotated pictures and contact sheets, never taken as photos of a folder
MARKED_SUFFIX, SHEET_SUFFIX = ".marked.jpg", ".sheet.jpg"
PICTURE_SUFFIXES = (MARKED_SUFFIX, SHEET_SUFFIX)

#: 50 megapixels of 16-bit colour with transparency, uncompressed, are 400 MB
MAX_BYTES = 420_000_000


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
        names = sorted(folder.iterdir()) if folder.is_dir() else []
    except OSError:
        return ()
    return tuple(p for p in names if _looks_like_a_photo(p) and p.is_file())


def _looks_like_a_photo(path: Path) -> bool:
    name = path.name.lower()
    if name.startswith(".") or name.endswith(PICTURE_SUFFIXES):
        return False
    return path.suffix.lower() in SUFFIXES


def read_photo(path: Path) -> bytes:
    """All bytes of a regular file of at most `MAX_BYTES`.

    Raises
    ------
    PhotoError
        If it is missing, a folder, no regular file, too large, or may not be read.
    """
    try:
        if path.is_dir():
            raise _unreadable(path, "it is a folder without a photo (JPEG, PNG, WebP, TIFF, HEIC)")
        if path.exists() and not path.is_file():
            raise _unreadable(path, "it is not a regular file")
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise _unreadable(path, f"it has {size / 1e6:.0f} MB, at most {MAX_BYTES // 10**6}")
        return path.read_bytes()
    except FileNotFoundError:
        raise _unreadable(path, "there is no such file") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "the name is no file name"
        raise _unreadable(path, why[:1].lower() + why[1:]) from error


def _unreadable(path: Path, why: str) -> PhotoError:
    next_step = "check the name and that the file opens in a picture viewer"
    return PhotoError(what=f"{printable(str(path))} cannot be read", why=why, next_step=next_step)
