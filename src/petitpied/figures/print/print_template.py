"""Piping sheets as vector PDF at true scale: one page, or pages to glue for a whole tray."""

from dataclasses import dataclass

import numpy as np

from petitpied.domain import card
from petitpied.figures.drawing import Drawing, Path, Shape, Text, Window, corners, rect
from petitpied.figures.look import Rgb
from petitpied.figures.paper import (
    BAR_MM,
    BLACK,
    PAPER_NAMES,
    PAPERS_MM,
    grey,
    hairlines,
    scale_bar,
)
from petitpied.figures.pdf import pages_pdf
from petitpied.piping.forms import Form, outline_mm
from petitpied.piping.sheet import PAGE_BORDER_MM, Sheet, Tile, tiles

PIPE_LINE_MM = 0.35  # seen through parchment
BAKED_LINE_MM = 0.2
BAKED_DOT_MM = 0.8
TITLE = "petitpied piping sheet"
BAR_NOTE = "100 mm: check with a ruler. Print at 100 %."
CARD_WORDS = (
    "Card: lay it here for the photo,",
    "strip down, on the cooled tray.",
    "No shell here. Not in the oven.",
)


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
    size_mm = (template.sheet.width_mm, template.sheet.height_mm)
    whole = _sheet(template)
    if size_mm == PAPERS_MM[paper]:
        page = Drawing(*size_mm, [*whole, *_bar(16.0, size_mm[1] - 6.5)], unit="mm")
        return pages_pdf([page], TITLE)
    page_mm = tile_page_mm(size_mm, paper)
    parts = tiles(size_mm, page_mm)
    names = [f"page {n} of {len(parts)}, {PAPER_NAMES[paper]}" for n in range(1, len(parts) + 1)]
    pages = [
        _tile(page_mm, whole, tile, name) for tile, name in zip(parts, names, strict=True)
    ]
    return pages_pdf(pages, TITLE)


def tile_page_mm(size_mm: tuple[float, float], paper: str) -> tuple[float, float]:
    """The paper upright or lying, whichever way fewer pages show the whole sheet."""
    upright = PAPERS_MM[paper]
    return min(upright, upright[::-1], key=lambda page_mm: len(tiles(size_mm, page_mm)))


def _tile(
    page_mm: tuple[float, float], whole: list[Shape], tile: Tile, name: str
) -> Drawing:
    """One page of a large sheet: its part, a frame to cut at, what to do."""
    shown = (page_mm[0] - 2 * PAGE_BORDER_MM, page_mm[1] - 2 * PAGE_BORDER_MM)
    corner = (PAGE_BORDER_MM, PAGE_BORDER_MM)
    cut = [side for side, there in (("left", tile.column), ("upper", tile.row)) if there]
    note = f"Piping sheet, {name}."
    if cut:
        note += f" Cut at the {' and the '.join(cut)} dashes, lay over the page before by 10 mm."
    shapes: list[Shape] = [
        Window(corner, shown, whole, (tile.left_mm, tile.top_mm)),
        Path([corners(corner, shown)], True, None, grey(0.5), 0.15, 2.0),
        Text((PAGE_BORDER_MM, 7.0), note, 2.7, colour=BLACK),
        *_bar(PAGE_BORDER_MM, page_mm[1] - 4.0),
    ]
    return Drawing(*page_mm, shapes, unit="mm")


def _bar(left_mm: float, y_mm: float) -> list[Shape]:
    note = Text((left_mm + BAR_MM + 3.0, y_mm), BAR_NOTE, 2.7, colour=BLACK)
    return [*scale_bar(left_mm, y_mm), note]


def _sheet(template: Template) -> list[Shape]:
    """The whole sheet, in its own frame."""
    sheet = template.sheet
    shapes: list[Shape] = [
        Text((16.0, y), words, size, colour=BLACK)
        for y, words, size in zip((7.5, 11.5), template.words, (3.3, 2.7), strict=True)
    ]
    piped = outline_mm(template.form, template.piped_mm)
    baked = outline_mm(template.form, template.baked_mm)
    for place in sheet.places:
        x, y = place.centre_mm
        shapes += [
            Path([np.add(piped, (x, y))], True, None, BLACK, PIPE_LINE_MM),
            Path([np.add(baked, (x, y))], True, None, grey(0.45), BAKED_LINE_MM, BAKED_DOT_MM),
            hairlines(((x - 2.0, y), (x + 2.0, y)), ((x, y - 2.0), (x, y + 2.0))),
            _amid(x, y + 6.0, place.id, 3.1, grey(0.3)),
        ]
    half_width, half_height = np.ptp(baked, axis=0) / 2
    shapes += _letters(sheet, float(half_width), float(half_height))
    shapes += _card_place(sheet)
    left, y = sheet.width_mm - 58.0, sheet.height_mm - 14.0
    arrow = [(left, y), (left + 4.0, y), (left + 2.0, y + 4.0)]
    words = Text((left + 6.0, y + 2.9), "oven door this side", 3.3, colour=BLACK)
    return [*shapes, Path([arrow], True, BLACK, None), words]


def _amid(x_mm: float, y_mm: float, text: str, size_mm: float, colour: Rgb = BLACK) -> Text:
    return Text((x_mm, y_mm), text, size_mm, "middle", "middle", colour)


def _letters(sheet: Sheet, half_width_mm: float, half_height_mm: float) -> list[Shape]:
    """Rows' letters at the left, columns' numbers above."""
    rows = {p.row: p for p in sheet.places if p.column == 0}.values()
    columns = {p.column: p for p in sheet.places if p.row == 0}.values()
    shapes: list[Shape] = []
    for place in rows:
        x, y = place.centre_mm
        shapes.append(_amid(max(7.0, x - half_width_mm - 5.0), y, place.id[:-1], 4.3))
    for place in columns:
        x, y = place.centre_mm
        shapes.append(_amid(x, max(14.5, y - half_height_mm - 4.0), str(place.column + 1), 4.3))
    return shapes


def _card_place(sheet: Sheet) -> list[Shape]:
    """Where the card goes for the photo: its outline, its strip's edge, what it is for."""
    if sheet.card_mm is None:
        return []
    x, y = sheet.card_mm
    card_mm = corners((x, y), (card.WIDTH_MM, card.HEIGHT_MM))
    strip = (card.STRIP_TOP_LEFT_MM, len(card.PATCHES_SRGB) * card.PATCH_MM[0], card.PATCH_MM[1])
    (strip_x, strip_y), width, height = strip
    return [
        Path([card_mm], True, None, grey(0.3), 0.25, 2.0),
        rect((x + strip_x, y + strip_y), (width, height), stroke=grey(0.5), width=0.2),
        *(
            _amid(x + card.WIDTH_MM / 2, y + 20.0 + 5.5 * i, line, 3.3, grey(0.3))
            for i, line in enumerate(CARD_WORDS)
        ),
    ]
