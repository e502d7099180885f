"""Sorting in the report: verdicts, yield, faults, pairs and boxes of a lot made by hand."""

import pytest

from petitpied.domain.own_file import OwnFile
from petitpied.report.blocks import Bullets, Chart, Paragraph, Table
from petitpied.report.html import report_html
from petitpied.report.lot_part import good_share, limit_marks, sort_trays, sorting_sections
from petitpied.report.pdf import report_pdf
from petitpied.sorting.box_file import parse_box
from petitpied.sorting.limits import parse_limits
from tests.records import a_record, a_shell, relative_record
from tests.report.reports import a_report, a_tray

LIMITS = """
[pass]
diameter_mm = { target = 45.0, tolerance = 1.5 }
[second]
diameter_mm = { target = 45.0, tolerance = 4.0 }
"""
BOX = "[box]\nslots = 3\nslot_pitch_mm = 50\n"
#: eight that surely pass (u is 0.13 mm), one too near to tell, two seconds, one reject
SIZES = (44.2, 44.4, 44.6, 44.8, 45.0, 45.2, 45.4, 45.6, 46.5, 47.5, 42.3, 52.0)


def the_tray(sizes=SIZES, **changes):
    shells = [a_shell(f"A{i + 1}", 0, i, size) for i, size in enumerate(sizes)]
    return a_tray(a_record(shells), with_photo=False, **changes)


def sorted_lot(trays=None, box=True):
    kind = parse_box(OwnFile.parsed(BOX, "box")) if box else None
    limits = parse_limits(OwnFile.parsed(LIMITS, "limits"))
    return sort_trays(trays or [the_tray()], limits, kind, pairs=True)


def words_of(sections):
    for section in sections:
        yield section.heading
        for block in section.blocks:
            if isinstance(block, Paragraph):
                yield block.text
            elif isinstance(block, Bullets):
                yield from (f"{lead}: {text}" for lead, text in block.items)
            elif isinstance(block, Chart):
                yield block.drawing.alt
            elif isinstance(block, Table):
                yield from (" ".join(row) for row in block.rows)


def test_verdicts_yield_and_faults():
    sorting = sorted_lot()
    counted = good_share(sorting)
    assert (counted.good, counted.baked) == (8, 12)
    text = "\n".join(words_of(sorting_sections(sorting)))
    others = "2 second choice, 1 rejected, 1 to check by eye."
    assert f"8 of 12 shells pass your limits; {others}" in text
    # Wilson's interval of 8 of 12, by its formula: (0.6667 + 0.16) / 1.32 -+ ...: 39 to 86 %
    assert "Yield 67 % (95 % interval for a process like this: 39 % to 86 %; Wilson" in text
    assert "diameter too large: 2 of 12" in text
    assert "diameter too small: 1 of 12" in text


def test_pairs_and_boxes():
    """Eight sure passes make four pairs of neighbours in size, 0.2 mm apart; seconds pair with
    each other and go into no box; three pairs fill a box of three, one is left."""
    sorting = sorted_lot()
    assert len(sorting.pairing.pairs) == 5
    assert len(sorting.boxing.boxes) == 1
    text = "\n".join(words_of(sorting_sections(sorting)))
    assert "5 pairs, 2 shells left over" in text
    assert "1 box of 3 filled" in text
    assert "A9: its verdict is check by eye" in text
    assert "no further box can be filled: 1 left, a box needs 3" in text
    assert "second" in text


def test_the_charts_axis_shows_the_limits():
    marks = limit_marks(parse_limits(OwnFile.parsed(LIMITS, "limits")))
    assert [(m.value, m.word) for m in marks] == [
        (43.5, "from 43.5"),
        (45.0, "wanted 45"),
        (46.5, "to 46.5"),
    ]
    assert limit_marks(None) == ()


@pytest.mark.parametrize("several", [False, True])
def test_the_whole_report_with_sorting(several):
    trays = [the_tray(name=f"tray {i}") for i in range(1 + several)]
    limits = parse_limits(OwnFile.parsed(LIMITS, "limits"))
    box = parse_box(OwnFile.parsed(BOX, "box"))
    report = a_report(trays, limits=limits, box=box, pairs=True)
    assert any("pass your limits" in sentence for sentence in report.plain)
    page = report_html(report).decode()
    assert ("tray 1 A1" in page) == several
    assert report_pdf(report).startswith(b"%PDF")


def test_a_tray_without_a_scale_is_neither_judged_nor_paired():
    sorting = sorted_lot([a_tray(relative_record())])
    assert good_share(sorting) is None
    assert sorting.pairing.pairs == ()
    headings = [section.heading for section in sorting_sections(sorting)]
    assert headings == ["Pairs", "Boxes"]


def test_nothing_is_sorted_unless_asked():
    sorting = sort_trays([the_tray()], None, None, pairs=False)
    assert sorting_sections(sorting) == []
