"""What was given on the command line: photos, records of photos, and what is neither."""

import hashlib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from petitpied.domain.errors import PhotoError, ReadingError
from petitpied.files.output_files import safe_stem
from petitpied.files.outside_files import Kind, is_folder, is_there, seen_of
from petitpied.files.photo_files import SUFFIXES, is_own_picture, read_photo
from petitpied.files.records.lot_files import EVENING
from petitpied.text.wording import printable

HASH = re.compile(rb'"sha256":\s*"([0-9a-f]{64})"')
START_BYTES = 4000  # of a record: schema, version and photo stand there


@dataclass(frozen=True)
class TrayPhoto:
    """One photo of the evening: its file, its content's hash, the name of its results, and its
    record where it has been inspected before."""

    path: Path
    sha256: str
    stem: str
    record: Path | None = None


@dataclass(frozen=True)
class Gathered:
    """Photos in their order, each content once; what was passed over, in words; what cannot be
    read."""

    photos: tuple[TrayPhoto, ...]
    passed_over: tuple[str, ...] = ()
    faults: tuple[ReadingError, ...] = ()


def photos_in(given: Iterable[Path]) -> tuple[list[Path], list[str]]:
    """Photos among files and folders, by name within a folder; and words on what was passed over.

    A folder's other files are passed over silently; a file that was named (a glob catches all)
    with a word.
    """
    found: dict[Path, Path] = {}
    others: dict[str, int] = {}
    for path in given:
        if is_folder(path):
            inside = sorted(p for p in path.iterdir() if _is_photo(p) and p.is_file())
            if not inside:
                others[f"no photo in the folder {printable(str(path))}"] = 0
            for photo in inside:
                found.setdefault(photo.absolute(), photo)
        elif _is_photo(path) or not is_there(path):
            found.setdefault(path.absolute(), path)
        else:
            kind = _kind(path)
            others[kind] = others.get(kind, 0) + 1
    words = [f"{n} {kind} passed over" if n else kind for kind, n in others.items()]
    return list(found.values()), words


def _is_photo(path: Path) -> bool:
    if path.name.startswith(".") or is_own_picture(path):
        return False
    return path.suffix.lower() in SUFFIXES


def _kind(path: Path) -> str:
    return "of our own pictures" if is_own_picture(path) else "files that are no photo"


def gather(given: Sequence[Path], out: Path | None) -> Gathered:
    """The evening's photos; ``out``: where the results lie, or will."""
    paths, words = photos_in(given)
    known = records_by_photo(results_folder(paths, out)) if paths else {}
    taken = {path.name.removesuffix(".json").casefold() for path in known.values()}
    photos: dict[str, TrayPhoto] = {}
    faults: list[ReadingError] = []
    for path in paths:
        try:
            sha = hashlib.sha256(read_photo(path)).hexdigest()
        except PhotoError as fault:
            faults.append(fault)
            continue
        if sha in photos:
            first = photos[sha].path.name
            words.append(f"{printable(path.name)} is the same photo as {printable(first)}")
            continue
        record = known.get(sha)
        stem = record.name.removesuffix(".json") if record else free_stem(path.name, taken)
        taken.add(stem.casefold())
        photos[sha] = TrayPhoto(path, sha, stem, record)
    return Gathered(tuple(photos.values()), tuple(words), tuple(faults))


def results_folder(paths: Sequence[Path], out: Path | None) -> Path:
    """Where the evening's results go: ``out``, or a folder beside the first photo."""
    return paths[0].parent / EVENING if out is None else out


def free_stem(name: str, taken: set[str]) -> str:
    """A name for results that no other tray has, letter case apart."""
    first = stem = safe_stem(name)
    number = 1
    while stem.casefold() in taken:
        number += 1
        stem = f"{first}-{number}"
    return stem


def records_by_photo(folder: Path) -> dict[str, Path]:
    """Records in a folder by their photos' hashes."""
    found: dict[str, Path] = {}
    try:
        files = sorted(folder.glob("*.json"))
    except OSError:
        return found
    for file in files:
        if file.name.endswith((".coco.json", ".review.json")) or not file.is_file():
            continue
        start = seen_of(file, Kind.RECORD, START_BYTES) or b""
        photo = HASH.search(start)
        if b'"petitpied/inspection/' in start and photo:
            found.setdefault(photo[1].decode("ascii"), file)
    return found
