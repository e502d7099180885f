"""Bytes of a picture file to an upright 8-bit sRGB `Photo`; sizes bounded before decoding.

An ordinary JPEG is decoded by OpenCV; everything else by Pillow, whose header readers also
give the size, the colour profile and the EXIF facts without decoding a pixel.
"""

import hashlib
import io
import struct
import warnings
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from petitpied.domain.errors import PhotoError
from petitpied.domain.photo import Photo
from petitpied.photo.colour_profile import is_srgb, to_srgb
from petitpied.photo.header import HeaderFacts, header_facts, jpeg_is_cut_short

Pixels = NDArray[np.uint8]

#: Pillow's names of the kinds we read; its JPEG reader may answer "MPO", a JPEG with more behind it
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF")

#: phones sold as "50 megapixels" give up to 8192 x 6144 = 50.3 million; beyond, the memory for
#: one photo (bytes per pixel times copies) is no longer bounded by 700 MB
MAX_PIXELS = 51_000_000
#: from here on we promise the stated accuracy (issue 2: 2 to 50 megapixels)
GOOD_PIXELS = 2_000_000
#: below, a tray of 36 shells has fewer than 40 px across a shell: nothing to measure
MIN_PIXELS = 100_000

#: what Pillow's readers raise on a broken file
BROKEN = (OSError, ValueError, SyntaxError, EOFError, struct.error, TypeError, IndexError, KeyError)

_RETAKE = "give the photo as the camera wrote it, or take it again"


def decode_photo(data: bytes, name: str) -> Photo:
    """Decode a JPEG, PNG, WebP, TIFF or HEIC file.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        File name, for messages and the record; any folder is dropped.

    Returns
    -------
    Photo
        ``pixels_bgr`` upright (EXIF orientation 1 to 8 applied), 8 bit, sRGB; 16-bit values are
        scaled, transparency is laid on white, a colour profile is converted. Doubts of the file
        stand in ``warnings``.

    Raises
    ------
    PhotoError
        If it is no picture of these kinds, is broken or cut short, or has fewer than
        `MIN_PIXELS` or more than `MAX_PIXELS` (told from the header, before decoding).
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of Pillow: what matters becomes an error or a note here
        return _decode(data, clean_name(name))


def _decode(data: bytes, name: str) -> Photo:
    image = _open(data, name)
    _check_size(image, name)
    if image.format in ("JPEG", "MPO") and jpeg_is_cut_short(data):
        raise _broken(name, "the file ends before the picture does")
    notes = _file_warnings(image)
    facts = header_facts(image)  # before decoding: some readers drop EXIF when they turn
    pixels, more_notes = _pixels(image, data, name)
    return Photo(
        name=name,
        sha256=hashlib.sha256(data).hexdigest(),
        pixels_bgr=upright(pixels, _orientation_left(image, facts)),
        taken_at=facts.taken_at,
        camera=facts.camera,
        focal_35mm_mm=facts.focal_35mm_mm,
        warnings=(*notes, *facts.warnings, *more_notes),
        focal_mm=facts.focal_mm,
        digital_zoom=facts.digital_zoom,
        orientation=_orientation_applied(image, facts),
    )


def clean_name(name: str) -> str:
    """Last part of a path, control and direction characters replaced, at most 200 long."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c if c.isprintable() else "_" for c in last)[:200] or "photo"


def upright(pixels: Pixels, orientation: int) -> Pixels:
    """Apply EXIF orientation (1 to 8, EXIF 2.32 tag 0x0112) to pixels (H, W, 3), whose memory is
    used again where it may be: fresh memory for 12 megapixels takes as long as the turning."""
    turned: Any = pixels
    if orientation in (5, 6, 7, 8):  # rows and columns change places
        turned = cv2.transpose(turned)
    # both, rows, columns turned round: OpenCV's codes
    code = {3: -1, 7: -1, 4: 0, 8: 0, 2: 1, 6: 1}.get(orientation)
    if code is not None:
        turned = cv2.flip(turned, code, turned if turned.flags.writeable else None)
    return np.ascontiguousarray(turned)


def _broken(name: str, why: str) -> PhotoError:
    return PhotoError(what=f"{name} cannot be read", why=why, next_step=_RETAKE)


def _open(data: bytes, name: str) -> Image.Image:
    """Read the header only."""
    if not data:
        raise _broken(name, "the file is empty")
    stream = io.BytesIO(data)
    try:
        if data[4:8] == b"ftyp":
            return _open_heif(stream)
        return Image.open(stream, formats=FORMATS)
    except Image.DecompressionBombError:
        raise _too_large(name, "its header announces hundreds of millions of pixels") from None
    except UnidentifiedImageError:
        why = "it is not a JPEG, PNG, WebP, TIFF or HEIC picture"
        raise _broken(name, why) from None
    except BROKEN as error:
        raise _broken(name, f"its header is damaged ({type(error).__name__})") from error


def _open_heif(stream: io.BytesIO) -> Image.Image:
    """HEIC as phones write it; the reader turns the picture itself, by the container's own
    entries, which stand above EXIF (ISO/IEC 23008-12)."""
    from pillow_heif.as_plugin import HeifImageFile

    reader: Any = HeifImageFile
    image: Image.Image = reader(stream)
    return image


def _too_large(name: str, why: str) -> PhotoError:
    next_step = "save it with at most 50 megapixels"
    return PhotoError(what=f"{name} is too large", why=why, next_step=next_step)


def _check_size(image: Image.Image, name: str) -> None:
    width, height = image.size
    pixels = width * height
    found = f"it has {width} x {height} = {pixels / 1e6:.2f} megapixels"
    if pixels > MAX_PIXELS:
        raise _too_large(name, f"{found}, at most 50 are read")
    if pixels < MIN_PIXELS:
        raise PhotoError(
            what=f"{name} is too small",
            why=f"{found}, at least 0.1 is needed and 2 or more is good",
            next_step="use the photo in the camera's full size",
        )


def _file_warnings(image: Image.Image) -> tuple[str, ...]:
    notes = []
    pixels = image.size[0] * image.size[1]
    if pixels < GOOD_PIXELS:
        notes.append(f"photo of only {pixels / 1e6:.1f} megapixels; 2 or more are better")
    frames = getattr(image, "n_frames", 1)
    if frames > 1 and image.format not in ("MPO", "HEIF"):  # these keep the photo in front
        notes.append(f"file holds {frames} pictures; only the first is used")
    return tuple(notes)


def _orientation_left(image: Image.Image, facts: HeaderFacts) -> int:
    """Orientation still to be applied: the HEIC and TIFF readers have turned already."""
    return 1 if image.format in ("HEIF", "TIFF") else facts.orientation


def _orientation_applied(image: Image.Image, facts: HeaderFacts) -> int:
    """How the pixels as stored were turned: by us, or by the HEIC reader, which notes it."""
    noted = image.info.get("original_orientation")
    return noted if isinstance(noted, int) and 1 <= noted <= 8 else facts.orientation


def _pixels(image: Image.Image, data: bytes, name: str) -> tuple[Pixels, tuple[str, ...]]:
    """BGR pixels (H, W, 3) as stored, in sRGB, and notes."""
    profile: bytes = image.info.get("icc_profile") or b""
    plain = not profile or is_srgb(profile)
    try:
        if image.format in ("JPEG", "MPO") and image.mode in ("L", "RGB"):
            pixels = _jpeg(data, name)
            return (pixels, ()) if plain else _with_profile(pixels, profile)
        image.load()
    except BROKEN as error:
        why = f"the picture inside is damaged or cut short ({type(error).__name__})"
        raise _broken(name, why) from error
    if image.mode == "CMYK" and not plain:
        rgb, notes = to_srgb(image, profile)
        return _bgr(rgb), notes
    pixels = _bgr(_eight_bit(image, name))
    return (pixels, ()) if plain else _with_profile(pixels, profile)


def _jpeg(data: bytes, name: str) -> Pixels:
    flags = cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION
    decoded: Any = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if decoded is None:
        raise _broken(name, "the picture inside is damaged or cut short")
    return np.asarray(decoded, np.uint8)


def _with_profile(pixels: Pixels, profile: bytes) -> tuple[Pixels, tuple[str, ...]]:
    rgb = Image.fromarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2RGB))
    converted, notes = to_srgb(rgb, profile)
    return _bgr(converted), notes


def _eight_bit(image: Image.Image, name: str) -> Image.Image:
    """Any mode of Pillow to "RGB": 16 bit scaled to 8, transparency over white."""
    if image.mode.startswith("I;16") or image.mode == "I":
        values = np.asarray(image).astype(np.int64)
        return Image.fromarray(((values.clip(0, 65535) + 128) // 257).astype(np.uint8))
    if image.mode == "F":
        raise _broken(name, "it holds floating-point values, not a photo of 8 or 16 bit")
    if image.mode in ("RGBA", "LA", "PA", "La", "RGBa") or "transparency" in image.info:
        image = image.convert("RGBA")
        white = Image.new("RGBA", image.size, "white")
        return Image.alpha_composite(white, image)
    return image


def _bgr(image: Image.Image) -> Pixels:
    rgb = np.asarray(image if image.mode == "RGB" else image.convert("RGB"))
    return np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), np.uint8)
