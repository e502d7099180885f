"""A set of files put in place whole, whatever ends the program.

Between two renames a kill or a power cut would leave half a set. So a list of the renames lies
beside them first; who next works in the folder finishes what a dead process began. The list is
locked while its writer lives, and holds names of its own folder alone.
"""

import contextlib
import json
import os
import shutil
import tempfile
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

from petitpied.files.outside_files import Kind, Refused, read_outside

#: how our files are called until they are whole; such files of a killed run are swept later
PREFIX = ".petitpied-"
PART, OLD, LIST = ".part", ".old", ".set"
STALE_S = 86_400.0


def put_in_place(aside: Mapping[Path, Path]) -> None:
    """Rename finished files, target to temporary one beside it: all, or bring back what was there.

    Raises
    ------
    OSError
        If one cannot be renamed; then what was there is there again.
    """
    before: dict[Path, Path | None] = {}
    folders = {target.parent for target in aside}
    with contextlib.ExitStack() as declared:
        for folder in folders:
            mine = {t.name: temporary.name for t, temporary in aside.items() if t.parent == folder}
            if len(mine) > 1:
                declared.enter_context(_declared(folder, mine))
        try:
            for target, temporary in aside.items():
                before[target] = _kept(target)
                temporary.replace(target)
        except BaseException:
            for target, kept in before.items():
                if kept is None:
                    target.unlink(missing_ok=True)
                else:
                    kept.replace(target)
            raise
        finally:
            for kept in before.values():
                if kept is not None:
                    kept.unlink(missing_ok=True)
        for folder in folders:
            sync_folder(folder)


@contextlib.contextmanager
def _declared(folder: Path, names: Mapping[str, str]) -> Iterator[None]:
    """The list is on the disk within, and gone after."""
    handle, name = tempfile.mkstemp(dir=folder, prefix=PREFIX, suffix=LIST)
    try:
        with os.fdopen(handle, "wb") as stream:
            _lock(stream.fileno())
            stream.write(json.dumps({"renames": dict(names)}).encode())
            stream.flush()
            os.fsync(stream.fileno())
            sync_folder(folder)
            yield
    finally:
        Path(name).unlink(missing_ok=True)


def finish_sets(folder: Path) -> None:
    """Finish what a killed process began in this folder, and take away its leavings of a day ago.

    Raises
    ------
    OSError
        If the folder cannot be read, or a rename fails.
    """
    for left in sorted(folder.glob(f"{PREFIX}*")):
        with contextlib.suppress(FileNotFoundError):  # another process was quicker
            if left.suffix == LIST:
                _finish(left)
            elif left.suffix in (PART, OLD) and _is_stale(left):
                left.unlink()


def _finish(left: Path) -> None:
    handle = os.open(left, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    with os.fdopen(handle, "rb") as stream:
        if not _lock(stream.fileno()):
            return  # its writer is at work
        renames = _renames(left)
        for target, temporary in renames:
            if temporary.is_file() and not target.is_dir():
                temporary.replace(target)
        sync_folder(left.parent)
        if renames or _is_stale(left):  # an empty one may just have been begun
            left.unlink()


def _is_stale(left: Path) -> bool:
    return time.time() - left.stat().st_mtime > STALE_S


def _renames(left: Path) -> list[tuple[Path, Path]]:
    """What a list holds; nothing where it was not finished, or is none of ours."""
    try:
        names = json.loads(read_outside(left, Kind.BAKERS_OWN))["renames"].items()
        found = [(left.with_name(target), left.with_name(part)) for target, part in names]
    except (Refused, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return []
    ours = all(
        part.name.startswith(PREFIX) and part.suffix == PART and not target.name.startswith(".")
        for target, part in found
    )
    return found if ours else []


def _lock(handle: int) -> bool:
    """Whether the file is ours alone now; the system takes the lock back when a process dies."""
    try:
        import fcntl
    except ImportError:  # Windows: a list is left for a person to look at
        return False
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _kept(target: Path) -> Path | None:
    """A second name for the file that is there, None where there is none."""
    if not os.path.lexists(target):
        return None
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=PREFIX, suffix=OLD)
    os.close(handle)
    kept = Path(name)
    kept.unlink()
    try:
        os.link(target, kept, follow_symlinks=False)
    except (OSError, NotImplementedError):  # a file system without links: USB sticks
        shutil.copy2(target, kept, follow_symlinks=False)
    return kept


def sync_folder(folder: Path) -> None:
    """The new names reach the disk too, where the system can be told so."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
