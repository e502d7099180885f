"""Limits, sort, pair, box and lot-check as a baker types them; and bad input, in plain words."""

import csv
import hashlib
import io
import json
import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from petitpied.domain.errors import ExitCode
from petitpied.domain.quantity import Quantity
from petitpied.domain.record import PhotoFacts
from petitpied.domain.surface import Colour, SurfaceMark, TrayColour
from petitpied.files.records.record_files import read_record, record_bytes
from petitpied.sorting.lot_trays import LotTray
from petitpied.sorting.pairing import Pair, Pairing
from petitpied.text.lots.pairing_words import pair_codes
from tests.cli import fakes
from tests.records import a_record, a_shell, changed, relative_record, unmeasured_shell
from tests.sorting import lots

LIMITS = """
[top]
diameter_mm = { target = 42.0, tolerance = 1.0 }
[bottom]
diameter_mm = { target = 42.0, tolerance = 3.0 }
"""
BOX = "[box]\nslots = 2\nslot_pitch_mm = 50\n"


@pytest.fixture
def petitpied(petitpied, monkeypatch, tmp_path):
    """In a folder of its own."""
    monkeypatch.chdir(tmp_path)
    return petitpied


def write(name, record):
    """A record's file; its photo's hash follows from the name."""
    photo = replace(record.photo, sha256=hashlib.sha256(name.encode()).hexdigest())
    Path(name).write_bytes(record_bytes(replace(record, photo=photo)))
    return name


def tray(count=9, seed=1, **changes):
    random = np.random.default_rng(seed)
    return a_record(
        [a_shell(f"A{i + 1}", 0, i, float(random.normal(42, 0.3))) for i in range(count)],
        **changes,
    )


def assert_plain(status, err, code):
    assert status == code
    assert "Traceback" not in err
    assert len(err.strip().splitlines()) == 1
    assert err.strip().endswith(".")


def test_limits_are_started_checked_and_never_replaced(petitpied):
    assert petitpied("limits", "--new")[0] == 0
    status, out, _ = petitpied("limits", "limits.toml")
    assert status == 0
    assert "diameter 43 to 47 mm" in out
    status, _, err = petitpied("limits", "--new")
    assert_plain(status, err, ExitCode.OUTPUT)
    assert "already there" in err
    assert petitpied("limits")[0] == 2


def test_limits_by_the_bakers_own_tray(petitpied):
    """A tray 3 mm larger than usual: the target follows it, and most of it are tops."""
    shells = [a_shell(f"A{i + 1}", 0, i, 48 + 0.3 * (i - 4)) for i in range(9)]
    write("best.json", a_record([*shells, unmeasured_shell("B1")]))
    status, out, _ = petitpied("limits", "--from", "best.json", "own.toml")
    assert status == 0
    assert "of 9 shells are tops" in out
    assert "target = 48.0" in Path("own.toml").read_text(encoding="utf-8")
    found = json.loads(petitpied("sort", "best.json", "--limits", "own.toml", "--json")[1])
    assert found["counts"]["top"] >= 8
    write("none.json", a_record([unmeasured_shell("A1")]))
    status, _, err = petitpied("limits", "--from", "none.json", "x.toml")
    assert_plain(status, err, ExitCode.LOT)
    assert "no measured shell" in err


def test_a_tray_far_from_its_target_says_so_first(petitpied):
    write("one.json", a_record([a_shell(f"A{i + 1}", 0, i, 46 + 0.1 * i) for i in range(6)]))
    Path("l.toml").write_text(LIMITS)
    lines = petitpied("sort", "one.json", "--limits", "l.toml")[1].splitlines()
    assert lines[0].startswith("one: the whole tray is off: its mean diameter is 46.2 mm, 4.2 mm")
    assert "Pipe smaller" in lines[0]
    assert lines[2] == "  crumbs by the diameter alone, 6 shells: A1, A2, A3, A4, A5, A6"


def test_the_bakers_words_for_the_grades(petitpied):
    write("one.json", tray())
    Path("l.toml").write_text(LIMITS + '[names]\ntop = "lid"\ncrumbs = "for the base"\n')
    assert "9 shells: 9 lid" in petitpied("sort", "one.json", "--limits", "l.toml")[1]


def test_sort_judges_tells_and_writes(petitpied):
    shells = [
        a_shell("A1", 0, 0, 42.0),
        a_shell("A2", 0, 1, 44.0),
        a_shell("A3", 0, 2, 50.0),
        a_shell("A4", 0, 3, 43.0),
        unmeasured_shell("A5"),
    ]
    write("one.json", a_record(shells))
    Path("l.toml").write_text(LIMITS)
    status, out, _ = petitpied("sort", "one.json", "--limits", "l.toml")
    assert status == 0
    assert "5 shells: 1 top, 1 bottom, 1 crumbs, 2 check by eye" in out
    assert "is above the limit, 43 mm" in out
    assert "too near 43 mm to tell" in out
    assert "not measured: cut by the edge of the photo" in out
    assert "20 % top" in out
    assert "60 % (" in out
    assert "outlines only for one" in out
    rows = list(csv.DictReader(io.StringIO(Path("verdicts.csv").read_text())))
    assert [row["verdict"] for row in rows] == [
        "top", "bottom", "crumbs", "check by eye", "check by eye",
    ]  # fmt: skip
    picture = cv2.imread("one.sorted.jpg")
    assert picture.shape[1] == 2000
    status, out, _ = petitpied("sort", "one.json", "--limits", "l.toml", "--json")
    found = json.loads(out)
    assert found["counts"] == {"top": 1, "bottom": 1, "crumbs": 1, "check by eye": 2}
    assert found["yield"]["count"] == 1
    assert found["shells"][1]["reasons"]


def test_what_a_photo_does_not_show_is_left_out_and_said(petitpied):
    write("one.json", tray())
    Path("l.toml").write_text(LIMITS.replace("[bottom]", "browning = { max = 3 }\n[bottom]"))
    status, out, _ = petitpied("sort", "one.json", "--limits", "l.toml")
    assert status == 0
    assert "one: not measured in this photo, judged without: colour" in out
    assert "9 top" in out


def test_pair_prints_the_published_json(petitpied):
    write("one.json", tray(5))
    write("two.json", tray(4, seed=2))
    status, out, _ = petitpied("pair", "one.json", "two.json", "--json")
    found = json.loads(out)
    assert status == 0
    assert list(found) == ["pairs", "left_over", "total_cost", "lower_bound"]
    assert len(found["pairs"]) == 4
    first = found["pairs"][0]
    assert {"a", "b", "turn_deg", "cost", "difference_mm"} <= first.keys()
    assert set(first["a"]) == set(first["b"]) == {"record", "id"}
    assert found["total_cost"] == pytest.approx(sum(p["cost"] for p in found["pairs"]), abs=1e-5)
    assert found["lower_bound"] <= found["total_cost"]
    assert {"record", "id"} <= found["left_over"][0].keys()
    told = [(p[k]["record"], p[k]["id"]) for p in found["pairs"] for k in "ab"]
    told += [(x["record"], x["id"]) for x in found["left_over"]]
    assert len(set(told)) == 9
    assert not list(Path().glob("*.jpg"))


def test_pair_draws_sheets_and_lists_in_picking_order(petitpied):
    write("one.json", tray(5))
    write("two.json", tray(4, seed=2))
    status, out, _ = petitpied("pair", "one.json", "two.json", "--out", "sheets")
    assert status == 0
    assert "no better pairing exists" in out
    assert "no --flavour was given" in out
    names = sorted(p.name for p in Path("sheets").iterdir())
    assert names == ["one.pairs.jpg", "pairs.txt", "two.pairs.jpg"]
    assert "apart" in Path("sheets/pairs.txt").read_text(encoding="utf-8")


def test_the_photo_is_found_beside_the_record_by_its_hash_only(petitpied):
    picture = np.full((1200, 1600, 3), 90, np.uint8)
    picture[:, :800] = (0, 0, 220)
    cv2.imwrite("tray.jpg", picture)
    sha = hashlib.sha256(Path("tray.jpg").read_bytes()).hexdigest()
    record = tray(4)
    photo = replace(record.photo, sha256=sha)
    Path("one.json").write_bytes(record_bytes(replace(record, photo=photo)))
    assert "outlines only" not in petitpied("pair", "one.json")[1]
    sheet = cv2.imread("one.pairs.jpg")
    assert sheet[1500, 100, 2] > 180  # the red half of the photo
    cv2.imwrite("tray.jpg", picture // 2)  # another photo under the same name
    assert "outlines only for one" in petitpied("pair", "one.json")[1]
    outside = replace(photo, file="../../etc/passwd", sha256="1" * 64)
    Path("two.json").write_bytes(record_bytes(replace(record, photo=outside)))
    assert petitpied("pair", "two.json")[0] == 0


def test_limits_and_eye_decide_who_is_paired(petitpied):
    shells = [a_shell(f"A{i + 1}", 0, i, size) for i, size in enumerate((42, 42, 43, 43, 44, 44))]
    write("one.json", a_record(shells))
    Path("l.toml").write_text(LIMITS)
    found = json.loads(petitpied("pair", "one.json", "--limits", "l.toml", "--json")[1])
    assert len(found["pairs"]) == 2
    assert [x["why"] for x in found["left_over"]] == ["to check by eye"] * 2
    looked = ("--by-eye", "bottom", "--json")
    found = json.loads(petitpied("pair", "one.json", "--limits", "l.toml", *looked)[1])
    assert len(found["pairs"]) == 3


def test_flavours_by_record(petitpied):
    write("one.json", tray(3))
    write("two.json", tray(3, seed=2))
    both = ("pair", "one.json", "two.json", "--json")
    found = json.loads(petitpied(*both, "--flavour", "rose", "--flavour", "lemon")[1])
    assert len(found["pairs"]) == 2
    mixed = ("--flavour", "rose", "--flavour", "lemon", "--mix-flavours")
    assert len(json.loads(petitpied(*both, *mixed)[1])["pairs"]) == 3
    status, _, err = petitpied(*both, *("--flavour", "a") * 3)
    assert_plain(status, err, ExitCode.LOT)


def test_box_fills_lists_and_draws(petitpied):
    write("one.json", tray(11))
    assert petitpied("box", "--new")[0] == 0
    Path("b.toml").write_text(BOX)
    status, out, _ = petitpied("box", "one.json", "--box", "b.toml", "--out", "boxes")
    assert status == 0
    assert "2 boxes of 2 (box): no more can be filled" in out
    assert "no further box can be filled: 1 left, a box needs 2" in out
    names = sorted(p.name for p in Path("boxes").iterdir())
    assert names == ["box_01.jpg", "box_02.jpg", "boxes.txt"]
    assert cv2.imread("boxes/box_01.jpg").shape[1] == 2000
    found = json.loads(petitpied("box", "one.json", "--box", "b.toml", "--json")[1])
    assert [len(b["macarons"]) for b in found["boxes"]] == [2, 2]
    assert found["worst_range_mm"] == max(b["range_mm"] for b in found["boxes"])
    assert len(found["left_over"]) == 1
    assert len(found["unpaired"]) == 1


def test_a_box_that_no_shell_fits_says_so(petitpied):
    write("one.json", tray(6))
    Path("b.toml").write_text(BOX.replace("50", "40"))
    status, out, _ = petitpied("box", "one.json", "--box", "b.toml")
    assert status == 0
    assert "no box of 2 can be filled" in out
    assert out.count("does not surely fit the 39 mm that the slot leaves") == 3


def test_lot_check_says_what_it_promises(petitpied):
    status, out, _ = petitpied("lot-check", 300)
    assert status == 0
    assert "draw 50 of the 300 shells" in out
    assert "at most 5 of them are bad" in out
    assert "what it does not promise" in out
    assert "accept the lot" in petitpied("lot-check", 300, "--found", 5)[1]
    assert "do not accept" in petitpied("lot-check", 300, "--found", 6)[1]
    assert json.loads(petitpied("lot-check", 300, "--json")[1])["accept"] == 5
    assert "look at all 12" in petitpied("lot-check", 12, "--bad", 1)[1]
    for wrong in ((1,), (1201,), (300, "--bad", 5), (300, "--found", 51)):
        assert petitpied("lot-check", *wrong)[0] == 2


# bad input


@pytest.mark.parametrize("command", ["pair", "sort", "box"])
def test_an_empty_lot(petitpied, command):
    Path("empty").mkdir()
    Path("empty/other.json").write_text('{"pairs": []}')
    Path("l.toml").write_text(LIMITS)
    Path("box.toml").write_text(BOX)
    status, _, err = petitpied(command, "empty", "--limits", "l.toml")
    assert_plain(status, err, ExitCode.LOT)
    assert "no record" in err


def test_a_record_without_any_measured_shell(petitpied):
    write("one.json", a_record([unmeasured_shell("A1"), unmeasured_shell("A2")]))
    status, _, err = petitpied("pair", "one.json")
    assert_plain(status, err, ExitCode.LOT)
    assert "none of 2 shells" in err
    Path("l.toml").write_text(LIMITS)
    status, out, _ = petitpied("sort", "one.json", "--limits", "l.toml")
    assert (status, "2 check by eye" in out) == (0, True)


def test_one_shell(petitpied):
    write("one.json", a_record([a_shell()]))
    status, _, err = petitpied("pair", "one.json")
    assert_plain(status, err, ExitCode.LOT)
    assert "there is no other shell" in err


def test_all_rejected(petitpied):
    write("one.json", a_record([a_shell(f"A{i}", 0, i, 60.0) for i in range(4)]))
    Path("l.toml").write_text(LIMITS)
    Path("b.toml").write_text(BOX)
    for command in (["pair"], ["box", "--box", "b.toml"]):
        status, _, err = petitpied(*command, "one.json", "--limits", "l.toml")
        assert_plain(status, err, ExitCode.LOT)
        assert "4 shells: it is crumbs" in err
    assert "0 % top" in petitpied("sort", "one.json", "--limits", "l.toml")[1]


def test_records_of_different_versions(petitpied):
    """A newer version is refused by name; an older record without later fields is read."""
    write("one.json", tray(4))
    newer = Path("one.json").read_text().replace("inspection/1", "inspection/2")
    Path("newer.json").write_text(newer)
    status, _, err = petitpied("pair", "one.json", "newer.json")
    assert_plain(status, err, ExitCode.RECORD)
    assert "newer.json" in err
    older = json.loads(Path("one.json").read_text())
    later = ("verdict", "reasons", "piped_diameter_mm", "growth", "crack_length_mm", "dimples")
    for shell in older["shells"]:
        for name in later:
            shell.pop(name, None)
    older["photo"]["sha256"] = "7" * 64
    Path("older.json").write_text(json.dumps(older))
    assert petitpied("pair", "one.json", "older.json", "--json")[0] == 0


def test_a_record_without_a_scale(petitpied):
    Path("one.json").write_bytes(record_bytes(relative_record()))
    status, _, err = petitpied("pair", "one.json")
    assert_plain(status, err, ExitCode.RECORD)
    assert "has no scale" in err


def test_mixed_units_in_a_limits_file(petitpied):
    write("one.json", tray(4))
    Path("l.toml").write_text("[top]\ndiameter_cm = { max = 4.6 }\n")
    status, _, err = petitpied("sort", "one.json", "--limits", "l.toml")
    assert_plain(status, err, ExitCode.OWN_FILE)
    assert err.startswith("limits file l.toml, line 2: diameter_cm mixes units")
    assert not Path("verdicts.csv").exists()


def test_a_limits_file_that_is_missing_or_no_text(petitpied):
    write("one.json", tray(4))
    status, _, err = petitpied("sort", "one.json", "--limits", "none.toml")
    assert_plain(status, err, ExitCode.OWN_FILE)
    Path("l.toml").write_bytes(b"\xff\xfe\x00")
    assert_plain(*petitpied("pair", "one.json", "--limits", "l.toml")[::2], ExitCode.OWN_FILE)


def test_the_same_tray_twice(petitpied):
    write("one.json", tray(4))
    Path("copy.json").write_bytes(Path("one.json").read_bytes())
    status, _, err = petitpied("pair", "one.json", "copy.json")
    assert_plain(status, err, ExitCode.LOT)
    assert "same tray" in err


def test_names_with_formulas_in_them(petitpied):
    """They reach a table as text, a sheet and the screen without control letters."""
    record = tray(4)
    evil = PhotoFacts("=HYPERLINK(1).jpg", "2" * 64, 1600, 1200)
    shells = tuple(replace(s, id=f"=1+{i}") for i, s in enumerate(record.shells))
    record = replace(record, photo=evil, shells=shells)
    Path("=cmd.json").write_bytes(record_bytes(record))
    Path("l.toml").write_text(LIMITS)
    status, out, _ = petitpied("sort", "=cmd.json", "--limits", "l.toml")
    assert status == 0
    rows = list(csv.reader(io.StringIO(Path("verdicts.csv").read_text(encoding="utf-8"))))
    for cell in (c for row in rows[1:] for c in row):
        assert not cell.startswith(("=", "+", "-", "@"))
    assert "\x1b" not in petitpied("pair", "=cmd.json", "--flavour", "\x1b[31mred")[1]
    assert "\x1b" not in out


def test_an_outline_that_is_no_line_is_set_aside(petitpied):
    shells = [*tray(4).shells, changed(a_shell("B1", 1, 0), outline_px=np.zeros((20, 2)))]
    write("one.json", a_record(shells))
    found = json.loads(petitpied("pair", "one.json", "--json")[1])
    assert len(found["pairs"]) == 2
    assert found["left_over"][0]["id"] == "B1"
    assert "no closed line" in found["left_over"][0]["why"]


def test_inspect_fills_in_verdicts(petitpied, monkeypatch, small_photo, tmp_path):
    monkeypatch.setitem(sys.modules, "petitpied.inspection.one_photo", fakes)
    Path("l.toml").write_text(LIMITS)
    status, out, _ = petitpied("inspect", small_photo, "--limits", "l.toml", "--out", "r")
    assert status == 0
    assert "16 shells: " in out
    record = read_record(next((tmp_path / "r").glob("*[!o].json")))
    assert {s.verdict for s in record.shells} <= {"top", "bottom", "crumbs", "check by eye"}
    rows = list(csv.DictReader(io.StringIO(next(Path("r").glob("*.csv")).read_text())))
    assert [row["verdict"] for row in rows] == [s.verdict for s in record.shells]
    status, _, err = petitpied("inspect", small_photo, "--limits", "none.toml")
    assert_plain(status, err, ExitCode.OWN_FILE)
    assert petitpied("inspect", small_photo, "--relative", "--limits", "l.toml")[0] == 2


def test_verdict_and_reasons_come_back_from_the_record(petitpied, tmp_path):
    judged = replace(a_shell(), verdict="bottom", reasons=("diameter is above the limit",))
    write("one.json", a_record([judged, a_shell("A2", 0, 1)]))
    assert petitpied("schema")[0] == 0
    first, other = read_record(tmp_path / "one.json").shells
    assert (first.verdict, first.reasons) == ("bottom", ("diameter is above the limit",))
    assert (other.verdict, other.reasons) == (None, ())


def coloured(shell, lightness, dimples=()):
    """With a colour and dimples of these confidences, as from a photo with a grey strip."""
    marks = tuple(
        SurfaceMark((10.0, 10.0), (1.0, 1.0), Quantity(2.0, 0.3), Quantity(0.3, 0.1), float(c))
        for c in dimples
    )
    lab = [Quantity(v, 0.3, 0.5) for v in (lightness, 20.0, 10.0)]
    browning = Quantity(0.5, 0.3)
    return changed(shell, colour=Colour(*lab), dimples=marks, browning=browning)


def test_colour_dimples_and_flavour_come_from_the_record(petitpied):
    tray_colour = TrayColour(True, "grey strip of card A", "flavour rose")
    shells = [
        coloured(a_shell(f"A{i + 1}", 0, i, 42.0), lightness)
        for i, lightness in enumerate((60, 66, 66.2, 60.1))
    ]
    shells.append(coloured(a_shell("B1", 1, 0, 42.0), 60, dimples=(0.99,)))
    shells.append(coloured(a_shell("B2", 1, 1, 42.0), 60, dimples=(0.6,)))
    write("one.json", a_record(shells, colour=tray_colour))
    Path("l.toml").write_text("[top]\ndimples = { max = 0 }\n")
    status, out, _ = petitpied("sort", "one.json", "--limits", "l.toml")
    assert status == 0
    assert "4 top, 1 crumbs, 1 check by eye" in out
    assert "1 dimple, and the limit is 0" in out
    assert "dimples: perhaps up to 1, and the limit is 0" in out
    found = json.loads(petitpied("pair", "one.json", "--limits", "l.toml", "--json")[1])
    pairs = {(p["a"]["id"], p["b"]["id"]) for p in found["pairs"]}
    assert pairs == {("A1", "A4"), ("A2", "A3")}  # light with light, dark with dark
    Path("b.toml").write_text(BOX)
    found = json.loads(
        petitpied("box", "one.json", "--limits", "l.toml", "--box", "b.toml", "--json")[1]
    )
    assert {m["flavour"] for b in found["boxes"] for m in b["macarons"]} == {"rose"}
    # the middles of the pairs: 60.05 and 66.1
    assert found["worst_colour"] == found["worst_colour_bound"] == pytest.approx(6.05)


@pytest.mark.parametrize("turn_deg", [40.0, -115.0, 180.0])
def test_the_notches_of_a_pair_meet_when_it_is_closed(turn_deg):
    """Turn the second as told (x towards y), fold it over sideways: its notch comes to lie where
    the first has its own."""
    first, second = lots.a_shell("A1"), lots.a_shell("A2")
    pair = Pair(first, second, turn_deg, 0.1, Quantity(0.0, 0.1))
    tray_ = LotTray("tray.json", "tray", a_record())
    codes = pair_codes(Pairing((pair,), (), 0.1, 0.1), tray_)
    notch = np.deg2rad(codes["A2"].notch_deg + turn_deg)
    folded = [-np.cos(notch), np.sin(notch)]
    stays = np.deg2rad(codes["A1"].notch_deg)
    assert folded == pytest.approx([np.cos(stays), np.sin(stays)], abs=1e-9)
