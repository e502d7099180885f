"""`petitpied lens`, `card --check` and their use by `inspect`, as a baker types them."""

import tomllib
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

from petitpied.camera.lens.profile_text import profile_text
from petitpied.domain.errors import ExitCode
from petitpied.files.own.lens_files import own_name
from petitpied.files.own.print_scales import own_print_scales
from petitpied.files.own_folders import cards_file, lenses_folder
from tests.camera.card_views import overhead_view
from tests.camera.lens.charts import Lens, good_poses, photograph
from tests.camera.lens.test_profile_text import a_profile
from tests.camera.test_print_check import beside_a_bank_card
from tests.cli import fakes
from tests.records import a_record

LENS = Lens().scaled(0.6)


def save(path, grey, focal_35mm=26):
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Brume", "Phone 1"
    inner = exif.get_ifd(0x8769)
    inner[0xA405], inner[0x920A] = focal_35mm, 5.6
    Image.fromarray(cv2.cvtColor(grey, cv2.COLOR_GRAY2RGB)).save(path, quality=95, exif=exif)


@pytest.fixture(scope="module")
def chart_photos(tmp_path_factory):
    folder = tmp_path_factory.mktemp("chart")
    for i, at in enumerate(good_poses(np.random.default_rng(8), 8)):
        save(folder / f"c{i}.jpg", photograph(LENS, at, np.random.default_rng(i)))
    return folder


def test_photos_of_the_chart_to_a_profile_that_inspect_then_chooses(
    petitpied, chart_photos, tmp_path, monkeypatch
):
    status, out, err = petitpied("lens", chart_photos)
    assert (status, err) == (0, "")
    assert "Brume Phone 1, 26 mm, 960 x 720" in out
    assert "focal length" in out
    assert "±" in out
    (written,) = lenses_folder().iterdir()
    assert written.name == "brume-phone-1_26mm_960x720.yml"

    seen = []

    def inspect_photo(photo, settings, *_aside):
        seen.append(photo.lens)
        return replace(fakes.inspect_photo(photo, settings), lens_profile=photo.lens.profile)

    monkeypatch.setattr("petitpied.inspection.one_photo.inspect_photo", inspect_photo)
    tray = tmp_path / "tray.jpg"
    save(tray, np.full((1440, 1920), 128, np.uint8))
    status, out, err = petitpied("inspect", tray, "--out", tmp_path / "out")
    assert (status, err) == (0, "")
    assert "lens profile: Brume Phone 1, 26 mm, 960 x 720" in out
    assert seen[0].focal_px == pytest.approx(2 * LENS.focal_px, rel=0.003)


def test_too_few_chart_photos_write_nothing(petitpied, chart_photos, tmp_path):
    out = tmp_path / "lens.yml"
    few = sorted(chart_photos.iterdir())[:3]
    plain = tmp_path / "plain.jpg"
    save(plain, np.full((720, 960), 140, np.uint8))
    status, _, err = petitpied("lens", *few, few[0], plain, "--out", out)
    assert status == ExitCode.LENS
    assert "not used: plain.jpg: no lens chart found" in err
    assert "3 of 4 can be used and at least 8 are needed" in err
    assert not out.exists()


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda text: text[:-30], "cut short"),
        (lambda text: text.replace("4032", "4000", 1), "edited"),
        (lambda _: "K: 3\n", "no lens profile"),
    ],
)
def test_a_bad_profile_stops_when_named_and_is_told_when_in_the_own_folder(
    petitpied, tmp_path, small_photo, monkeypatch, spoil, words
):
    monkeypatch.setattr("petitpied.inspection.one_photo.inspect_photo", fakes.inspect_photo)
    bad = tmp_path / "bad.yml"
    bad.write_text(spoil(profile_text(a_profile())))
    status, _, err = petitpied("inspect", small_photo, "--lens", bad)
    assert status == ExitCode.LENS
    assert words in err
    assert len(err.strip().splitlines()) == 1
    lenses_folder().mkdir(parents=True)
    bad.rename(lenses_folder() / "bad.yml")
    status, _, err = petitpied("inspect", small_photo, "--out", tmp_path / "out")
    assert status == 0
    assert err.startswith("warning: bad.yml cannot be used")


def test_a_profile_of_another_lens_is_refused_by_its_name(petitpied, tmp_path):
    profile = tmp_path / own_name(a_profile(camera="Brume Phone 2"))
    profile.write_text(profile_text(a_profile(camera="Brume Phone 2")))
    tray = tmp_path / "tray.jpg"
    save(tray, np.full((480, 640), 128, np.uint8))
    status, _, err = petitpied("inspect", tray, "--lens", profile)
    assert status == ExitCode.LENS
    assert "of another lens than tray.jpg" in err
    assert "taken by Brume Phone 1" in err
    status, _, err = petitpied("inspect", tray, "--lens", tmp_path / "none.yml")
    assert status == ExitCode.LENS
    assert "no such file" in err.lower()


def test_the_measured_bar_is_remembered_for_its_card_and_forgotten_when_true(petitpied):
    assert own_print_scales() == ()
    status, out, _ = petitpied("card", "--check", "--bar", "97", "--letter", "B")
    assert status == 0
    assert "card B: printed at 97.0 %, allowed for" in out
    assert own_print_scales() == (("B", 0.97),)
    assert tomllib.loads(cards_file().read_text()) == {"bar_mm": {"B": 97.0}}
    petitpied("card", "--check", "--bar", "98.5")
    assert dict(own_print_scales()) == dict.fromkeys("ABCD", 0.985)
    status, out, _ = petitpied("card", "--check", "--bar", "100", "--letter", "A")
    assert "printed true" in out
    assert dict(own_print_scales()) == dict.fromkeys("BCD", 0.985)


def test_the_bar_is_asked_for(petitpied, monkeypatch):
    monkeypatch.setattr("typer.prompt", lambda *_, **__: 99.0)
    assert petitpied("card", "--check")[0] == 0
    assert dict(own_print_scales())["A"] == 0.99
    monkeypatch.setattr("typer.prompt", lambda *_, **__: 9.0)
    assert petitpied("card", "--check")[0] == 2


@pytest.mark.parametrize(
    "arguments",
    [
        ("--bar", "97"),
        ("--letter", "A"),
        ("--check", "--chart"),
        ("--check", "--bar", "nan"),
        ("--check", "--bar", "10"),
        ("--check", "--letter", "E", "--bar", "99"),
    ],
)
def test_wrong_usage_of_the_check(petitpied, arguments):
    assert petitpied("card", *arguments)[0] == 2


@pytest.mark.parametrize("text", ["bar_mm = 3", "[bar_mm]\nE = 97", "[bar_mm]\nA = 9", "[bar_mm"])
def test_a_faulty_list_of_print_scales_is_told(petitpied, small_photo, text):
    cards_file().parent.mkdir(parents=True)
    cards_file().write_text(text)
    status, _, err = petitpied("inspect", small_photo)
    assert status == ExitCode.OWN_FILE
    assert "print scales" in err
    assert petitpied("card", "--check", "--bar", "98")[0] == 0  # made anew
    assert dict(own_print_scales())["A"] == 0.98


def test_a_bank_card_beside_the_printed_one_measures_the_print(petitpied, tmp_path):
    view = overhead_view(tilt_deg=2.0, height_mm=340.0, focal_px=2000.0, at_mm=(75.0, 50.0))
    photo = tmp_path / "both.png"
    cv2.imwrite(str(photo), beside_a_bank_card(view, 0.97, (100.0, 0.0, 1.5)))
    status, out, err = petitpied("card", "--check", "--photo", photo, "--letter", "A")
    assert (status, err) == (0, "")
    assert "the 100 mm bar must measure" in out
    # 0.14 % standard uncertainty, three of them
    assert dict(own_print_scales())["A"] == pytest.approx(0.97, abs=0.005)


def test_the_print_scale_reaches_inspect_and_is_shown(
    petitpied, small_photo, tmp_path, monkeypatch
):
    given = []

    def inspect_photo(photo, settings, *_aside):
        given.append(dict(settings.print_scales))
        record = fakes.inspect_photo(photo, settings)
        return replace(record, cards=(replace(a_record().cards[0], print_scale=0.97),))

    monkeypatch.setattr("petitpied.inspection.one_photo.inspect_photo", inspect_photo)
    petitpied("card", "--check", "--bar", "98", "--letter", "A")
    status, out, _ = petitpied("inspect", small_photo, "--out", tmp_path)
    assert status == 0
    assert given[-1] == {"A": 0.98}
    assert "card A is printed at 97.0 %, allowed for" in out
    petitpied("inspect", small_photo, "--out", tmp_path, "--check-bar", "97.0")
    assert given[-1] == dict.fromkeys("ABCD", 0.97)
    assert petitpied("inspect", small_photo, "--relative", "--check-bar", "97")[0] == 2


def test_the_chart_for_paper_and_tablet(petitpied, tmp_path):
    assert petitpied("card", "--chart", "--out", tmp_path, "--paper", "letter")[0] == 0
    written = {path.name for path in tmp_path.iterdir()}
    assert written == {"lens_chart_letter.pdf", "lens_chart_screen.png"}

