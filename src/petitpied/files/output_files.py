"""Result files: written aside, then renamed, so that none is ever half there."""

import os
import tempfile
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import IO

from petitpied.domain.errors import OutputError
from petitpied.text.wording import printable

#: file systems allow names of 255 bytes; the stem leaves room for our longest suffix
MAX_STEM_BYTES = 180


def prepare_folder(folder: Path) -> None:
    """Make the folder where it is missing and try whether a file can be written in it.

    Raises
    ------
    OutputError
        If either fails.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=folder, prefix=".petitpied-"):
            pass
    except (OSError, ValueError) as error:
        raise _failed(folder, error) from error


def write_all(contents: Mapping[Path, bytes]) -> None:
    """Write files that belong together: all of them aside first, then renamed into place.

    Raises
    ------
    OutputError
        If one cannot be written (folder, rights, full disk); then no file was changed, unless
        a rename itself failed.
    """
    aside: dict[Path, Path] = {}
    target = Path()
    try:
        for target, data in contents.items():
            aside[target] = _write_aside(target, data)
        for target, temporary in aside.items():
            temporary.replace(target)
    except OSError as error:
        raise _failed(target, error) from error
    finally:
        for temporary in aside.values():
            temporary.unlink(missing_ok=True)


def write_streamed(target: Path, write: Callable[[IO[bytes]], None]) -> None:
    """One file too large for the memory: ``write`` fills it aside, then it is renamed.

    Raises
    ------
    OutputError
        If it cannot be written; then no file was changed.
    """
    temporary: Path | None = None
    try:
        temporary = _write_aside(target, write)
        temporary.replace(target)
    except OSError as error:
        raise _failed(target, error) from error
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)


def write_new(target: Path, data: bytes) -> None:
    """Write a file that must not be there yet: a starter never replaces the baker's own.

    Raises
    ------
    OutputError
        If it is there, or cannot be written.
    """
    if target.exists():
        raise OutputError(
            what=f"{printable(str(target))} was not written",
            why="a file of this name is already there",
            next_step="rename it first, or name another file",
        )
    write_all({target: data})


def _write_aside(target: Path, data: bytes | Callable[[IO[bytes]], None]) -> Path:
    """A finished temporary file beside the target, flushed to the disk."""
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=".petitpied-", suffix=".part")
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            if isinstance(data, bytes):
                stream.write(data)
            else:
                data(stream)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.chmod(0o666 & ~_umask())
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    return temporary


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


def _failed(path: Path, error: Exception) -> OutputError:
    why = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return OutputError(
        what=f"{printable(str(path))} cannot be written",
        why=why[:1].lower() + why[1:],
        next_step="free some space or choose another folder with --out",
    )


def safe_stem(name: str) -> str:
    """Stem for result files: the file's own without control characters, never a path."""
    stem = Path(name.replace("\\", "/")).stem
    kept = "".join(c if c.isprintable() and c not in '<>:"|?*' else "_" for c in stem)
    while len(kept.encode()) > MAX_STEM_BYTES:
        kept = kept[:-1]
    return kept.strip(" .") or "photo"


def distinct_stems(photos: Iterable[tuple[Path, Path]]) -> tuple[str, ...]:
    """A stem for each (photo, result folder), no two alike in one folder (letter case apart).

    The second photo of a stem gets "-2" and so on.
    """
    taken: set[tuple[Path, str]] = set()
    stems = []
    for photo, folder in photos:
        first = stem = safe_stem(photo.name)
        number = 1
        while (folder, stem.casefold()) in taken:
            number += 1
            stem = f"{first}-{number}"
        taken.add((folder, stem.casefold()))
        stems.append(stem)
    return tuple(stems)
