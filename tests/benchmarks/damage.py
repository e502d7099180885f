"""Damaged files: how many are refused, measured with a word, or measured wrongly without one.

Flipped bits, changed bytes, sectors of 512 bytes zeroed or written over with another one, bytes
lost; anywhere in the file, and as often in its first part, where the header is. A file is wrong
if a shell's diameter differs by more than its ± from what the sound file gives.
"""

import argparse
import io
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from petitpied.domain.errors import ReadingError
from petitpied.domain.record import Record
from petitpied.domain.settings import Settings
from petitpied.inspection.one_photo import inspect_photo
from petitpied.photo.decode import decode_photo

#: long side of the copies that are damaged, px: small enough for thousands of inspections
COPY_PX = 1600
#: how the copies are written; JPEG is what phones write, so it comes most often
KINDS = (
    *(("JPEG", {"quality": 90}),) * 5,
    ("JPEG", {"quality": 90, "progressive": True}),
    ("TIFF", {"compression": "tiff_lzw"}),
    ("TIFF", {}),
    ("WEBP", {"quality": 90}),
    ("HEIF", {"quality": 85}),
    ("PNG", {}),
)  # fmt: skip
SECTOR = 512
Floats = NDArray[np.float64]


def mutated(data: bytes, rng: np.random.Generator) -> bytes:
    """The file with one fault of a storage card or a transfer."""
    there = bytearray(data)
    first = len(there) if rng.random() < 0.5 else min(len(there), 1500)
    at, kind = int(rng.integers(first)), rng.integers(5)
    if kind == 0:
        there[at] ^= 1 << int(rng.integers(8))
    elif kind == 1:
        there[at] = int(rng.integers(256))
    elif kind == 2:
        there[at : at + SECTOR] = bytes(len(there[at : at + SECTOR]))
    elif kind == 3:
        start, other = (at // SECTOR * SECTOR, int(rng.integers(len(there))) // SECTOR * SECTOR)
        sector = there[start : start + SECTOR]
        there[other : other + len(sector)] = sector
        del there[len(data) :]
    else:
        del there[at : at + int(rng.integers(1, 40))]
    return bytes(there)


def copies(picture: Path) -> list[tuple[str, bytes]]:
    """Name of the kind and a small copy's bytes, one of each of `KINDS`, with the photo's EXIF."""
    import pillow_heif

    pillow_heif.register_heif_opener()
    with Image.open(picture) as image:
        exif = image.getexif()
        exif.pop(0x0112, None)
        small = image.convert("RGB")
        small.thumbnail((COPY_PX, COPY_PX), Image.Resampling.BOX)
    files = []
    for kind, options in KINDS:
        stream = io.BytesIO()
        # Pillow's TIFF writer knows no block within EXIF
        told = {} if kind == "TIFF" else {"exif": exif.tobytes()}
        small.save(stream, kind, **told, **options)
        files.append((kind, stream.getvalue()))
    return files


@dataclass(frozen=True)
class Sound:
    """What the sound file gives: centres (N, 2) px, diameters (N,) mm, and its warnings."""

    centres_px: Floats
    diameters_mm: Floats
    warnings: frozenset[str]

    @staticmethod
    def of(record: Record) -> "Sound":
        """Of a record."""
        known = [s for s in record.shells if s.diameter_mm is not None]
        return Sound(
            np.array([s.centre_px for s in known]),
            np.array([s.diameter_mm.value for s in known if s.diameter_mm]),
            frozenset(record.warnings),
        )

    def fault(self, record: Record) -> str | None:
        """How the record of the damaged file differs beyond its stated doubt."""
        known = [s for s in record.shells if s.diameter_mm is not None]
        worst = 0.0
        for shell in known:
            assert shell.diameter_mm is not None
            away = np.hypot(*(self.centres_px - shell.centre_px).T)
            if away.min() < 20:
                off = shell.diameter_mm.value - self.diameters_mm[int(away.argmin())]
                worst = max(worst, abs(off) / shell.diameter_mm.u95)
        if worst > 1:
            return f"a diameter off by {worst:.1f} times its ±"
        lost = len(self.diameters_mm) - len(known)
        return f"{lost} shells fewer" if lost > 1 else None


def outcome(data: bytes, sound: Sound) -> str:
    """ "refused", "right", "a word", or what is wrong without one."""
    try:
        record = inspect_photo(decode_photo(data, "damaged"), Settings())
    except ReadingError:
        return "refused"
    fault = sound.fault(record)
    if fault is None:
        return "right"
    return "a word" if set(record.warnings) - sound.warnings else fault


def run(picture: Path, count: int, seed: int) -> tuple[Counter[tuple[str, str]], list[str]]:
    """Counts by kind and outcome of ``count`` mutations, and the silent faults in words."""
    files = copies(picture)
    sounds = {}
    counts: Counter[tuple[str, str]] = Counter()
    silent = []
    for number in range(count):
        index = number % len(files)
        kind, data = files[index]
        if index not in sounds:
            sounds[index] = Sound.of(inspect_photo(decode_photo(data, "sound"), Settings()))
        told = outcome(mutated(data, np.random.default_rng((seed, number))), sounds[index])
        if told not in ("refused", "right", "a word"):
            silent.append(f"{kind}, mutation {number}: {told}")
            told = "wrong without a word"
        counts[kind, told] += 1
    return counts, silent


def damage_lines(pictures: list[Path], count: int) -> Iterator[str]:
    """A table of outcomes, ``count`` mutations in all."""
    counts: Counter[tuple[str, str]] = Counter()
    silent: list[str] = []
    for seed, picture in enumerate(pictures):
        more, words = run(picture, count // len(pictures), seed)
        counts.update(more)
        silent += [f"{picture.stem}: {w}" for w in words]
    told = ("refused", "right", "a word", "wrong without a word")
    yield "| kind | " + " | ".join(told) + " |"
    yield "|---|" + "---|" * len(told)
    for kind in dict.fromkeys(kind for kind, _ in KINDS):
        yield f"| {kind} | " + " | ".join(str(counts[kind, t]) for t in told) + " |"
    yield from silent


def main() -> None:
    """Print the table for some pictures."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("pictures", type=Path, nargs="+")
    parser.add_argument("--count", type=int, default=2000, help="mutations in all")
    options = parser.parse_args()
    for line in damage_lines(options.pictures, options.count):
        print(line, flush=True)


if __name__ == "__main__":
    main()
