"""The picture of an oven's map: black on white, for a phone, every cell with its number.

Tone: more is darker. Thick outline with a hatched corner: stands out from chance. Diagonal: too
little data. Arrow: mean lean.
"""

from petitpied.figures.drawing import Drawing, Text, polyline, rect
from petitpied.figures.letters import wrapped
from petitpied.figures.look import GREY, INK, Rgb
from petitpied.patterns.oven.findings import Cell, OvenMap
from petitpied.text.oven_map_words import MEASURE_WORDS, verdict, what_to_try
from petitpied.text.wording import decimals, printable

WIDTH = 1080
MARGIN = 40.0
SIDE = 46.0  # room for "left" and "right" beside the map
TITLE, LETTER, SMALL = 38.0, 28.0, 24.0
#: lightest and darkest tone of a cell, 0 to 255: black letters stay readable (contrast 9:1)
LIGHT, DARK = 255, 184
#: the full range of tones spans at least so many typical intervals (twice u95): three
#: independent cells then differ by one tone step or less by chance; a matter of looks
QUIET_REL = 2.0
#: a cell's longest arrow, as part of its height
ARROW_REL = 0.30
KEY = (
    "Number: difference from the tray's mean, {unit}, and its 95 % interval. Darker: more. "
    "Thick outline, hatched corner: stands out from chance. Diagonal: too little data.{arrows}"
)
KEY_LEAN = (
    "Number: mean lean, mm, and its 95 % interval. Darker: more. Thick outline, hatched corner: "
    "leans otherwise than the rest of the tray. Diagonal: too little data.{arrows}"
)
ARROWS = " Arrow: mean lean, cap's centre to foot's; the longest is {longest:.2f} mm."


def map_chart(found: OvenMap, where: str, *, turned: bool) -> Drawing:
    """Draw one measure's map with its verdict."""
    heads = [*wrapped(_title(found), TITLE, WIDTH - 2 * MARGIN)]
    few = "bake" if found.bakes == 1 else "bakes"
    below = f"{printable(where)}: {found.bakes} {few}, {found.shells} shells"
    heads += wrapped(below, LETTER, WIDTH - 2 * MARGIN)
    frame = _Frame(found, 50.0 + 48.0 * len(heads) + 46.0)
    feet = _feet(found, turned=turned)
    height = frame.bottom + 130.0 + 37.0 * len(feet) + 20.0
    alt = f"{_title(found)}, oven door at the bottom. {verdict(found)}"
    sheet = Drawing(WIDTH, round(height), alt=alt)
    for i, head in enumerate(heads):
        sheet.add(Text((MARGIN, 58 + 48.0 * i), head, TITLE if i == 0 else LETTER))
    for cell in found.cells:
        _draw_cell(sheet, frame, cell)
    for cell in found.cells:  # above all neighbours
        if cell.stands_out:
            _outline(sheet, frame, cell)
    _draw_surroundings(sheet, frame)
    for i, foot in enumerate(feet):
        sheet.add(Text((MARGIN, frame.bottom + 130.0 + 37.0 * i), foot, SMALL))
    return sheet


def _title(found: OvenMap) -> str:
    name = MEASURE_WORDS[found.measure][0]
    return f"{name[:1].upper()}{name[1:]}, {found.unit}: map of the oven"


def _feet(found: OvenMap, *, turned: bool) -> list[str]:
    longest = _longest_lean(found.cells)
    arrows = ARROWS.format(longest=longest) if longest > 0 else ""
    key = (KEY_LEAN if found.measure == "lean" else KEY).format(unit=found.unit, arrows=arrows)
    texts = (key, "", verdict(found), "", what_to_try(found, turned=turned))
    result: list[str] = []
    for text in texts:
        result += wrapped(text, SMALL, WIDTH - 2 * MARGIN) if text else [""]
    return result


def _longest_lean(cells: tuple[Cell, ...]) -> float:
    leans = [c.lean_mm for c in cells if c.lean_mm is not None]
    return max(((x * x + y * y) ** 0.5 for x, y in leans), default=0.0)


class _Frame:  # plain numbers worked out once
    """Where the tray lies on the sheet."""

    def __init__(self, found: OvenMap, top: float) -> None:
        left = min(c.middle_mm[0] - c.size_mm[0] / 2 for c in found.cells)
        right = max(c.middle_mm[0] + c.size_mm[0] / 2 for c in found.cells)
        back = min(c.middle_mm[1] - c.size_mm[1] / 2 for c in found.cells)
        front = max(c.middle_mm[1] + c.size_mm[1] / 2 for c in found.cells)
        width = WIDTH - 2 * (MARGIN + SIDE)
        self.scale_x = width / (right - left)
        rows = len({c.middle_mm[1] for c in found.cells})
        # cells tall enough for number, interval and arrow, whatever the tray's shape
        self.scale_y = max(self.scale_x, rows * 128.0 / (front - back))
        self.left_mm, self.back_mm = left, back
        self.top, self.bottom = top, top + self.scale_y * (front - back)
        self.left, self.right = MARGIN + SIDE, WIDTH - MARGIN - SIDE
        known = [c.value for c in found.cells if c.value is not None]
        intervals = sorted(c.u95 for c in found.cells if c.u95 is not None)
        low, high = min(known, default=0.0), max(known, default=0.0)
        typical = intervals[len(intervals) // 2] if intervals else (high - low) / 4
        # differences within the intervals stay pale
        span = max(high - low, QUIET_REL * 2 * typical if intervals else 0.0)
        self.low: float = (low + high - span) / 2
        self.high: float = (low + high + span) / 2
        self.places = min(2, decimals(typical)) if typical > 0 else 2
        self.longest_lean = _longest_lean(found.cells)
        self.signed = found.measure != "lean"

    def box(self, cell: Cell) -> tuple[float, float, float, float]:
        """Left, top, right, bottom on the sheet."""
        x = self.left + (cell.middle_mm[0] - cell.size_mm[0] / 2 - self.left_mm) * self.scale_x
        y = self.top + (cell.middle_mm[1] - cell.size_mm[1] / 2 - self.back_mm) * self.scale_y
        return x, y, x + cell.size_mm[0] * self.scale_x, y + cell.size_mm[1] * self.scale_y

    def tone(self, value: float) -> Rgb:
        span = self.high - self.low
        rel = (value - self.low) / span if span > 0 else 0.0
        grey = round(LIGHT + (DARK - LIGHT) * rel)
        return grey, grey, grey


def _draw_cell(sheet: Drawing, frame: _Frame, cell: Cell) -> None:
    x0, y0, x1, y1 = frame.box(cell)
    middle = (x0 + x1) / 2
    corner, size_px = (x0, y0), (x1 - x0, y1 - y0)
    if cell.value is None:
        sheet.add(rect(corner, size_px, stroke=GREY, width=1.5))
        sheet.add(polyline((x0, y1), (x1, y0), width=1.5, colour=GREY))
        return
    sheet.add(rect(corner, size_px, fill=frame.tone(cell.value), stroke=GREY, width=1.5))
    number = f"{cell.value:{'+' if frame.signed else ''}.{frame.places}f}"
    size = min(34.0, (x1 - x0) / (0.62 * len(number)))
    sheet.add(Text((middle, y0 + 0.33 * (y1 - y0)), number, size, "middle"))
    if cell.u95 is not None:
        interval = f"± {cell.u95:.{frame.places}f}"
        sheet.add(Text((middle, y0 + 0.56 * (y1 - y0)), interval, min(SMALL, size), "middle"))
    if cell.lean_mm is not None and frame.longest_lean > 0:
        _arrow(sheet, (middle, y0 + 0.80 * (y1 - y0)), cell.lean_mm, _reach(frame, y1 - y0))


def _reach(frame: _Frame, height: float) -> float:
    """Sheet units for a lean of 1 mm."""
    return ARROW_REL * height / frame.longest_lean


def _arrow(
    sheet: Drawing, at: tuple[float, float], lean_mm: tuple[float, float], reach: float
) -> None:
    """An arrow about its middle: shaft and a head of two strokes."""
    dx, dy = lean_mm[0] * reach, lean_mm[1] * reach
    length = (dx * dx + dy * dy) ** 0.5
    if length < 3:
        return
    tip = (at[0] + dx / 2, at[1] + dy / 2)
    head = min(10.0, length / 2)
    ux, uy = dx / length * head, dy / length * head
    left = (tip[0] - ux - 0.6 * uy, tip[1] - uy + 0.6 * ux)
    right = (tip[0] - ux + 0.6 * uy, tip[1] - uy - 0.6 * ux)
    sheet.add(polyline((at[0] - dx / 2, at[1] - dy / 2), tip, width=3.0))
    sheet.add(polyline(left, tip, right, width=3.0))


def _outline(sheet: Drawing, frame: _Frame, cell: Cell) -> None:
    """Thick outline just inside the cell, and strokes across its upper left corner."""
    x0, y0, x1, y1 = frame.box(cell)
    x, y = x0 + 4, y0 + 4
    sheet.add(rect((x, y), (x1 - x0 - 8, y1 - y0 - 8), stroke=INK, width=6.0))
    sheet.add(*(polyline((x, y + step), (x + step, y), width=2.5) for step in (10.0, 18.0, 26.0)))


def _draw_surroundings(sheet: Drawing, frame: _Frame) -> None:
    """The oven's door, and the sides' names."""
    middle = (frame.left + frame.right) / 2
    door = frame.bottom + 16
    sheet.add(
        Text((middle, frame.top - 14), "back of the oven", SMALL, "middle"),
        rect((frame.left, door - 5), (frame.right - frame.left, 10.0), fill=INK),
        Text((middle, door + 40), "oven door", LETTER, "middle"),
    )
    level = (frame.top + frame.bottom) / 2
    for side, x in (("left", MARGIN + SIDE / 2 - 6), ("right", WIDTH - MARGIN - SIDE / 2 + 6)):
        sheet.add(Text((x, level), side, SMALL, "middle", "middle", turn_deg=-90))
