"""The one door for files from outside: opened once, regular files only, size bounded first.

Whoever reads a file that the program did not bring along reads it here. What a kind of file may
hold stands in `MOST_BYTES`; a pipe, a device or a folder is refused before a byte is read.
"""

import os
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import Enum
from pathlib import Path
from typing import BinaryIO


class Kind(Enum):
    """What is read, and how many bytes of it at most."""

    PHOTO = 420_000_000  # 50 megapixels of 16-bit colour with transparency, uncompressed
    RECORD = 16_000_000  # a tray of 600 shells has about 12 MB
    REVIEW = 2_000_000  # a tray of 200 shells takes 20 kB
    BAKERS_OWN = 200_000  # limits, recipe, letterhead, facts of a bake: one or two thousand bytes
    TABLE = 10_000_000  # facts of ten thousand bakes have about 1 MB
    STUDY = 1_000_000  # a study of a hundred photos has about 5 kB
    LENS = 100_000  # a lens profile has about 2 kB
    PICTURE = 5_000_000  # the picture of a letterhead
    ARCHIVE = 4_000_000_000  # twenty thousand bakes
    DATABASE = 16_000_000_000  # a history of fifty thousand bakes


class Refused(Exception):
    """The file is not let in; the text says why, to stand after a colon."""


def read_outside(path: Path, kind: Kind) -> bytes:
    """All bytes of a regular file that is no larger than its kind may be.

    Raises
    ------
    Refused
        If it is missing, no regular file, too large, or may not be read.
    """
    with open_outside(path, kind) as stream:
        try:
            data = stream.read(kind.value + 1)
        except OSError as error:
            raise _refused(error) from error
    if len(data) > kind.value:
        raise Refused(f"it grows while it is read, beyond {_size(kind.value)}")
    return data


@contextmanager
def open_outside(path: Path, kind: Kind) -> Iterator[BinaryIO]:
    """The same file as a stream, for what is too large for the memory.

    Raises
    ------
    Refused
        See `read_outside`; only while it is opened.
    """
    try:
        # not waiting for a writer at the other end of a pipe; a device is not started
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | _BINARY)
    except (OSError, ValueError) as error:
        raise _refused(error) from None
    try:
        _check(os.fstat(handle), kind)
    except Refused:
        os.close(handle)
        raise
    with os.fdopen(handle, "rb") as stream:
        yield stream


def seen_of(path: Path, kind: Kind, first: int | None = None) -> bytes | None:
    """All bytes of a file, or its ``first`` ones; None where it is not let in."""
    try:
        with open_outside(path, kind) as stream:
            return stream.read(kind.value if first is None else first)
    except (Refused, OSError):
        return None


def is_there(path: Path) -> bool:
    """Whether there is anything of this name; a name that none can have is not there."""
    return _answered(path.exists)


def is_folder(path: Path) -> bool:
    """Whether it is a folder, or a link to one."""
    return _answered(path.is_dir)


def _answered(ask: Callable[[], bool]) -> bool:
    try:
        return ask()
    except (OSError, ValueError):  # too long, no text, or behind a folder that is closed to us
        return False


_BINARY = getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)


def _check(seen: os.stat_result, kind: Kind) -> None:
    if stat.S_ISDIR(seen.st_mode):
        raise Refused("it is a folder")
    if not stat.S_ISREG(seen.st_mode):
        raise Refused("it is not a regular file")
    if seen.st_size > kind.value:
        raise Refused(f"it has {_size(seen.st_size)}, at most {_size(kind.value)}")


def _size(count: int) -> str:
    if count >= 10**9:
        return f"{count / 1e9:.1f} GB"
    if count < 10**6:
        return f"{count / 1e3:.0f} kB"
    return f"{count / 1e6:.1f} MB" if count < 10**7 else f"{count / 1e6:.0f} MB"


def _refused(error: OSError | ValueError) -> Refused:
    if isinstance(error, FileNotFoundError):
        return Refused("there is no such file")
    why = getattr(error, "strerror", None) or "the name is no file name"
    return Refused(why[:1].lower() + why[1:])
