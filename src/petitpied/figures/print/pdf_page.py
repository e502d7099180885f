"""PDF pages in true millimetres, for what is printed to be laid on or under a tray."""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
from numpy.typing import NDArray

MM = 72.0 / 25.4  # PDF points in a millimetre

#: width and height, mm; A4 and A3 by ISO 216, US Letter by ANSI/ASME Y14.1 (8.5 x 11 inch)
PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a3": (297.0, 420.0)}
PAPER_NAMES = {"a4": "A4", "letter": "US Letter", "a3": "A3"}

Point = tuple[float, float]


class Page:
    """A PDF page in millimetres, origin at the paper's top left, y down."""

    def __init__(self, size_mm: Point, title: str) -> None:
        from reportlab.pdfgen.canvas import Canvas

        self.width_mm, self.height_mm = size_mm
        self._buffer = io.BytesIO()
        self._canvas: Any = Canvas(
            self._buffer,
            pagesize=(self.width_mm * MM, self.height_mm * MM),
            invariant=1,  # no date, no random file number
            pageCompression=0,  # compressed bytes would differ between versions of zlib
        )
        self._canvas.setTitle(title)
        self._canvas.setCreator("petitpied")
        self._canvas.setViewerPreference("PrintScaling", "None")  # asks viewers for 100 %

    def _at(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        return x_mm * MM, (self.height_mm - y_mm) * MM

    def shapes(self, polygons_mm: list[NDArray[np.float64]], grey: float) -> None:
        """Fill closed polygons as one path (even-odd), so that no seam shows between them."""
        path = self._canvas.beginPath()
        for polygon in polygons_mm:
            path.moveTo(*self._at(*polygon[0]))
            for x, y in polygon[1:]:
                path.lineTo(*self._at(x, y))
            path.close()
        self._canvas.setFillGray(grey)
        self._canvas.drawPath(path, stroke=0, fill=1, fillMode=0)

    def line(self, start_mm: tuple[float, float], end_mm: tuple[float, float]) -> None:
        self._canvas.setStrokeGray(0.0)
        self._canvas.setLineWidth(0.15 * MM)
        self._canvas.line(*self._at(*start_mm), *self._at(*end_mm))

    def text(self, place_mm: tuple[float, float], text: str, *, size_mm: float) -> None:
        """A line of text; ``place_mm`` is its base line's left end, ``size_mm`` the font size."""
        self._canvas.setFillGray(0.0)
        self._canvas.setFont("Helvetica", size_mm * MM)
        self._canvas.drawString(*self._at(*place_mm), text)

    def text_upward(self, place_mm: tuple[float, float], text: str, *, size_mm: float) -> None:
        """As `text`, turned to run upwards from ``place_mm``."""
        self._canvas.saveState()
        self._canvas.translate(*self._at(*place_mm))
        self._canvas.rotate(90)
        self._canvas.setFillGray(0.35)
        self._canvas.setFont("Helvetica", size_mm * MM)
        self._canvas.drawString(0, 0, text)
        self._canvas.restoreState()

    def outline(
        self, polygon_mm: NDArray[np.float64], *, width_mm: float, grey: float, dash_mm: float = 0.0
    ) -> None:
        """A closed polygon (N, 2) as a line of ``width_mm``, its middle on the polygon; dotted
        where ``dash_mm`` is positive."""
        canvas = self._canvas
        path = canvas.beginPath()
        path.moveTo(*self._at(*polygon_mm[0]))
        for x, y in polygon_mm[1:]:
            path.lineTo(*self._at(x, y))
        path.close()
        canvas.saveState()
        canvas.setStrokeGray(grey)
        canvas.setLineWidth(width_mm * MM)
        if dash_mm > 0:
            canvas.setDash([dash_mm * MM, dash_mm * MM])
        canvas.drawPath(path, stroke=1, fill=0)
        canvas.restoreState()

    def text_centred(
        self, middle_mm: Point, text: str, *, size_mm: float, grey: float = 0.0
    ) -> None:
        """A line of text about the middle of its capitals."""
        self._canvas.setFillGray(grey)
        self._canvas.setFont("Helvetica", size_mm * MM)
        x, y = middle_mm
        capitals = 0.72  # of the size: Helvetica's capital height
        self._canvas.drawCentredString(*self._at(x, y + capitals * size_mm / 2), text)

    def scale_bar(self, left_mm: float, y_mm: float, note: str) -> None:
        """A bar of 100 mm with a tick every 10 mm, and a note right of it."""
        self.line((left_mm, y_mm), (left_mm + 100.0, y_mm))
        for mm in range(0, 101, 10):
            tick = 2.4 if mm in (0, 50, 100) else 1.4
            self.line((left_mm + mm, y_mm), (left_mm + mm, y_mm - tick))
        self.text((left_mm + 103.0, y_mm), note, size_mm=2.8)

    @contextmanager
    def window(self, corner_mm: Point, size_mm: Point, shift_mm: Point) -> Iterator[None]:
        """Draw through a window of the page: what lies at ``shift_mm`` of the drawing's own
        frame comes to the window's upper left corner, and nothing shows outside."""
        canvas = self._canvas
        canvas.saveState()
        path = canvas.beginPath()
        x, y = self._at(corner_mm[0], corner_mm[1] + size_mm[1])
        path.rect(x, y, size_mm[0] * MM, size_mm[1] * MM)
        canvas.clipPath(path, stroke=0, fill=0)
        canvas.translate((corner_mm[0] - shift_mm[0]) * MM, -(corner_mm[1] - shift_mm[1]) * MM)
        yield
        canvas.restoreState()

    def next_page(self) -> None:
        self._canvas.showPage()

    def finish(self) -> bytes:
        self._canvas.showPage()
        self._canvas.save()
        return self._buffer.getvalue()
