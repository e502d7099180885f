"""Result files: written aside, then renamed, so that none is ever half there."""

import os
import stat
import tempfile
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import IO

from petitpied.domain.errors import OutputError
from petitpied.files.outside_files import Kind, Refused, read_outside
from petitpied.files.shown_paths import shown_path
from petitpied.files.whole_sets import PART, PREFIX, finish_sets, put_in_place

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
        with tempfile.NamedTemporaryFile(dir=folder, prefix=PREFIX):
            pass
        finish_sets(folder)
    except (OSError, ValueError) as error:
        raise _failed(folder, error) from error


def write_all(contents: Mapping[Path, bytes], *, replace: bool = False) -> None:
    """Write result files that belong together, all of them or none.

    The one rule of all results: a file that is there already stays as it is, unless it holds the
    very same bytes or the baker said to ``replace`` it. All are written aside first, then
    renamed; if a rename fails or the program is stopped between two, the old files come back.

    Raises
    ------
    OutputError
        If a name is taken, or one cannot be written (folder, rights, full disk); then no file
        was changed.
    """
    wanted = {target: data for target, data in contents.items() if not _holds(target, data)}
    for target in wanted:
        _check_free(target, replace=replace)
    _write_set(wanted)


def write_own(contents: Mapping[Path, bytes]) -> None:
    """What the program itself remembers in files of its own: the newer one takes the place.

    Raises
    ------
    OutputError
        See `write_all`.
    """
    for target in contents:
        _check_free(target, replace=True)
    _write_set(contents)


def _holds(target: Path, data: bytes) -> bool:
    """Whether the file is there with this content."""
    try:
        if target.stat().st_size != len(data):
            return False
        return read_outside(target, Kind.ARCHIVE) == data
    except (OSError, ValueError, Refused):
        return False


def _check_free(target: Path, *, replace: bool) -> None:
    try:
        seen = target.lstat()
    except FileNotFoundError:
        return
    except (OSError, ValueError) as error:
        raise _failed(target, error) from error
    what = f"{shown_path(target)} was not written"
    if not (stat.S_ISREG(seen.st_mode) or stat.S_ISLNK(seen.st_mode)):
        kind = "a folder" if stat.S_ISDIR(seen.st_mode) else "something that is no file"
        next_step = "move it away, or choose another folder with --out"
        raise OutputError(what=what, why=f"{kind} of this name is there", next_step=next_step)
    if not replace:
        raise OutputError(
            what=what,
            why="a file of this name is already there",
            next_step="choose another place with --out, or say --replace to write over it",
        )


def _write_set(contents: Mapping[Path, bytes]) -> None:
    aside: dict[Path, Path] = {}
    target = Path()
    try:
        for target, data in contents.items():
            aside[target] = _write_aside(target, data)
        put_in_place(aside)
    except OSError as error:
        raise _failed(target, error) from error
    finally:
        for temporary in aside.values():
            temporary.unlink(missing_ok=True)


def write_streamed(
    target: Path,
    write: Callable[[IO[bytes]], None],
    verify: Callable[[Path], None],
    *,
    replace: bool = False,
) -> None:
    """One file too large for the memory: ``write`` fills it aside, ``verify`` reads it once more
    from there, then it is renamed. The rule is that of `write_all`.

    Raises
    ------
    OutputError
        See `write_all`; what ``verify`` raises goes through. No file was changed then.
    """
    _check_free(target, replace=replace)
    temporary: Path | None = None
    try:
        temporary = _write_aside(target, write)
        verify(temporary)
        put_in_place({target: temporary})
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
    if os.path.lexists(target):
        raise OutputError(
            what=f"{shown_path(target)} was not written",
            why="a file of this name is already there",
            next_step="rename it first, or name another file",
        )
    write_all({target: data})


def _write_aside(target: Path, data: bytes | Callable[[IO[bytes]], None]) -> Path:
    """A finished temporary file beside the target, flushed to the disk."""
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=PREFIX, suffix=PART)
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
        what=f"{shown_path(path)} cannot be written",
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
