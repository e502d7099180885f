"""Is a picture file damaged? Decoders that take every warning for an error, and each container's
own checks; what they cannot tell, the picture may (`petitpied.photo.damage_seen`)."""

import io
import re
import warnings

import numpy as np
from numpy.typing import NDArray
from PIL import Image

Pixels = NDArray[np.uint8]

#: what libjpeg says on its warning channel, and what it means to a baker
JPEG_WARNINGS = (
    ("premature end", "a part of the picture is missing"),
    ("extraneous bytes", "there is more in it than the picture takes: a part was written over"),
    ("bad Huffman code", "the compressed picture holds codes that no encoder writes"),
    ("restart marker", "a part of the picture is missing or stands twice"),
    ("progression", "the passes of the picture do not follow each other"),
    ("quantization table", "the table of its compression is missing"),
    ("Huffman table", "the table of its codes is missing"),
)
#: TIFF compressions (TIFF 6.0, and Adobe's technical notes) whose decoder finds damage: none,
#: LZW, deflate by either number, PackBits
CHECKED_TIFF = (1, 5, 8, 32946, 32773)


class DamageError(ValueError):
    """The file is damaged; the message says in plain words what is."""


def strict_jpeg(data: bytes) -> Pixels:
    """BGR pixels (H, W, 3) of a JPEG as stored, decoded by libjpeg-turbo.

    The pixels are those of any decoder built on it; here whatever it only warns of is an error:
    it fills up what is missing, and that must not be measured.

    Raises
    ------
    DamageError
        Any warning or error of the decoder, with what it means.
    """
    return _strict(data, "BGR")


def check_jpeg_in_four_inks(data: bytes) -> None:
    """As `strict_jpeg`, for a CMYK picture that another decoder reads."""
    _strict(data, "CMYK")


def _strict(data: bytes, colours: str) -> Pixels:
    import simplejpeg

    try:
        try:
            return np.asarray(simplejpeg.decode_jpeg(data, colours, strict=True), np.uint8)
        except ValueError as error:
            if "extraneous" not in str(error) or (bare := _without_padding(data)) == data:
                raise
        return np.asarray(simplejpeg.decode_jpeg(bare, colours, strict=True), np.uint8)
    except (ValueError, RuntimeError, MemoryError) as error:
        raise DamageError(_plain(str(error))) from error


def _without_padding(data: bytes) -> bytes:
    """Some cameras fill up a file with zeros before its last marker, which is no damage; where
    zeros took the place of the picture, the decoder then misses it."""
    end = data.rfind(b"\xff\xd9")
    bare = data[: max(end, 0)].rstrip(b"\0")
    return bare + (b"\0" if bare.endswith(b"\xff") else b"") + data[end:] if end > 0 else data


def _plain(said: str) -> str:
    for words, meaning in JPEG_WARNINGS:
        if words.casefold() in said.casefold():
            return meaning
    told = re.sub(r"[^\w .,:()-]", " ", said).strip()[:80]
    return f"its decoder says: {told}" if told else "its decoder gives up"


def check_png(data: bytes) -> None:
    """Every chunk of a PNG against its checksum (ISO/IEC 15948, 5.3).

    Raises
    ------
    DamageError
        A checksum that does not fit.
    """
    try:
        with Image.open(io.BytesIO(data), formats=("PNG",)) as image:
            image.verify()
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise DamageError("it is cut short, or a checksum in it does not fit") from error


def check_tiff(data: bytes, size_px: tuple[int, int]) -> str | None:
    """Decode a TIFF by a second library that gives up on any fault, and compare the sizes.

    Parameters
    ----------
    size_px : tuple of int
        Width and height as the header was read before; already turned upright or not.

    Returns
    -------
    str or None
        A doubt where this kind of TIFF cannot be checked.

    Raises
    ------
    DamageError
        Strips that do not decode, or are longer or shorter than the picture.
    """
    import tifffile

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with tifffile.TiffFile(io.BytesIO(data)) as file:
                page = file.pages[0]
                _check_strips(page, size_px)
                if page.compression not in CHECKED_TIFF:
                    return "this TIFF's compression carries no check: damage may go unseen"
                if page.compression != 1:
                    page.asarray()
    except DamageError:
        raise
    except Exception as error:  # of the many that its codecs raise
        raise DamageError("a strip of the picture does not decode") from error
    return None


def _check_strips(page: object, size_px: tuple[int, int]) -> None:
    """Sizes as two readers see them, and of uncompressed strips their lengths."""
    height, width = page.imagelength, page.imagewidth  # type: ignore[attr-defined]
    if sorted((height, width)) != sorted(size_px):
        raise DamageError("its header tells two sizes")
    if page.compression != 1 or page.is_tiled:  # type: ignore[attr-defined]
        return
    bits = page.bitspersample * page.samplesperpixel  # type: ignore[attr-defined]
    if sum(page.databytecounts) != height * ((width * bits + 7) // 8):  # type: ignore[attr-defined]
        raise DamageError("its strips are longer or shorter than the picture")
