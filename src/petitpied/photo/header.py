"""The few facts that we keep of a photo's header; never a location, never a serial number."""

import struct
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from PIL import Image

# EXIF 2.32 tags
MAKE, MODEL, ORIENTATION, CHANGED_AT, EXIF_BLOCK = 0x010F, 0x0110, 0x0112, 0x0132, 0x8769
TAKEN_AT, FOCAL_35MM = 0x9003, 0xA405
FOCAL, DIGITAL_ZOOM = 0x920A, 0xA404

#: a JPEG holds 64 kB of EXIF in one segment; phones write some more with maker notes
MAX_EXIF_BYTES = 4_000_000

#: outside of these it is no photographic lens: 35-mm-equivalent and own focal length, mm; zoom
FOCALS_35MM_MM, FOCALS_MM, ZOOMS = (5.0, 2000.0), (0.5, 2000.0), (1.0, 200.0)

#: what Pillow's EXIF reader raises on a damaged block
DAMAGED = (OSError, ValueError, SyntaxError, TypeError, KeyError, IndexError, AttributeError,
           ArithmeticError, struct.error)  # fmt: skip


@dataclass(frozen=True, slots=True)
class HeaderFacts:
    """See `petitpied.domain.photo.Photo`; ``orientation`` 1 to 8, 1 where none is given."""

    orientation: int = 1
    taken_at: str | None = None
    camera: str | None = None
    focal_35mm_mm: float | None = None
    warnings: tuple[str, ...] = ()
    focal_mm: float | None = None
    digital_zoom: float | None = None


def header_facts(image: Image.Image) -> HeaderFacts:
    """Facts of an opened picture; a damaged or oversized EXIF block gives a warning instead."""
    block = image.info.get("exif") or b""
    if len(block) > MAX_EXIF_BYTES:
        return HeaderFacts(warnings=(_ignored(f"{len(block) / 1e6:.0f} MB large"),))
    try:
        exif = image.getexif()
        inner = exif.get_ifd(EXIF_BLOCK)
        orientation = exif.get(ORIENTATION, 1)
        return HeaderFacts(
            orientation if isinstance(orientation, int) and 1 <= orientation <= 8 else 1,
            _time(inner.get(TAKEN_AT) or exif.get(CHANGED_AT)),
            _camera(exif.get(MAKE), exif.get(MODEL)),
            _within(inner.get(FOCAL_35MM), FOCALS_35MM_MM),
            focal_mm=_within(inner.get(FOCAL), FOCALS_MM),
            digital_zoom=_within(inner.get(DIGITAL_ZOOM), ZOOMS),
        )
    except DAMAGED:
        return HeaderFacts(warnings=(_ignored("damaged"),))


def _ignored(why: str) -> str:
    return f"EXIF data of the photo is {why} and was ignored (orientation, lens, time)"


def _text(value: Any) -> str:
    """Printable text of an EXIF field, at most 60 characters."""
    text = value.decode("ascii", "replace") if isinstance(value, bytes) else str(value or "")
    return "".join(c for c in text if c.isprintable()).strip()[:60]


def _time(value: Any) -> str | None:
    try:
        return datetime.strptime(_text(value), "%Y:%m:%d %H:%M:%S").isoformat()
    except ValueError:
        return None


def _camera(make: Any, model: Any) -> str | None:
    maker, name = _text(make), _text(model)
    if name.casefold().startswith(maker.casefold()):
        maker = ""
    return f"{maker} {name}".strip() or None


def _within(value: Any, bounds: tuple[float, float]) -> float | None:
    """A number of the header, None where it is missing or out of bounds; a focal length of 0
    means unknown, a zoom of 0 that none was used (EXIF 2.32)."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if bounds[0] <= number <= bounds[1] else None


def jpeg_is_cut_short(data: bytes) -> bool:
    """Whether no end-of-image marker follows the first scan of a JPEG (ITU-T T.81, B.1.1).

    The thumbnail's own marker lies in a segment before the scan and does not count. Decoders
    fill up the missing part with grey, which must not be measured.
    """
    at = 2
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            return True
        marker = data[at + 1]
        if marker == 0xFF:  # fill byte
            at += 1
        elif marker == 0xDA:  # start of scan
            return data.rfind(b"\xff\xd9", at) < 0  # from the end, where it mostly is
        else:
            at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return True
