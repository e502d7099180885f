"""Attacks by photos: every format that is read, at 1 to 12 megapixels, bytes and headers changed.

``photos`` are decoded only, which is where a file is taken apart; ``inspections`` go through the
whole command, so that pixels that decoded into nonsense are measured too.
"""

import io
import struct
import tempfile
from functools import cache, lru_cache
from pathlib import Path

import numpy as np
from PIL import Image

from petitpied.domain.errors import ExitCode, PhotoError
from petitpied.files.records.record_files import read_record
from petitpied.photo.decode import decode_photo
from tests.fuzz.mutate import changed_bytes

SAMPLES = sorted((Path(__file__).parents[2] / "sample_images").glob("*.jpg"))
MOST_SECONDS = {"photos": 20.0, "inspections": 20.0}
MEGAPIXELS = (1, 1, 1, 2, 2, 4, 8, 12)
RESULTS = (".json", ".csv", ".coco.json", ".marked.jpg")
FORMATS = {
    "jpeg": {"format": "JPEG", "quality": 88},
    "progressive": {"format": "JPEG", "quality": 80, "progressive": True},
    "grey": {"format": "JPEG", "mode": "L"},
    "cmyk": {"format": "JPEG", "mode": "CMYK"},
    "png": {"format": "PNG", "compress_level": 1},
    "palette": {"format": "PNG", "mode": "P", "compress_level": 1},
    "alpha": {"format": "PNG", "mode": "RGBA", "compress_level": 1},
    "dots": {"format": "PNG", "mode": "1"},
    "webp": {"format": "WEBP", "quality": 70, "method": 0},
    "lossless": {"format": "WEBP", "lossless": True, "method": 0, "quality": 10},
    "tiff": {"format": "TIFF"},
    "lzw": {"format": "TIFF", "compression": "tiff_lzw"},
    "deflate": {"format": "TIFF", "compression": "tiff_adobe_deflate"},
    "tiff_jpeg": {"format": "TIFF", "compression": "jpeg"},
    "heic": {"format": "HEIF", "quality": 50},
}


@lru_cache(maxsize=1)
def tray(megapixels):
    """A sample photo at this size, RGB."""
    photo = Image.open(next(p for p in SAMPLES if not p.name.endswith(".marked.jpg"))).convert(
        "RGB"
    )
    scale = (megapixels * 1e6 / (photo.width * photo.height)) ** 0.5
    return photo.resize((round(photo.width * scale), round(photo.height * scale)), Image.BILINEAR)


@cache
def _shelf():
    return tempfile.TemporaryDirectory(prefix="petitpied-fuzz-photos-")


def encoded(kind, megapixels):
    """`_encoded`, kept on disk: the memory that is measured is to be the program's, not ours."""
    place = Path(_shelf().name) / f"{kind}.{megapixels}"
    if not place.exists():
        place.write_bytes(_encoded(kind, megapixels))
    return place.read_bytes()


def _encoded(kind, megapixels):
    """The sample in one of the formats, with EXIF and a colour profile where there may be."""
    from PIL import ImageCms

    options = dict(FORMATS[kind])
    image = tray(megapixels).convert(options.pop("mode", "RGB"))
    if options["format"] == "HEIF":
        import pillow_heif

        stream = io.BytesIO()
        pillow_heif.from_pillow(image).save(stream, quality=options["quality"])
        return stream.getvalue()
    exif = Image.Exif()
    exif[0x0110], exif[0x0112] = "PO-7", 1
    exif.get_ifd(0x8769).update({0x9003: "2026:03:08 09:15:00", 0xA405: 26, 0x920A: 5.4})
    if image.mode == "RGB":
        options["icc_profile"] = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    stream = io.BytesIO()
    image.save(stream, exif=exif, **options)
    return stream.getvalue()


def changed(random):
    """Bytes of a damaged photo."""
    data = encoded(random.choice(list(FORMATS)), random.choice(MEGAPIXELS))
    act = random.randrange(12)
    if act == 0:
        return _other_size(data, random)
    if act == 1:
        other = encoded(random.choice(list(FORMATS)), 1)
        cut = random.randrange(min(len(data), 4000))
        return data[:cut] + other[cut:]
    if act == 2:
        return _strange(random)
    return changed_bytes(data, random)


def _other_size(data, random):
    """Another width or height wherever the header has it."""
    size = Image.open(io.BytesIO(data)).size if data[4:8] != b"ftyp" else (0, 0)
    for order in (">I", "<I", ">H", "<H"):
        for side in size:
            found = data[:2000].find(struct.pack(order, side))
            if found > 0 and random.random() < 0.7:
                new = random.choice((0, 1, side - 1, side + 1, 8 * side, 32767, 65535))
                width = struct.calcsize(order)
                new = min(new, 256**width - 1)
                data = data[:found] + struct.pack(order, new) + data[found + width :]
    return data


def _strange(random):
    """Whole pictures of odd kinds: flat, noise, stripes, floats, many pages, thin."""
    width, height = random.choice(((1200, 900), (900, 1200), (3000, 400), (400, 400), (317, 316)))
    drawn = np.random.default_rng(random.randrange(2**32))
    pixels = random.choice((
        lambda: np.full((height, width, 3), random.randrange(256), np.uint8),
        lambda: drawn.integers(0, 256, (height, width, 3), np.uint8),
        lambda: drawn.integers(0, 2, (height, width), np.uint8) * 255,
        lambda: np.tile(
            np.uint8(np.arange(width) // random.choice((1, 7, 40)) % 2 * 255), (height, 1)
        ),
        lambda: drawn.integers(0, 65536, (height, width), np.uint16),
        lambda: drawn.random((height, width), np.float32),
    ))()  # fmt: skip
    image = Image.fromarray(pixels)
    stream = io.BytesIO()
    more = {
        "save_all": True,
        "append_images": [Image.new("L", (1, 1))] * random.choice((1, 50, 900)),
    }
    if random.random() < 0.4:
        image.save(stream, "TIFF", **(more if random.random() < 0.5 else {}))
    else:
        image = image.convert("L" if image.mode.startswith(("I", "F")) else image.mode)
        image.save(stream, random.choice(("PNG", "JPEG", "WEBP")))
    return stream.getvalue()


def photo(random, _folder):
    """A damaged photo's bytes."""
    return changed(random)


def decoded(data, _folder, most_s):
    """Status as the command would have it, what is wrong, processor seconds."""
    import time

    begun = time.process_time()
    faults = []
    status = int(ExitCode.OK)
    try:
        seen = decode_photo(data, "tray.jpg")
        if seen.pixels_bgr.dtype != np.uint8 or seen.pixels_bgr.ndim != 3:
            faults.append(f"gives pixels {seen.pixels_bgr.dtype} {seen.pixels_bgr.shape}")
    except PhotoError as error:
        status = int(error.exit_code)
        if not str(error).isprintable():
            faults.append("shows what cannot be shown")
    except Exception as error:
        status = 1
        faults.append(f"Traceback: {type(error).__name__}: {error}")
    seconds = time.process_time() - begun
    if seconds > most_s:
        faults.append(f"takes {seconds:.1f} s")
    return status, faults, seconds


def inspection(random, folder):
    """A damaged photo in a folder, to be inspected."""
    (folder / "tray.jpg").write_bytes(changed(random))
    command = ["inspect", folder / "tray.jpg", "--out", folder / "out"]
    return (*command, "--relative") if random.random() < 0.3 else tuple(command)


def wrong_results(outcome, folder):
    """Results are all there and whole where the status says so, else there are none."""
    there = {p.name.removeprefix("tray") for p in (folder / "out").glob("*")}
    wanted = set(RESULTS) if outcome.status == 0 else set()
    if there != wanted:
        return [f"status {outcome.status} with {sorted(there)}"]
    if not wanted:
        return []
    record = read_record(folder / "out" / "tray.json")
    return [] if record.shells else ["a record without shells and status 0"]
