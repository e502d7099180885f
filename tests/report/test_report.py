"""The report: what it says, that it holds everything it needs, and hostile input."""

import base64
import hashlib
import json
import re
import shutil
import time
from dataclasses import replace
from datetime import UTC, datetime
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
import typer
from PIL import Image

from petitpied.domain.bake import BakeFacts
from petitpied.domain.errors import LotError, OwnFileError, RecordError
from petitpied.domain.photo import Photo
from petitpied.domain.quantity import Quantity
from petitpied.figures.charts.charts import Mark, Sized, count_chart, diameter_chart
from petitpied.figures.drawing import Spot
from petitpied.figures.svg import inline_svg
from petitpied.files.records.record_files import record_bytes
from petitpied.report.blocks import Letterhead
from petitpied.report.html import report_html
from petitpied.report.letterhead import read_letterhead
from petitpied.report.material import trays_of_records
from petitpied.report.message import report_text
from petitpied.report.pdf import report_pdf
from petitpied.report.report_job import Asked, run
from tests.records import a_record, a_shell, relative_record, unmeasured_shell
from tests.report.reports import a_png, a_report, a_tray

SAMPLES = Path(__file__).parents[2] / "sample_images"


class Page(HTMLParser):
    """Tags with their attributes, headings, and the text outside of styles."""

    def __init__(self, data):
        super().__init__()
        self.tags, self.text, self._inside = [], "", []
        self.feed(data.decode())

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))
        if tag not in ("meta", "img", "polyline", "rect", "circle"):
            self._inside.append(tag)

    def handle_endtag(self, tag):
        if self._inside and self._inside[-1] == tag:
            self._inside.pop()

    def handle_data(self, data):
        if "style" not in self._inside:
            self.text += data

    def named(self, tag):
        return [attributes for name, attributes in self.tags if name == tag]


def pdf_text(data):
    document = pypdfium2.PdfDocument(data)
    text = ""
    for page in document:
        text_page = page.get_textpage()
        text += text_page.get_text_range() + "\n"
        text_page.close()
        page.close()
    document.close()
    return text


def test_page_pdf_and_text_say_the_same():
    """One model: every plain sentence stands in each of the three."""
    report = a_report()
    page, text = Page(report_html(report)).text, report_text(report)
    pdf = pdf_text(report_pdf(report))
    flat = " ".join(pdf.split())
    for sentence in (*report.plain, report.title):
        assert sentence in page
        assert sentence in flat
        assert sentence in text
    for heading in ("Diameters", "How it was measured", "Every shell", "Cautions"):
        assert heading in page
        assert heading in flat


def test_what_a_report_holds():
    page = Page(report_html(a_report()))
    for words in (
        "16 shells on the tray",
        "± holds 95 %",
        "card A, 85.60 x 53.98 mm",
        "camera 700 mm above the liner",
        "almond (a tree nut) and egg",
        "5 °C (41 °F)",
        "2 hours",
        "FDA Food Code 3-501.16",
        "not food-contact material",
        "Photo taken 2026-03-08 09:15",
        "A diameter is known to ±",
    ):
        assert words in page.text
    assert all(image["alt"] for image in page.named("img"))
    assert all(picture["aria-label"] for picture in page.named("svg"))


def test_the_stated_uncertainty_is_that_of_the_shells():
    """0.08 own and 0.1 shared: 1.96 times each, and of both together 0.128."""
    text = " ".join(Page(report_html(a_report())).text.split())
    assert "± 0.25 mm (median of 16 shells" in text
    assert "± 0.16 mm of the shell's own" in text
    assert "± 0.20 mm that all shells" in text


def test_the_page_asks_for_nothing_from_outside():
    page = Page(report_html(a_report()))
    for _, attributes in page.tags:
        for name in ("src", "href", "srcset", "action"):
            assert attributes.get(name, "data:").startswith("data:")
    assert not {"script", "link", "iframe", "object", "form"} & {name for name, _ in page.tags}
    assert "url(" not in report_html(a_report()).decode()
    policy = [m["content"] for m in page.named("meta") if m.get("http-equiv")]
    assert policy == ["default-src 'none'; img-src data:; style-src 'unsafe-inline'"]


def test_the_same_report_is_the_same_file():
    assert report_html(a_report()) == report_html(a_report())
    assert report_pdf(a_report()) == report_pdf(a_report())


def test_headings_go_down_one_step_at_a_time():
    tags = Page(report_html(a_report())).tags
    levels = [int(name[1]) for name, _ in tags if re.match("h[1-6]$", name)]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


HOSTILE = '<script>alert(1)</script>"\'><img src=x onerror=y>{{ 7*7 }} =1+1'


def hostile_record():
    shell = a_shell("A1", doubts=(HOSTILE,))
    record = a_record([shell, *(a_shell(f"A{i}", 0, i - 1) for i in range(2, 8))])
    photo = replace(record.photo, file=f"../{HOSTILE}.jpg", camera=HOSTILE, taken_at=HOSTILE)
    return replace(record, photo=photo, warnings=(HOSTILE, "\x1b[31m\u202ered"))


def test_markup_in_names_stays_text():
    facts = BakeFacts(
        "0" * 64, datetime(2026, 3, 8, tzinfo=UTC), HOSTILE, flavour=HOSTILE, note=HOSTILE
    )
    letterhead = Letterhead(HOSTILE, (HOSTILE,), None, HOSTILE)
    report = a_report(
        [a_tray(hostile_record(), name=HOSTILE, facts=facts)], letterhead=letterhead, title=HOSTILE
    )
    page = Page(report_html(report))
    assert not page.named("script")
    assert len(page.named("img")) == 2  # tray and contact sheet
    assert "49" not in page.text.replace("0.49", "")
    assert "<script>alert(1)</script>" in page.text
    assert "<script>" in pdf_text(report_pdf(report))
    for text in (page.text, report_text(report)):
        assert "\x1b" not in text
        assert "\u202e" not in text


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("霧のアトリエ", "霧のアトリエ"),
        ("حلويات", ""),  # joined forms: the text of a PDF gives them in the order drawn
        ("Pâtisserie Łódź Ωmega", "Pâtisserie Łódź Ωmega"),
        ("Кондитерская", "Кондитерская"),
        ("🍓 Brume", "Brume"),
        ("👩‍🍳❤️", ""),
    ],
)
def test_scripts_that_bakers_write_in(name, shown):
    report = a_report(letterhead=Letterhead(name, (name,)))
    text = pdf_text(report_pdf(report))
    assert shown in text
    assert "could not be set" not in text
    assert name in Page(report_html(report)).text


def test_a_letter_without_font_is_said_in_words():
    report = a_report(letterhead=Letterhead("한국 Brume"))
    text = " ".join(pdf_text(report_pdf(report)).split())
    assert "?? Brume" in text
    assert "could not be set in this PDF and stand as ?: Hangul" in text
    assert "한국 Brume" in Page(report_html(report)).text


def test_a_tray_whose_photo_is_gone_gets_a_plan():
    page = Page(report_html(a_report([a_tray(with_photo=False)])))
    assert not page.named("img")
    assert "the photo tray.jpg is gone from its place" in page.text
    assert any("Plan of the tray" in picture["aria-label"] for picture in page.named("svg"))


def test_relative_and_unmeasured_records():
    for record in (relative_record(), a_record([a_shell(), unmeasured_shell()])):
        report = a_report([a_tray(record)])
        assert report_pdf(report).startswith(b"%PDF")
        page = Page(report_html(report)).text
        assert "not measured: cut by the edge" in page or "relative to the median" in page


def test_several_trays_each_have_their_section():
    trays = [a_tray(name=f"tray {i}") for i in range(3)]
    page = Page(report_html(a_report(trays))).text
    assert "48 shells on 3 trays" in page
    for i in range(3):
        assert f"Tray tray {i}" in page
    assert page.index("Smallest") < page.index("Tray tray 0")  # of many trays the sum first


def test_nothing_to_report():
    with pytest.raises(LotError, match="no shell in the records"):
        a_report([a_tray(a_record(()))])


def test_facts_of_the_bake_are_told():
    facts = BakeFacts(
        "0" * 64, datetime(2026, 3, 8, 9, 30, tzinfo=UTC), "Deck 1", rack="middle", turn_deg=180,
        set_temperature_c=145.0, fan=False, rest_minutes=40.0, humidity_rel=0.55, flavour="rose",
    )  # fmt: skip
    page = Page(report_html(a_report([a_tray(facts=facts)]))).text
    assert (
        "Baked 2026-03-08 09:30, oven Deck 1, rack middle, tray turned, set to 145 °C, fan off, "
        "flavour rose, rested 40 min, humidity 55 %." in page
    )


class TestDiameterChart:
    def test_every_shell_is_one_mark_at_its_place(self):
        sized = [Sized(v, "pass" if v < 45 else "reject") for v in (43.2, 43.2, 44.0, 46.1)]
        drawing = diameter_chart(sized, [Mark(44.5, "wanted 44.5")], "mm")
        axis_y = max(s.at[1] for s in drawing.shapes if isinstance(s, Spot) and s.size < 20)
        spots = [s for s in drawing.shapes if isinstance(s, Spot)][:4]
        assert len(spots) == 4
        assert sorted(s.mark for s in spots) == ["cross", "disc", "disc", "disc"]
        assert [s.at[0] for s in spots] == sorted(s.at[0] for s in spots)
        assert axis_y < drawing.height
        assert "wanted 44.5" in drawing.alt

    @pytest.mark.parametrize("count", [1, 2, 1000])
    def test_any_number_of_shells_stays_on_the_chart(self, count):
        sized = [Sized(45 + 0.001 * (i % 700)) for i in range(count)]
        drawing = diameter_chart(sized, [], "mm")
        spots = [s for s in drawing.shapes if isinstance(s, Spot)]
        assert len(spots) == count
        assert all(0 <= s.at[0] <= drawing.width for s in spots)
        assert all(0 <= s.at[1] <= drawing.height for s in spots)

    def test_counts(self):
        drawing = count_chart([("cracked <b>", 3), ("small", 0)], 36)
        assert drawing.alt == "cracked <b>: 3 of 36; small: 0 of 36."
        assert "<b>" not in inline_svg(drawing)


class TestLetterhead:
    def write(self, tmp_path, text):
        path = tmp_path / "letterhead.toml"
        path.write_text(text, encoding="utf-8")
        return path

    def test_a_whole_letterhead(self, tmp_path):
        a_png(tmp_path / "logo.png", (2000, 400))
        head = read_letterhead(
            self.write(
                tmp_path,
                'name = "Atelier Brume"\nlines = ["Quay 3"]\npicture = "logo.png"\n'
                'picture_alt = "A cloud"\nfoot = "Thank you"\n',
            )
        )
        assert (head.name, head.lines, head.foot) == ("Atelier Brume", ("Quay 3",), "Thank you")
        assert head.picture.alt == "A cloud"
        assert (head.picture.width_px, head.picture.height_px) == (560, 112)
        page = Page(report_html(a_report(letterhead=head)))
        assert "Atelier Brume" in page.text
        assert page.named("img")[0]["alt"] == "A cloud"
        assert "Atelier Brume" in pdf_text(report_pdf(a_report(letterhead=head)))

    def test_facts_of_the_pictures_header_do_not_stay(self, tmp_path):
        exif = Image.Exif()
        exif[0x010F] = "SECRETMAKER"
        exif.get_ifd(0x8825)[1] = "N"
        Image.new("RGB", (50, 50)).save(tmp_path / "logo.jpg", exif=exif)
        head = read_letterhead(self.write(tmp_path, 'picture = "logo.jpg"'))
        assert b"SECRETMAKER" in (tmp_path / "logo.jpg").read_bytes()
        assert b"SECRETMAKER" not in head.picture.data
        assert b"Exif" not in head.picture.data

    @pytest.mark.parametrize(
        ("text", "says"),
        [
            ("nom = 'x'", r"line 1: .*not known here; allowed: name"),
            ("\nname = 3", r"line 2: name must be text"),
            ("lines = 'x'", r"line 1: .*list of at most 8"),
            ("lines = [1]", "lines must be text"),
            ("picture = 'none.png'", "no such file"),
            ("picture = '../logo.png'", "without a folder"),
            ("picture = '/etc/passwd'", "without a folder"),
            ("picture = 'letterhead.toml'", "cannot be used"),
            ("name = ", "not proper TOML"),
        ],
    )
    def test_faults_are_one_sentence(self, tmp_path, text, says):
        with pytest.raises(OwnFileError, match=says) as raised:
            read_letterhead(self.write(tmp_path, text))
        assert "\n" not in str(raised.value)

    def test_a_picture_of_100_megabytes_is_not_read(self, tmp_path):
        with (tmp_path / "logo.png").open("wb") as stream:
            stream.truncate(100_000_000)  # sparse: takes no room
        with pytest.raises(OwnFileError, match="it has 100 MB, at most 5"):
            read_letterhead(self.write(tmp_path, 'picture = "logo.png"'))

    def test_a_small_file_of_many_pixels_is_not_decoded(self, tmp_path):
        Image.new("1", (12_000, 12_000)).save(tmp_path / "logo.png")
        with pytest.raises(OwnFileError, match="more than 25 megapixels"):
            read_letterhead(self.write(tmp_path, 'picture = "logo.png"'))


@pytest.fixture
def measured(tmp_path):
    """A record beside its photo."""
    record = a_record()
    pixels = a_tray(record).photo.pixels_bgr
    Image.fromarray(pixels).save(tmp_path / "tray.jpg", quality=60)
    sha = hashlib.sha256((tmp_path / "tray.jpg").read_bytes()).hexdigest()
    record = replace(record, photo=replace(record.photo, sha256=sha))
    (tmp_path / "tray.json").write_bytes(record_bytes(record))
    return tmp_path


def test_the_photo_is_known_by_its_content(measured):
    (tray,) = trays_of_records([measured / "tray.json"], None, None)
    assert isinstance(tray.photo, Photo)
    (measured / "tray.jpg").write_bytes((measured / "tray.jpg").read_bytes() + b" ")
    (tray,) = trays_of_records([measured / "tray.json"], None, None)
    assert tray.photo is None
    assert "not the one that was measured" in tray.no_photo


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"outline_px": np.zeros((0, 2))}, "an outline that is none"),
        ({"outline_px": np.full((9, 2), 1e12)}, "an outline that is none"),
        ({"cap_outline_px": np.ones((1, 2))}, "an outline that is none"),
        ({"centre_px": (1e14, 0.0)}, "outside of any photo"),
        ({"centre_mm": (1e14, 0.0)}, "outside of any tray"),
        ({"diameter_mm": Quantity(1e14, 1.0)}, "a diameter of 1e\\+14 mm"),
        ({"diameter_mm": Quantity(0.0, 1.0)}, "a diameter of 0 mm"),
        ({"diameter_rel": 1e9}, "times the median"),
        ({"row": 10**9}, "row or column"),
        ({"id": "X" * 500}, "too long a name"),
        ({"id": "A2"}, "its name twice"),
    ],
)
def test_a_record_that_nothing_can_be_drawn_of_is_refused(tmp_path, changes, says):
    shells = [replace(a_shell("A1"), **changes), a_shell("A2", 0, 1)]
    (tmp_path / "tray.json").write_bytes(record_bytes(a_record(shells)))
    with pytest.raises(RecordError, match=f"tray cannot be reported: its shell .* has .*{says}"):
        trays_of_records([tmp_path / "tray.json"], None, None)


def test_the_photo_may_lie_in_another_folder(measured):
    other = measured / "other"
    other.mkdir()
    shutil.move(measured / "tray.jpg", other)
    (tray,) = trays_of_records([measured / "tray.json"], None, None)
    assert "gone from its place" in tray.no_photo
    (tray,) = trays_of_records([measured / "tray.json"], other, None)
    assert tray.photo is not None


def test_a_record_cannot_point_elsewhere(measured):
    """The name in a record is text from outside: only its last part is looked for."""
    secret = measured / "secret.jpg"
    shutil.move(measured / "tray.jpg", secret)
    inner = measured / "inner"
    inner.mkdir()
    data = json.loads((measured / "tray.json").read_text())
    data["photo"]["file"] = "../secret.jpg"
    (inner / "tray.json").write_text(json.dumps(data))
    (tray,) = trays_of_records([inner / "tray.json"], None, None)
    assert tray.photo is None


def test_the_command_writes_page_and_pdf_or_prints(measured, tmp_path):
    lines = run(Asked(records=(measured / "tray.json",)), tmp_path / "out")
    assert [line.split("/")[-1] for line in lines] == ["tray.report.html", "tray.report.pdf"]
    assert (tmp_path / "out/tray.report.pdf").read_bytes().startswith(b"%PDF")
    (text,) = run(Asked(records=(measured / "tray.json",), title="Sunday"), None)
    assert text.startswith("Sunday\n")
    assert "16 shells on the tray." in text


def test_place_and_serial_number_of_the_photo_reach_no_page(tmp_path):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA431] = "SERIAL4711"  # BodySerialNumber
    exif.get_ifd(0x8825).update({1: "N", 2: (48.0, 7.0, 13.0)})  # GPS
    record = a_record()
    Image.fromarray(a_tray(record).photo.pixels_bgr).save(tmp_path / "tray.jpg", exif=exif)
    data = (tmp_path / "tray.jpg").read_bytes()
    assert b"SERIAL4711" in data
    sha = hashlib.sha256(data).hexdigest()
    record = replace(record, photo=replace(record.photo, sha256=sha))
    (tmp_path / "tray.json").write_bytes(record_bytes(record))
    run(Asked(records=(tmp_path / "tray.json",)), tmp_path)
    page = (tmp_path / "tray.report.html").read_bytes()
    pictures = [base64.b64decode(p) for p in re.findall(rb"base64,([\w+/=]+)", page)]
    assert len(pictures) == 2
    for part in (page, (tmp_path / "tray.report.pdf").read_bytes(), *pictures):
        assert b"SERIAL4711" not in part
        assert b"Exif" not in part


def test_records_or_since_not_both_nor_none(measured):
    for asked in (Asked(), Asked((measured / "tray.json",), datetime(2026, 1, 1).date())):
        with pytest.raises(typer.BadParameter, match="one of both"):
            run(asked, None)


def test_no_bake_that_late_is_said_in_words(tmp_path):
    asked = Asked(since=datetime(2026, 1, 1).date(), db=f"sqlite:///{tmp_path}/history.db")
    with pytest.raises(LotError, match="no bake since 2026-01-01"):
        run(asked, None)


def test_time_and_size_of_one_trays_report():
    """Wanted: at most 2 s and 3 MB for one tray. Time is the processor's, so that a busy
    machine does not count; the program's start is not in it."""
    record = a_record()
    begun = time.process_time()
    report = a_report([a_tray(record)])
    html, pdf = report_html(report), report_pdf(report)
    assert time.process_time() - begun < 2.0
    assert len(html) < 3_000_000
    assert len(pdf) < 3_000_000
