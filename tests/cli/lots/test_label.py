"""`petitpied label`: from the baker's file to text and PDF; bad files in one sentence."""

from itertools import pairwise

import pypdfium2
import pytest

from petitpied.cli.lots.label_job import drafted, lot_code
from petitpied.domain.errors import LotError, OwnFileError
from petitpied.figures.print.print_label import LEAST_X_MM, SHEETS, X_HEIGHT, fitted, label_pdf
from petitpied.files.own.label_file import LABEL_STARTER, read_label
from petitpied.files.own.recipe_file import STARTER
from petitpied.files.records.record_files import record_bytes
from petitpied.labels.label import Label, Run, draft
from tests.records import a_record


@pytest.fixture
def kitchen(tmp_path):
    (tmp_path / "recipe.toml").write_text(STARTER, encoding="utf-8")
    (tmp_path / "label.toml").write_text(LABEL_STARTER, encoding="utf-8")
    (tmp_path / "tray.json").write_bytes(record_bytes(a_record()))
    return tmp_path


def changed(kitchen, old, new):
    assert old in LABEL_STARTER
    path = kitchen / "label.toml"
    path.write_text(LABEL_STARTER.replace(old, new), encoding="utf-8")
    return path


def test_the_starter_makes_a_label(kitchen):
    found = drafted(kitchen / "label.toml", "a4-8", [kitchen / "tray.json"], None)
    text = found.files["label.txt"].decode()
    assert "ALMOND flour, icing sugar, EGG white" in text
    assert "SOYA lecithin" in text
    assert "Draft: check with your authority" in text
    lot = lot_code([a_record()])
    assert f"Lot {lot}" in text
    assert f"lot {lot}\n  tray tray: {len(a_record().shells)} shells" in text
    assert a_record().photo.sha256 in text
    assert not any("MISSING" in line for line in found.lines)


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_sheet_is_its_papers_size_and_full_of_labels(kitchen, sheet):
    label = draft(read_label(kitchen / "label.toml"))
    page = pypdfium2.PdfDocument(label_pdf(label, sheet))[0]
    paper = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}[SHEETS[sheet].paper]
    assert [s * 25.4 / 72 for s in page.get_size()] == pytest.approx(paper, abs=0.1)
    across, down = SHEETS[sheet].count
    text = page.get_textpage().get_text_range()
    assert text.count("Ingredients:") == across * down
    place, pitch = SHEETS[sheet].first_mm, SHEETS[sheet].pitch_mm
    size = SHEETS[sheet].size_mm
    for side in (0, 1):  # the last label lies on the paper
        last = place[side] + (SHEETS[sheet].count[side] - 1) * pitch[side] + size[side]
        assert last <= paper[side]


def test_what_is_bold_begins_where_the_text_before_it_ends(kitchen):
    """Places as a reader of PDF sees them: an f reaches 0.5 points over the next letter; a gap
    that is lost has 1.8 (a space of 0.26 of the letters' size, 7 points)."""
    label = draft(read_label(kitchen / "label.toml"))
    page = pypdfium2.PdfDocument(label_pdf(label, "a4-8"))[0].get_textpage()
    found = [page.get_charbox(i, loose=True) for i in range(page.count_chars())]
    for (left, low, right, _), (left2, low2, _, _) in pairwise(found):
        if abs(low - low2) < 0.1 and left2 > left:  # the next letter of the line
            assert left2 > right - 0.7


def test_letters_are_never_smaller_than_the_law_allows():
    sheet = SHEETS["a4-14"]
    for words in (5, 20, 40):
        label = Label("Macarons", ((Run("word " * words),),))
        assert fitted(label, sheet)[0] * X_HEIGHT >= LEAST_X_MM - 1e-9


def test_a_label_too_long_for_its_sheet(kitchen):
    parts = "\n".join(f'"a filling part of a rather long name, number {i}" = 1' for i in range(50))
    path = changed(kitchen, '"raspberries" = 50', parts)
    with pytest.raises(LotError, match=r"does not fit .* take larger labels: --sheet a4-4"):
        drafted(path, "a4-14", [], None)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('contains = ["milk", "soya"]', "# none said", "does not say which allergens it holds"),
        ('contains = ["milk", "soya"]', "contains = []", "looks like milk, but contains does not"),
        ('["milk", "soya"]', '["milk", "soya", "sesame"]', "said to hold sesame, but none of its"),
        ('["milk", "soya"]', '["nuts"]', "name the nut"),
        ("colours = []   ", 'colours = ["E999"]', '"E999" is no colour that is known'),
        ("net_g = 114", "net_g = 400", "said to hold 400 g, and its parts add up to 144 g"),
        ('made_for = "eu"', 'made_for = "mars"', '"mars" is no region; allowed: eu, uk, us'),
        ('date = "Best before 12 March 2026"', "", "date is missing"),
        ('"recipe.toml"', '"none.toml"', "none.toml cannot be read"),
        ("macarons = 6 ", "macarons = 0 ", "does not fit"),
    ],
)
def test_a_bad_file_is_one_sentence(kitchen, old, new, says):
    with pytest.raises(OwnFileError) as caught:
        drafted(changed(kitchen, old, new), "a4-8", [], None)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_lot_follows_the_photos():
    one = a_record()
    assert lot_code([one]) == lot_code([one])
    assert lot_code([one]) != lot_code([])


def test_the_command(petitpied, kitchen, monkeypatch):
    monkeypatch.chdir(kitchen)
    status, _, err = petitpied("label", "label.toml", "--lot", "K7", "--out", "labels")
    assert (status, err) == (0, "")
    assert (kitchen / "labels" / "label.pdf").read_bytes().startswith(b"%PDF")
    assert "Lot K7" in (kitchen / "labels" / "label.txt").read_text("utf-8")
    assert petitpied("label", "--new")[0] != 0  # never replaced
    assert petitpied("label")[0] == 2
