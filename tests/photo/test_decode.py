"""Files of every kind that cameras and programs write, good and bad, made here in memory."""

import hashlib
import io
import struct
import time
import zlib

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from petitpied.domain.errors import ExitCode, PhotoError
from petitpied.photo.decode import MAX_PIXELS, decode_photo, upright

WIDTH, HEIGHT = 480, 320
RED, GREEN, BLUE, WHITE = (220, 30, 40), (20, 200, 60), (30, 50, 210), (250, 250, 250)
#: corner of the upright picture (row, column) to its colour
CORNERS = {(0, 0): RED, (0, -1): GREEN, (-1, 0): BLUE, (-1, -1): WHITE}


def picture(width=WIDTH, height=HEIGHT):
    """Four quarters of different colour, RGB."""
    rgb = np.zeros((height, width, 3), np.uint8)
    rgb[: height // 2, : width // 2], rgb[: height // 2, width // 2 :] = RED, GREEN
    rgb[height // 2 :, : width // 2], rgb[height // 2 :, width // 2 :] = BLUE, WHITE
    return rgb


def written(image, kind, **options):
    stream = io.BytesIO()
    image.save(stream, kind, **options)
    return stream.getvalue()


def jpeg(rgb=None, **options):
    return written(
        Image.fromarray(picture() if rgb is None else rgb), "JPEG", quality=95, **options
    )


def assert_upright(photo, tolerance):
    assert (photo.width_px, photo.height_px) == (WIDTH, HEIGHT)
    assert photo.pixels_bgr.dtype == np.uint8
    assert photo.pixels_bgr.flags.c_contiguous
    for (row, column), rgb in CORNERS.items():
        found = photo.pixels_bgr[row, column, ::-1].astype(int)
        assert np.abs(found - rgb).max() <= tolerance, (row, column, found)


#: lossy kinds: flat colours come back within a few levels of 255
KINDS = {"JPEG": 4, "PNG": 0, "WEBP": 6, "TIFF": 0, "HEIF": 6}


@pytest.fixture(autouse=True, scope="module")
def _heif_writer():
    pillow_heif.register_heif_opener()


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_read(kind):
    data = written(Image.fromarray(picture()), kind)
    photo = decode_photo(data, f"oven/tray.{kind.lower()}")
    assert_upright(photo, KINDS[kind])
    assert photo.name == f"tray.{kind.lower()}"
    assert photo.sha256 == hashlib.sha256(data).hexdigest()


#: EXIF 2.32, tag 0x0112: what the stored picture is, from the upright one
STORED = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.transpose(1, 0, 2),  # 0th row is the left side, 0th column the top
    6: lambda a: np.rot90(a),  # 0th row right side, 0th column top
    7: lambda a: a[::-1, ::-1].transpose(1, 0, 2),  # 0th row right side, 0th column bottom
    8: lambda a: np.rot90(a, -1),  # 0th row left side, 0th column bottom
}


@pytest.mark.parametrize("orientation", STORED)
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_exif_orientation_is_applied(kind, orientation):
    stored = np.ascontiguousarray(STORED[orientation](picture()))
    exif = Image.Exif()
    exif[0x0112] = orientation
    photo = decode_photo(written(Image.fromarray(stored), kind, exif=exif), "turned")
    assert_upright(photo, KINDS[kind])


@pytest.mark.parametrize("orientation", STORED)
def test_heic_is_turned_once(orientation):
    stored = np.ascontiguousarray(STORED[orientation](picture()))
    exif = Image.Exif()
    exif[0x0112] = orientation
    photo = decode_photo(
        written(Image.fromarray(stored), "HEIF", exif=exif.tobytes()), "phone.heic"
    )
    assert_upright(photo, KINDS["HEIF"])


@pytest.mark.parametrize("orientation", STORED)
def test_orientation_agrees_with_opencv(orientation):
    rgb = np.random.default_rng(3).integers(0, 255, (24, 40, 3), dtype=np.uint8)
    exif = Image.Exif()
    exif[0x0112] = orientation
    data = np.frombuffer(jpeg(rgb, exif=exif), np.uint8)
    raw = cv2.imdecode(data, cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    assert np.array_equal(upright(raw, orientation), cv2.imdecode(data, cv2.IMREAD_COLOR))


def test_exif_facts_are_kept_and_location_and_serials_are_not():
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Petite Optique", "PO-7\x1b[31m"
    exif[0x8769] = {0x9003: "2026:03:08 09:15:00", 0xA405: 52, 0xA431: "SERIAL-123"}
    exif[0x8825] = {1: "N", 2: (48.0, 51.0, 29.0), 3: "E", 4: (2.0, 17.0, 40.0)}
    photo = decode_photo(jpeg(exif=exif), "tray.jpg")
    assert photo.taken_at == "2026-03-08T09:15:00"
    assert photo.camera == "Petite Optique PO-7[31m"
    assert photo.focal_35mm_mm == 52
    kept = repr((photo.name, photo.taken_at, photo.camera, photo.warnings))
    assert "SERIAL" not in kept
    assert "48" not in kept


@pytest.mark.parametrize("focal", [0, 3, 65535])
def test_senseless_focal_length_is_none(focal):
    exif = Image.Exif()
    exif[0x8769] = {0xA405: focal, 0x9003: "0000:00:00 00:00:00"}
    photo = decode_photo(jpeg(exif=exif), "tray.jpg")
    assert photo.focal_35mm_mm is None
    assert photo.taken_at is None


def test_sixteen_bit_is_scaled():
    levels = np.repeat(np.arange(0, 65536, 137, dtype=np.uint16)[:478], 320).reshape(478, 320)
    expected = np.round(levels / 257)
    for kind in ("PNG", "TIFF"):
        photo = decode_photo(written(Image.fromarray(levels), kind), "grey16")
        assert np.abs(photo.pixels_bgr.astype(float) - expected[..., None]).max() <= 0.5
    colour = cv2.imencode(".png", np.dstack([levels, levels // 2, levels // 4]))[1].tobytes()
    found = decode_photo(colour, "colour16.png").pixels_bgr.astype(float)
    # Pillow keeps the upper byte: at most one level below the rounded value
    assert np.abs(found - np.dstack([levels, levels // 2, levels // 4]) / 257).max() <= 1


def test_grey_palette_and_one_bit():
    grey = Image.fromarray(picture()).convert("L")
    for image, kind in ((grey, "JPEG"), (grey, "PNG"), (grey.convert("1"), "TIFF")):
        pixels = decode_photo(written(image, kind), "grey").pixels_bgr
        assert pixels.shape == (HEIGHT, WIDTH, 3)
        assert np.ptp(pixels.astype(int), axis=2).max() == 0
    palette = Image.fromarray(picture()).convert("P", palette=Image.Palette.ADAPTIVE)
    assert_upright(decode_photo(written(palette, "PNG"), "p.png"), 6)


def test_transparency_is_laid_on_white():
    rgba = np.dstack([picture(), np.full((HEIGHT, WIDTH), 255, np.uint8)])
    rgba[:10, :10] = (0, 0, 0, 0)
    for kind in ("PNG", "WEBP", "TIFF"):
        options = {"lossless": True} if kind == "WEBP" else {}
        pixels = decode_photo(written(Image.fromarray(rgba), kind, **options), "a").pixels_bgr
        assert (pixels[:10, :10] == 255).all()
        assert (pixels[20, 20, ::-1] == RED).all()


def test_cmyk_jpeg_has_the_right_colours():
    data = written(Image.fromarray(picture()).convert("CMYK"), "JPEG", quality=95)
    assert_upright(decode_photo(data, "print.jpg"), 6)


def p3_profile():
    """A Display P3 profile (ICC.1, matrix and gamma 2.2 curve), colorants adapted to D50 as in
    the published profile."""

    def fixed(*values):
        return b"".join(struct.pack(">i", round(v * 65536)) for v in values)

    colorants = {
        b"rXYZ": (0.51512, 0.24120, -0.00105),
        b"gXYZ": (0.29198, 0.69225, 0.04189),
        b"bXYZ": (0.15710, 0.06657, 0.78407),
        b"wtpt": (0.96420, 1.0, 0.82491),
    }
    name = b"P3 for a test\0"
    tags = {b"desc": b"desc\0\0\0\0" + struct.pack(">I", len(name)) + name + bytes(78)}
    tags |= {key: b"XYZ \0\0\0\0" + fixed(*xyz) for key, xyz in colorants.items()}
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(2.2 * 256)) + b"\0\0"
    tags |= dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), curve)
    offset, table, body = 132 + 12 * len(tags), struct.pack(">I", len(tags)), b""
    for key, value in tags.items():
        value += bytes(-len(value) % 4)
        table += key + struct.pack(">II", offset + len(body), len(value))
        body += value
    head = struct.pack(">I4sI4s4s4s", offset + len(body), bytes(4), 0x02400000, b"mntr", b"RGB ",
                       b"XYZ ")  # fmt: skip
    head += bytes(12) + b"acsp" + bytes(28) + fixed(0.9642, 1.0, 0.82491)
    return head + bytes(128 - len(head)) + table + body


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_wide_gamut_is_converted(kind):
    """Display P3 (200, 100, 100) is sRGB (214.6, 95.6, 98.3), computed from the two standards'
    primaries with a gamma of 2.2 in and the sRGB curve out."""
    to_linear = (np.array([200, 100, 100]) / 255) ** 2.2
    # P3 to sRGB, both D65 (product of the published RGB to XYZ matrices)
    matrix = np.array([[1.2249, -0.2249, 0.0], [-0.0420, 1.0420, 0.0], [-0.0197, -0.0786, 1.0983]])
    linear = matrix @ to_linear
    wanted = 255 * np.where(linear < 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    flat = np.full((HEIGHT, WIDTH, 3), (200, 100, 100), np.uint8)
    options = {"quality": 98} if kind == "JPEG" else {}
    data = written(Image.fromarray(flat), kind, icc_profile=p3_profile(), **options)
    found = decode_photo(data, "p3").pixels_bgr[50, 50, ::-1]
    assert found == pytest.approx(wanted, abs=1.6)  # 8-bit rounding in, out, and JPEG


def test_broken_profile_is_a_warning():
    photo = decode_photo(jpeg(icc_profile=b"no profile" * 20), "tray.jpg")
    assert_upright(photo, KINDS["JPEG"])
    assert any("colour profile" in w for w in photo.warnings)


def test_small_pictures_warn_and_tiny_ones_are_refused():
    photo = decode_photo(jpeg(), "small.jpg")
    assert any("0.2 megapixels" in w for w in photo.warnings)
    with pytest.raises(PhotoError, match=r"at least 0\.1 is needed"):
        decode_photo(jpeg(picture(200, 100)), "tiny.jpg")
    large = decode_photo(jpeg(np.zeros((1300, 1600, 3), np.uint8)), "good.jpg")
    assert large.warnings == ()


def test_animated_files_give_the_first_picture():
    frames = [Image.fromarray(picture()), Image.fromarray(255 - picture())]
    for kind in ("WEBP", "PNG", "TIFF"):
        options = {"lossless": True} if kind == "WEBP" else {}
        data = written(frames[0], kind, save_all=True, append_images=frames[1:], **options)
        photo = decode_photo(data, "moving")
        assert_upright(photo, KINDS[kind])
        assert any("2 pictures" in w for w in photo.warnings)


def test_multi_picture_jpeg_of_phones_is_no_warning():
    frames = [Image.fromarray(picture(1600, 1300)), Image.fromarray(picture(400, 300))]
    data = written(frames[0], "MPO", save_all=True, append_images=frames[1:])
    photo = decode_photo(data, "phone.jpg")
    assert (photo.width_px, photo.height_px) == (1600, 1300)
    assert photo.warnings == ()


def test_huge_exif_is_read_or_passed_over():
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x8769] = {0x927C: bytes(60_000)}  # maker note
    stored = np.ascontiguousarray(STORED[6](picture()))
    assert_upright(decode_photo(jpeg(stored, exif=exif), "big"), KINDS["JPEG"])
    exif[0x8769] = {0x927C: bytes(6_000_000)}
    data = written(Image.fromarray(picture()), "PNG", exif=exif)
    photo = decode_photo(data, "huge.png")
    assert any("EXIF" in w for w in photo.warnings)


def test_damaged_exif_is_a_warning_or_ignored():
    random = np.random.default_rng(5)
    exif = Image.Exif()
    exif[0x010F], exif[0x8769] = "Maker", {0xA405: 52, 0x9003: "2026:03:08 09:15:00"}
    good = exif.tobytes()
    for _ in range(40):
        block = bytearray(good)
        for at in random.integers(6, len(block), 6):
            block[at] = random.integers(256)
        photo = decode_photo(jpeg(exif=bytes(block)), "tray.jpg")
        assert {photo.width_px, photo.height_px} == {WIDTH, HEIGHT}


def _png_chunk(kind, body):
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def bomb(width, height):
    """A PNG of a few hundred bytes whose header announces a huge picture."""
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(bytes(100_000), 9)
    return b"\x89PNG\r\n\x1a\n" + _png_chunk(b"IHDR", header) + _png_chunk(b"IDAT", body)


def jpeg_header_of(width, height):
    data = bytearray(jpeg())
    frame = data.index(b"\xff\xc0")
    data[frame + 5 : frame + 9] = struct.pack(">HH", height, width)
    return bytes(data)


@pytest.mark.parametrize(
    "data", [bomb(60000, 60000), bomb(9000, 6000), bomb(2**31 - 1, 2**31 - 1),
             jpeg_header_of(65000, 65000)]
)  # fmt: skip
def test_image_bomb_is_refused_by_its_header(data):
    start = time.perf_counter()
    with pytest.raises(PhotoError, match=r"too large: .*megapixels|too large: .*millions"):
        decode_photo(data, "bomb.png")
    assert time.perf_counter() - start < 0.5  # 54 MP alone take longer to decode
    assert MAX_PIXELS < 9000 * 6000


NOISE = np.random.default_rng(2).integers(0, 255, (400, 400, 3), dtype=np.uint8)
BAD = {
    "empty": (b"", "the file is empty"),
    "text": (b"flour, sugar, almonds\n" * 50, "not a JPEG, PNG, WebP, TIFF or HEIC"),
    "gif": (written(Image.fromarray(picture()), "GIF"), "not a JPEG, PNG, WebP, TIFF or HEIC"),
    "header only": (jpeg()[:300], "cannot be read"),
    "cut jpeg": (jpeg(NOISE)[:-3000], "ends before the picture does"),
    "cut jpeg, zeros after": (jpeg(NOISE)[:-3000] + bytes(3000), "ends before the picture does"),
    "cut png": (written(Image.fromarray(NOISE), "PNG")[:-600], "damaged or cut short"),
    "cut tiff": (written(Image.fromarray(picture()), "TIFF")[:-9000], "cannot be read"),
    "cut webp": (written(Image.fromarray(picture()), "WEBP")[:-400], "cannot be read"),
    "video header": (b"\0\0\0\x18ftypmp42" + bytes(400), "cannot be read"),
    "float": (written(Image.fromarray(np.zeros((400, 400), np.float32)), "TIFF"), "floating-point"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_files_say_what_why_and_next(case):
    data, message = BAD[case]
    with pytest.raises(PhotoError, match=message) as caught:
        decode_photo(data, "bad\x1b[2J/..\\bad.jpg")
    assert caught.value.exit_code is ExitCode.PHOTO
    assert str(caught.value).startswith("bad.jpg")
    assert str(caught.value).count(".") <= 3
    assert caught.value.next_step


def test_cut_heic_is_an_error():
    data = written(Image.fromarray(picture()), "HEIF")
    with pytest.raises(PhotoError, match="cannot be read"):
        decode_photo(data[: len(data) // 2], "cut.heic")


def test_random_damage_never_raises_anything_else():
    random = np.random.default_rng(11)
    for kind in KINDS:
        good = written(Image.fromarray(picture()), kind)
        for _ in range(15):
            data = bytearray(good)
            for at in random.integers(0, len(data), 8):
                data[at] = random.integers(256)
            try:
                photo = decode_photo(bytes(data), "damaged")
            except PhotoError:
                continue
            assert photo.pixels_bgr.ndim == 3
