"""Piping sheets as vector PDF at true scale: one page, or pages to glue for a whole tray."""

from dataclasses import dataclass

import numpy as np

from petitpied.domain import card
from petitpied.figures.print.pdf_page import PAPER_NAMES, PAPERS_MM, Page
from petitpied.piping.forms import Form, outline_mm
from petitpied.piping.sheet import PAGE_BORDER_MM, Sheet, Tile, tiles

PIPE_LINE_MM = 0.35  # seen through parchment
BAKED_LINE_MM = 0.2
BAKED_DOT_MM = 0.8
TITLE = "petitpied piping sheet"
BAR_NOTE = "100 mm: check with a ruler"


@dataclass(frozen=True, slots=True)
class Template:
    """What is printed: the sheet, the form, its size as piped and as baked, and two lines of
    words for the upper edge."""

    sheet: Sheet
    form: Form
    piped_mm: float
    baked_mm: float
    words: tuple[str, str]


def template_pdf(template: Template, paper: str) -> bytes:
    """The piping sheet as PDF; the same bytes at every call.

    One page where the sheet has the paper's size, else pages that overlap, with cut lines.

    Parameters
    ----------
    paper : {"a4", "letter", "a3"}
    """
    sheet = template.sheet
    size_mm = (sheet.width_mm, sheet.height_mm)
    if size_mm == PAPERS_MM[paper]:
        page = Page(size_mm, TITLE)
        _draw(page, template)
        page.scale_bar(16.0, page.height_mm - 6.5, f"{BAR_NOTE}. Print at 100 %.")
        return page.finish()
    page_mm = tile_page_mm(size_mm, paper)
    page = Page(page_mm, TITLE)
    parts = tiles(size_mm, page_mm)
    for number, tile in enumerate(parts):
        if number:
            page.next_page()
        _tile(page, template, tile, f"page {number + 1} of {len(parts)}, {PAPER_NAMES[paper]}")
    return page.finish()


def tile_page_mm(size_mm: tuple[float, float], paper: str) -> tuple[float, float]:
    """The paper upright or lying, whichever way fewer pages show the whole sheet."""
    upright = PAPERS_MM[paper]
    return min(upright, upright[::-1], key=lambda page_mm: len(tiles(size_mm, page_mm)))


def _tile(page: Page, template: Template, tile: Tile, name: str) -> None:
    """One page of a large sheet: its part, a frame to cut at, what to do."""
    shown = (page.width_mm - 2 * PAGE_BORDER_MM, page.height_mm - 2 * PAGE_BORDER_MM)
    corner = (PAGE_BORDER_MM, PAGE_BORDER_MM)
    with page.window(corner, shown, (tile.left_mm, tile.top_mm)):
        _draw(page, template)
    frame = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * shown + corner
    page.outline(frame, width_mm=0.15, grey=0.5, dash_mm=2.0)
    cut = [side for side, there in (("left", tile.column), ("upper", tile.row)) if there]
    note = f"Piping sheet, {name}."
    if cut:
        note += f" Cut at the {' and the '.join(cut)} dashes, lay over the page before by 10 mm."
    page.text((PAGE_BORDER_MM, 7.0), note, size_mm=2.8)
    page.scale_bar(PAGE_BORDER_MM, page.height_mm - 4.0, f"{BAR_NOTE}. Print at 100 %.")


def _draw(page: Page, template: Template) -> None:
    """The whole sheet, in its own frame."""
    sheet = template.sheet
    page.text((16.0, 7.5), template.words[0], size_mm=3.4)
    page.text((16.0, 11.5), template.words[1], size_mm=2.8)
    piped = outline_mm(template.form, template.piped_mm)
    baked = outline_mm(template.form, template.baked_mm)
    reach = np.ptp(baked, axis=0) / 2
    for place in sheet.places:
        middle = np.array(place.centre_mm)
        page.outline(piped + middle, width_mm=PIPE_LINE_MM, grey=0.0)
        page.outline(baked + middle, width_mm=BAKED_LINE_MM, grey=0.45, dash_mm=BAKED_DOT_MM)
        for arm in ((2.0, 0.0), (0.0, 2.0)):
            page.line(tuple(middle - arm), tuple(middle + arm))
        page.text_centred((middle[0], middle[1] + 6.0), place.id, size_mm=3.2, grey=0.3)
    _letters(page, sheet, float(reach[0]), float(reach[1]))
    _card_place(page, sheet)
    page.text((sheet.width_mm - 52.0, sheet.height_mm - 10.5), "oven door this side", size_mm=3.4)
    left, y = sheet.width_mm - 58.0, sheet.height_mm - 13.0
    page.shapes([np.array([(left, y), (left + 4.0, y), (left + 2.0, y + 4.0)])], grey=0.0)


def _letters(page: Page, sheet: Sheet, half_width_mm: float, half_height_mm: float) -> None:
    """Rows' letters at the left, columns' numbers above."""
    by_row = {p.row: p for p in sheet.places if p.column == 0}
    by_column = {p.column: p for p in sheet.places if p.row == 0}
    for place in by_row.values():
        x, y = place.centre_mm
        page.text_centred((max(7.0, x - half_width_mm - 5.0), y), place.id[:-1], size_mm=4.5)
    for place in by_column.values():
        x, y = place.centre_mm
        number = str(place.column + 1)
        page.text_centred((x, max(14.5, y - half_height_mm - 4.0)), number, size_mm=4.5)


def _card_place(page: Page, sheet: Sheet) -> None:
    """Where the card goes for the photo: its outline, its strip's edge, what it is for."""
    if sheet.card_mm is None:
        return
    x, y = sheet.card_mm
    box = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * [card.WIDTH_MM, card.HEIGHT_MM]
    page.outline(box + np.array(sheet.card_mm), width_mm=0.25, grey=0.3, dash_mm=2.0)
    middle = x + card.WIDTH_MM / 2
    for line, text in enumerate(
        (
            "Card: lay it here for the photo,",
            "strip down, on the cooled tray.",
            "No shell here. Not in the oven.",
        )
    ):
        page.text_centred((middle, y + 20.0 + 5.5 * line), text, size_mm=3.4, grey=0.3)
    strip = np.array([(0, 0), (77.0, 0), (77.0, 5.0), (0, 5.0)]) + np.array([x + 4.3, y + 48.0])
    page.outline(strip, width_mm=0.2, grey=0.5)
