"""Colour profiles inside photos (phones write Display P3): conversion to sRGB."""

import io

from PIL import Image, ImageCms

#: far above the profiles that cameras and phones write (0.5 to 3 kB); printers' reach 2 MB
MAX_PROFILE_BYTES = 4_000_000

UNREAD = ("colour profile of the photo could not be read; colours taken as sRGB",)


def is_srgb(profile: bytes) -> bool:
    """Whether an ICC profile names itself sRGB (description text, ASCII or UTF-16)."""
    head = profile[:4096]
    return b"sRGB" in head or "sRGB".encode("utf-16-be") in head


def to_srgb(image: Image.Image, profile: bytes) -> tuple[Image.Image, tuple[str, ...]]:
    """Picture in the colours of ``profile`` (ICC) to sRGB, relative colorimetric.

    A profile that cannot be read or is of another kind (a grey one on a colour picture) gives
    the picture's own conversion to RGB and a note.
    """
    if len(profile) > MAX_PROFILE_BYTES:
        return image.convert("RGB"), UNREAD
    try:
        converted = ImageCms.profileToProfile(
            image,
            ImageCms.ImageCmsProfile(io.BytesIO(profile)),
            ImageCms.createProfile("sRGB"),
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            outputMode="RGB",
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        return image.convert("RGB"), UNREAD
    return (image.convert("RGB"), UNREAD) if converted is None else (converted, ())
