"""The baker's letterhead (TOML): name, lines, picture, foot; read with every check."""

import io
import warnings
from pathlib import Path

from petitpied.domain.own_file import OwnFile
from petitpied.files.own.own_file import read_own_file
from petitpied.report.blocks import Letterhead, Picture
from petitpied.text.wording import printable

KEYS = ("name", "lines", "picture", "picture_alt", "foot")
MAX_LINES = 8
MAX_LETTERS = 200
MAX_PICTURE_BYTES = 5_000_000
MAX_PICTURE_PIXELS = 25_000_000
#: the picture is shown up to 6 rem high; twice that for sharp screens
PICTURE_BOX_PX = (560, 240)


def read_letterhead(path: Path) -> Letterhead:
    """The letterhead in a file; its picture is a file name in the same folder.

    Raises
    ------
    OwnFileError
        If the file or its picture cannot be used: one sentence, with the line.
    """
    file = read_own_file(path, "letterhead")
    content = file.only(file.content, (), KEYS)
    lines = content.get("lines", [])
    if not isinstance(lines, list) or len(lines) > MAX_LINES:
        why = f"lines must be a list of at most {MAX_LINES} texts"
        raise file.fault(("lines",), why, 'lines = ["...", "..."]')
    name, foot, alt = (
        file.words(content.get(key, ""), (key,), MAX_LETTERS)
        for key in ("name", "foot", "picture_alt")
    )
    return Letterhead(
        name=name,
        lines=tuple(file.words(line, ("lines",), MAX_LETTERS) for line in lines),
        picture=_picture(path.parent, file, alt or name or "Letterhead"),
        foot=foot,
    )


def _picture(folder: Path, file: OwnFile, alt: str) -> Picture | None:
    given = file.content.get("picture")
    if given is None:
        return None
    if not isinstance(given, str) or not given or Path(given).name != given or "\\" in given:
        why = "picture must be the name of a file beside the letterhead, without a folder"
        raise file.fault(("picture",), why, 'picture = "NAME.png"')
    try:
        return _decoded(_bytes(folder / given), alt)
    except (OSError, ValueError, SyntaxError, MemoryError) as error:
        said = getattr(error, "strerror", None) or str(error) or type(error).__name__
        why = f"its picture {printable(given)[:60]} cannot be used: {said}"
        raise file.fault(("picture",), why, "a PNG or JPEG of at most 5 MB") from None


def _bytes(path: Path) -> bytes:
    if not path.is_file():
        raise ValueError("there is no such file")
    size = path.stat().st_size
    if size > MAX_PICTURE_BYTES:
        raise ValueError(f"it has {size / 1e6:.0f} MB, at most {MAX_PICTURE_BYTES // 10**6}")
    return path.read_bytes()


def _decoded(data: bytes, alt: str) -> Picture:
    """Bounded before decoding; made small; written anew, so that no header fact stays."""
    from PIL import Image, ImageOps

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of size, which is checked here
        with Image.open(io.BytesIO(data), formats=("PNG", "JPEG", "WEBP")) as image:
            if image.width * image.height > MAX_PICTURE_PIXELS:
                megapixels = MAX_PICTURE_PIXELS // 10**6
                raise ValueError(f"it has more than {megapixels} megapixels")
            small = ImageOps.exif_transpose(image).convert("RGBA")
    small.thumbnail(PICTURE_BOX_PX)
    ground = Image.new("RGB", small.size, (255, 255, 255))
    ground.paste(small, mask=small.getchannel("A"))
    stream = io.BytesIO()
    ground.save(stream, "PNG")
    return Picture(stream.getvalue(), "png", ground.width, ground.height, alt, "")
