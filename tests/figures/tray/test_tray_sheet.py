"""A sheet of a tray: what no picture can hold stays in the table, and the sheet says so."""

from petitpied.figures.tray.tray_sheet import tray_sheet
from petitpied.sorting.lot_trays import LotTray
from petitpied.text.sheet_words import Listing
from tests.records import a_record


def test_a_list_that_is_too_long_for_a_picture_is_cut_and_says_so():
    tray = LotTray("tray.json", "tray", a_record())
    lines = [f"A{n}: rejected, too small" for n in range(3000)]
    drawing = tray_sheet(tray, None, {}, Listing("Sorted", lines, ["a note"] * 400))
    assert drawing.height < 65_500  # as high as a JPEG may be
    texts = [getattr(shape, "text", "") for shape in drawing.shapes]
    assert sum("more lines stand in the table" in text for text in texts) == 2
