"""Photos that cannot be measured, and unusual ones that can, through the command itself."""

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from petitpied.cli.main import main
from petitpied.domain.errors import ExitCode
from tests.camera.card_views import draw_cards, overhead_view

TRAY = Path(__file__).parents[2] / "data" / "drawn_tray_one.jpg"


@pytest.fixture
def inspect(monkeypatch, capsys, tmp_path):
    """Inspect pictures with the real measuring; exit status, error text, files written."""
    out = tmp_path / "out"

    def command(*arguments):
        argv = ["petitpied", "inspect", *map(str, arguments), "--out", str(out)]
        monkeypatch.setattr(sys, "argv", argv)
        try:
            main()
            status = 0
        except SystemExit as end:
            status = int(end.code or 0)
        written = sorted(p.name for p in out.iterdir()) if out.is_dir() else []
        return status, capsys.readouterr().err, written

    return command


def refused(result, status, *words):
    code, err, written = result
    assert code == status
    assert "Traceback" not in err
    assert err.strip().endswith(".")
    assert all(word in err for word in words)
    assert written == []


def save(path, grey):
    Image.fromarray(grey).convert("RGB").save(path)
    return path


def test_card_troubles_say_what_to_do(inspect, tmp_path):
    view = overhead_view()
    plain = np.full((1200, 1600), 205, np.uint8)
    good = draw_cards(view, {"A": (95.0, 60.0, 0.0)})
    refused(inspect(save(tmp_path / "a.png", plain)), ExitCode.CARD, "no reference card")
    refused(inspect(save(tmp_path / "b.png", good[:, ::-1])), ExitCode.CARD, "mirrored")
    edge = int(view.project(np.array([[112.0, 60.0]]))[0, 0])
    half = good.copy()
    half[:, edge:] = 120
    refused(inspect(save(tmp_path / "c.png", half)), ExitCode.CARD, "only a part")
    second = draw_cards(view, {"A": (10.0, 120.0, 0.3)})
    both = np.where(second < 190, second, good)
    refused(inspect(save(tmp_path / "d.png", both)), ExitCode.CARD, "two cards A")


def test_a_card_without_shells_is_no_tray(inspect, tmp_path):
    good = draw_cards(overhead_view(), {"A": (95.0, 60.0, 0.0)})
    refused(inspect(save(tmp_path / "e.png", good)), ExitCode.SHELLS, "no whole shell found")


def test_files_that_are_no_pictures(inspect, tmp_path):
    empty, text, cut = (tmp_path / n for n in ("empty.jpg", "text.jpg", "cut.jpg"))
    empty.write_bytes(b"")
    text.write_text("flour, sugar, egg whites")
    cut.write_bytes(TRAY.read_bytes()[:150_000])
    for path in (empty, text, cut):
        refused(inspect(path), ExitCode.PHOTO)


def diameters(folder, stem):
    record = json.loads((folder / f"{stem}.json").read_text())
    return sorted(s["diameter_mm"]["value"] for s in record["shells"] if s["diameter_mm"])


def test_a_photo_held_any_way_gives_the_same_sizes(inspect, tmp_path):
    """EXIF orientation 1 to 8 (Exif 2.32, tag 0x0112): stored turned, meant upright."""
    upright = Image.open(TRAY)
    exif = upright.getexif()
    undo = {
        1: None,
        3: Image.Transpose.ROTATE_180,
        6: Image.Transpose.ROTATE_90,
        8: Image.Transpose.ROTATE_270,
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        7: Image.Transpose.TRANSVERSE,
    }
    for number, turn in undo.items():
        stored = upright if turn is None else upright.transpose(turn)
        exif[0x0112] = number
        stored.save(tmp_path / f"way{number}.png", exif=exif)
        assert inspect(tmp_path / f"way{number}.png")[0] == 0
        first, this = (diameters(tmp_path / "out", f"way{n}") for n in (1, number))
        # the same pixels: nothing may differ but the last rounded digit
        assert this == pytest.approx(first, abs=1e-3)


def test_odd_encodings_are_measured(inspect, tmp_path):
    picture = Image.open(TRAY)
    exif = picture.getexif()
    picture.convert("CMYK").save(tmp_path / "cmyk.jpg", quality=95, exif=exif)
    grey16 = (np.asarray(picture.convert("L")).astype(np.uint16) * 257).astype(np.uint16)
    Image.fromarray(grey16).save(tmp_path / "deep.png", exif=exif)
    frames = [picture.convert("RGB"), picture.convert("RGB").rotate(180)]
    frames[0].save(tmp_path / "film.png", save_all=True, append_images=frames[1:])
    for name in ("cmyk.jpg", "deep.png", "film.png"):
        status, err, written = inspect(tmp_path / name)
        assert status == 0, err
        assert f"{Path(name).stem}.json" in written
    record = json.loads((tmp_path / "out" / "film.json").read_text())
    assert any("first" in w for w in record["view"]["warnings"])
