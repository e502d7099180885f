"""The report as PDF, A4, with its fonts inside."""

import io
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from typing import Any

from petitpied.figures import look
from petitpied.figures import script_fonts as fonts
from petitpied.figures.charts.charts import WIDTH
from petitpied.figures.pdf import draw, new_document
from petitpied.report.blocks import (
    Block,
    Bullets,
    Chart,
    Paragraph,
    Picture,
    Report,
    Section,
    Table,
)

MARGIN_MM = 15.0
BODY_PT, NOTE_PT, TABLE_PT = 10.0, 8.5, 8.0
HEADING_PT = {1: 17.0, 2: 13.0, 3: 11.0}
LEADING = 0.49  # line height in mm for each point of the font: 1.4 times the size
ROOM_FOR_HEADING_MM = 70.0  # a heading, its first words, and some of what follows
CHART_MM = 130.0  # of a chart of full width: its letters then have the text's size
PICTURE_MM = 195.0  # tallest picture: leaves room for its heading and caption on a page
HEAD_PICTURE_MM = (60.0, 22.0)  # widest and tallest picture of the letterhead
SHRINK = 0.7  # a picture may be made so much smaller to stay on the page


def report_pdf(report: Report) -> bytes:
    """The whole report; letters that no font of ours has become "?" and are named in a note."""
    shown = fonts.showable(_texts(report))
    page = _Pages(report, shown)
    page.head()
    for section in report.sections:
        page.section(section)
    if shown.lost:
        page.paragraph(
            f"Some letters could not be set in this PDF and stand as ?: {', '.join(shown.lost)}. "
            "The web page (HTML) shows them.",
            NOTE_PT,
        )
    return page.finish()


def _texts(part: Any) -> Iterator[str]:
    """Every text anywhere in the report."""
    if isinstance(part, str):
        yield part
    elif isinstance(part, tuple | list):
        for item in part:
            yield from _texts(item)
    elif is_dataclass(part):
        for field in fields(part):
            yield from _texts(getattr(part, field.name))


class _Pages:
    """A flow of blocks down A4 pages."""

    def __init__(self, report: Report, shown: fonts.Shown) -> None:
        self.report, self.clean = report, shown.clean
        title = shown.clean(report.title)
        self.pdf = new_document(title, _texts(report), numbered=True)
        self.pdf.set_margin(MARGIN_MM)
        self.pdf.set_auto_page_break(True, MARGIN_MM)
        self.pdf.add_page()

    def head(self) -> None:
        letterhead = self.report.letterhead
        if letterhead.picture is not None:
            self._picture_at_head(letterhead.picture)
        top = self.pdf.get_y()
        if letterhead.name:
            self._text(letterhead.name, 13.0, bold=True)
        for line in letterhead.lines:
            self._text(line, BODY_PT)
        if letterhead.picture is not None:
            self.pdf.set_left_margin(MARGIN_MM)
            self.pdf.set_y(max(self.pdf.get_y(), top + HEAD_PICTURE_MM[1]))
        self.pdf.ln(2.0)
        self._text(self.report.title, HEADING_PT[1], bold=True)
        self.paragraph(self.report.date, NOTE_PT)
        self.pdf.set_draw_color(*look.PLUM)
        self.pdf.set_line_width(0.8)
        y = self.pdf.get_y()
        self.pdf.line(MARGIN_MM, y, MARGIN_MM + self.pdf.epw, y)
        self.pdf.ln(3.0)
        for sentence in self.report.plain:
            self._text(sentence, 11.5)

    def section(self, section: Section) -> None:
        if self.pdf.get_y() > self.pdf.h - MARGIN_MM - self._room_to_begin(section):
            self.pdf.add_page()
        self.pdf.ln(4.0 if section.level == 2 else 2.0)
        self.pdf.start_section(self.clean(section.heading), level=0)
        self._text(section.heading, HEADING_PT[section.level], bold=True)
        for block in section.blocks:
            self._block(block)

    def _room_to_begin(self, section: Section) -> float:
        """Height that the heading and the first of what it announces need together."""
        height = 14.0
        for block in section.blocks:
            if isinstance(block, Paragraph):
                height += 8.0
            elif isinstance(block, Picture):
                tall = min(PICTURE_MM, self.pdf.epw * block.height_px / block.width_px)
                return float(height + SHRINK * tall + 9.0)
            elif isinstance(block, Chart):
                return height + _mm_per_unit(block) * block.drawing.height + 9.0
            else:
                break
        return max(ROOM_FOR_HEADING_MM, height)

    def paragraph(self, text: str, size_pt: float, *, bold: bool = False) -> None:
        colour = look.QUIET if size_pt == NOTE_PT else look.INK
        self._text(text, size_pt, bold=bold, colour=colour)
        self.pdf.ln(1.0)

    def finish(self) -> bytes:
        if self.report.letterhead.foot:
            self.paragraph(self.report.letterhead.foot, NOTE_PT)
        self.paragraph(f"{self.report.made_by}.", NOTE_PT)
        return bytes(self.pdf.output())

    def _block(self, block: Block) -> None:
        if isinstance(block, Paragraph):
            size = NOTE_PT if block.style == "note" else BODY_PT
            self.paragraph(block.text, size, bold=block.style == "strong")
        elif isinstance(block, Bullets):
            for lead, text in block.items:
                self.paragraph(f"•  {lead}: {text}" if lead else f"•  {text}", BODY_PT)
        elif isinstance(block, Table):
            self._table(block)
        elif isinstance(block, Picture):
            self._picture(block)
        elif isinstance(block, Chart):
            self._chart(block)

    def _text(
        self, text: str, size_pt: float, *, bold: bool = False, colour: look.Rgb = look.INK
    ) -> None:
        self.pdf.set_font("Base", "B" if bold else "", size_pt)
        self.pdf.set_text_color(*colour)
        self.pdf.multi_cell(
            0, size_pt * LEADING, self.clean(text), align="L", new_x="LMARGIN", new_y="NEXT"
        )

    def _table(self, table: Table) -> None:
        self.pdf.ln(1.0)
        self.paragraph(table.caption, BODY_PT, bold=True)
        self.pdf.set_font("Base", "", TABLE_PT)
        self.pdf.set_draw_color(*look.FAINT)
        self.pdf.set_line_width(0.2)
        align = tuple("RIGHT" if numeric else "LEFT" for numeric in table.numeric)
        cells = [[self.clean(cell) for cell in row] for row in (table.heads, *table.rows)]
        self.pdf.set_fill_color(*look.PAPER)
        with self.pdf.table(
            cells,
            text_align=align,
            borders_layout="HORIZONTAL_LINES",
            line_height=TABLE_PT * LEADING,
            padding=(0.4, 1.0, 0.4, 1.0),
            col_widths=_widths(self.pdf, cells, self.pdf.epw),
            headings_style=_heading_style(),
        ):
            pass  # the rows are all given
        self.pdf.ln(2.0)

    def _picture(self, picture: Picture) -> None:
        width = self.pdf.epw
        height = width * picture.height_px / picture.width_px
        if height > PICTURE_MM:
            width, height = width * PICTURE_MM / height, PICTURE_MM
        room = self.pdf.h - MARGIN_MM - self.pdf.get_y() - 8.0
        if height > room >= SHRINK * height:
            width, height = width * room / height, room
        self._room(height + 8.0)
        self.pdf.image(
            io.BytesIO(picture.data), w=width, h=height, alt_text=self.clean(picture.alt)
        )
        self.pdf.ln(1.0)
        self.paragraph(picture.caption, NOTE_PT)

    def _picture_at_head(self, picture: Picture) -> None:
        """At the left; what follows stands right of it until the margin is set back."""
        width, height = HEAD_PICTURE_MM
        width = min(width, height * picture.width_px / picture.height_px)
        height = width * picture.height_px / picture.width_px
        top = self.pdf.get_y()
        self.pdf.image(
            io.BytesIO(picture.data), w=width, h=height, alt_text=self.clean(picture.alt)
        )
        self.pdf.set_left_margin(MARGIN_MM + width + 5.0)
        self.pdf.set_xy(MARGIN_MM + width + 5.0, top)

    def _chart(self, chart: Chart) -> None:
        scale = _mm_per_unit(chart)
        self._room(scale * chart.drawing.height + 8.0)
        top = self.pdf.get_y()
        draw(self.pdf, chart.drawing, (MARGIN_MM, top), scale, self.clean)
        self.pdf.set_xy(MARGIN_MM, top + scale * chart.drawing.height + 1.0)
        self.paragraph(chart.caption, NOTE_PT)

    def _room(self, height_mm: float) -> None:
        if self.pdf.get_y() + height_mm > self.pdf.h - MARGIN_MM:
            self.pdf.add_page()


def _mm_per_unit(chart: Chart) -> float:
    drawing = chart.drawing
    return min(CHART_MM / max(WIDTH, drawing.width), PICTURE_MM / drawing.height)


def _heading_style() -> Any:
    from fpdf.fonts import FontFace

    return FontFace(emphasis="BOLD", color=look.INK)


def _widths(pdf: Any, cells: list[list[str]], room_mm: float) -> tuple[float, ...]:
    """Columns as wide as their longest cell or word of the head; the last, for remarks, takes
    what is left. Where that is less than a fifth of the room, all share in proportion."""
    wanted = []
    for head, *column in zip(*cells, strict=True):
        pieces = [*head.split(), *column]
        wanted.append(max((pdf.get_string_width(piece) for piece in pieces), default=0.0) + 4.5)
    left = room_mm - sum(wanted[:-1])
    if left >= min(wanted[-1], room_mm / 5):
        return (*wanted[:-1], left)
    return tuple(room_mm * min(w, room_mm / 3) / sum(wanted) for w in wanted)
