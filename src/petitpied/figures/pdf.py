"""Drawings as vectors of a PDF, with its fonts inside: pages in true millimetres, or parts of one.

Places are written to a hundredth of a point (0.0035 mm), paths finer.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import cv2
import numpy as np

from petitpied.figures import script_fonts as fonts
from petitpied.figures.drawing import (
    HALO,
    Circle,
    Drawing,
    Path,
    Picture,
    Point,
    Shape,
    Text,
    Window,
    plain,
    turned_shift,
)
from petitpied.figures.look import QUIET, Rgb

PT_MM = 25.4 / 72
#: a PDF wants a date; none is taken from the clock, so that the same drawing is the same file
NO_DATE = datetime(2000, 1, 1, tzinfo=UTC)
SHAPED = frozenset({"Arabic", "Hebrew", "Thai", "Devanagari"})


def pages_pdf(pages: Sequence[Drawing], title: str) -> bytes:
    """A page for each drawing, of its size, to be printed at 100 %; the same bytes at every call.

    Raises
    ------
    ValueError
        If a drawing is not in millimetres.
    """
    if any(page.unit != "mm" for page in pages):
        raise ValueError("pages must be drawn in mm, got a drawing in px")
    shown = fonts.showable(text for page in pages for text in _texts(page.shapes))
    pdf = new_document(title, [text for page in pages for text in _texts(page.shapes)])
    pdf.set_auto_page_break(False)
    for page in pages:
        pdf.add_page(format=(page.width, page.height))
        draw(pdf, page, (0.0, 0.0), 1.0, shown.clean)
    return bytes(pdf.output())


def new_document(title: str, texts: Iterable[str], *, numbered: bool = False) -> Any:
    """An empty A4 document that has the fonts for these texts, the family of all named "Base";
    ``numbered``: each page says its number."""
    from fpdf import FPDF
    from fpdf.prefs import ViewerPreferences

    class Document(FPDF):
        def footer(self) -> None:
            if numbered:
                self.set_y(-11.0)
                self.set_font("Base", "", 8.0)
                self.set_text_color(*QUIET)
                self.cell(0, 5.0, f"{self.page_no()} / {{nb}}", align="R")

    pdf = Document(format="A4")
    whole = "".join(texts)
    pdf.add_font("Base", "", fonts.font_path(fonts.BASE))
    pdf.add_font("Base", "B", fonts.font_path(fonts.BOLD))
    families = fonts.families_for(whole)
    for family in families:
        pdf.add_font(family, "", fonts.font_path(fonts.SCRIPTS[family][0]))
    if families:
        pdf.set_fallback_fonts(list(families), exact_match=False)
    if SHAPED & set(families) or any(c in fonts.INVISIBLE for c in whole):
        pdf.set_text_shaping(True)
    pdf.set_title(title)
    pdf.set_creator("petitpied")
    pdf.set_lang("en")
    pdf.set_creation_date(NO_DATE)
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None")  # asks viewers for 100 %
    return pdf


def draw(
    pdf: Any, drawing: Drawing, place_mm: Point, mm_per_unit: float, clean: Callable[[str], str]
) -> None:
    """A drawing with its upper left corner at a place of the present page."""
    breaks, foot, beside = pdf.auto_page_break, pdf.b_margin, pdf.c_margin
    pdf.set_auto_page_break(False)  # text at a page's foot stays there
    pdf.c_margin = 0.0
    _Pen(pdf, clean, mm_per_unit, place_mm).draw(drawing.shapes)
    pdf.c_margin = beside
    pdf.set_auto_page_break(breaks, foot)


def _texts(shapes: Sequence[Shape]) -> Iterator[str]:
    for shape in shapes:
        if isinstance(shape, Text):
            yield shape.text
        elif isinstance(shape, Window):
            yield from _texts(shape.shapes)


@dataclass(frozen=True)
class _Pen:
    """Draws on a page: ``scale`` mm for each unit, from ``origin`` (mm) on."""

    pdf: Any
    clean: Callable[[str], str]
    scale: float
    origin: Point

    def draw(self, shapes: Sequence[Shape]) -> None:
        for shape in plain(shapes):
            if isinstance(shape, Path):
                self._path(shape)
            elif isinstance(shape, Circle):
                self._circle(shape)
            elif isinstance(shape, Text):
                self._text(shape)
            elif isinstance(shape, Picture):
                self._picture(shape)
            else:
                self._window(shape)

    def _mm(self, points: Any) -> list[Any]:
        mm: list[Any] = (np.asarray(points, float) * self.scale + self.origin).tolist()
        return mm

    def _path(self, path: Path) -> None:
        if path.halo is not None:
            below = Path(path.lines, path.closed, None, path.halo, path.width + 2 * HALO, path.dash)
            self._path(below)
        with self.pdf.new_path() as drawn:
            self._ink(drawn.style, path.fill, path.stroke, path.width)
            if path.dash > 0:
                drawn.style.stroke_dash_pattern = (self.scale * path.dash,) * 2
            for line in path.lines:
                (x, y), *others = self._mm(line)
                drawn.move_to(x, y)
                for x, y in others:
                    drawn.line_to(x, y)
                if path.closed:
                    drawn.close()

    def _circle(self, circle: Circle) -> None:
        with self.pdf.new_path() as drawn:
            self._ink(drawn.style, circle.fill, circle.stroke, circle.width)
            drawn.circle(*self._mm(circle.at), self.scale * circle.radius)

    def _ink(self, style: Any, fill: Rgb | None, stroke: Rgb | None, width: float) -> None:
        style.auto_close = False
        style.stroke_cap_style, style.stroke_join_style = "butt", "miter"  # as SVG has them
        style.intersection_rule = "evenodd"
        style.fill_color = None if fill is None else _colour(fill)
        style.stroke_color = None if stroke is None else _colour(stroke)
        style.stroke_width = self.scale * width

    def _text(self, text: Text) -> None:
        words, pdf = self.clean(text.text), self.pdf
        if not words.strip():
            return
        size_mm = self.scale * text.size
        pdf.set_font("Base", "B" if text.bold else "", size_mm / PT_MM)
        pdf.set_text_color(*text.colour)
        along, down = turned_shift(text, pdf.get_string_width(words) / self.scale)
        x, y = self._mm(text.at)
        with pdf.rotation(-text.turn_deg, x, y):
            # a cell of the font's height has its base line at 0.8 of it; set_xy would take
            # places left of the page as from its right edge
            pdf.x, pdf.y = x + self.scale * along, y + self.scale * down - 0.8 * size_mm
            pdf.cell(None, size_mm, words)

    def _picture(self, picture: Picture) -> None:
        from PIL import Image

        image = Image.fromarray(np.asarray(cv2.cvtColor(picture.pixels_bgr, cv2.COLOR_BGR2RGB)))
        width, height = (self.scale * side for side in picture.size)
        self.pdf.image(image, *self._mm(picture.at), w=width, h=height)

    def _window(self, window: Window) -> None:
        x, y = self._mm(window.at)
        width, height = (self.scale * side for side in window.size)
        origin = (x - self.scale * window.shift[0], y - self.scale * window.shift[1])
        with self.pdf.local_context(), self.pdf.rect_clip(x, y, width, height):
            _Pen(self.pdf, self.clean, self.scale, origin).draw(window.shapes)


def _colour(colour: Rgb) -> Any:
    from fpdf.drawing_primitives import DeviceGray, DeviceRGB

    if len(set(colour)) == 1:
        return DeviceGray(colour[0] / 255)
    return DeviceRGB(*(level / 255 for level in colour))
