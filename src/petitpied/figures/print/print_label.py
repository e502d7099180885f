"""Labels on common sheets, as vector PDF at true scale."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import groupby

from petitpied.figures.drawing import Drawing, Text, rect
from petitpied.figures.letters import text_width
from petitpied.figures.paper import BLACK, HAIRLINE_MM, PAPERS_MM, grey
from petitpied.figures.pdf import pages_pdf
from petitpied.labels.label import Label, Run


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """A sheet of labels, mm: ``size`` of one, ``first`` its upper left corner, ``pitch`` to the
    next, ``count`` across and down. Sizes as such sheets are sold under (common practice)."""

    paper: str
    size_mm: tuple[float, float]
    first_mm: tuple[float, float]
    pitch_mm: tuple[float, float]
    count: tuple[int, int]


SHEETS: dict[str, LabelSheet] = {
    "a4-8": LabelSheet("a4", (99.1, 67.7), (4.65, 13.1), (101.6, 67.7), (2, 4)),
    "a4-4": LabelSheet("a4", (99.1, 139.0), (4.65, 9.5), (101.6, 139.0), (2, 2)),
    "a4-14": LabelSheet("a4", (99.1, 38.1), (4.65, 15.15), (101.6, 38.1), (2, 7)),
    "letter-6": LabelSheet("letter", (101.6, 84.67), (3.95, 12.7), (106.0, 84.67), (2, 3)),
    "letter-10": LabelSheet("letter", (101.6, 50.8), (3.95, 12.7), (106.0, 50.8), (2, 5)),
}
#: the height of Noto Sans's x as part of the font size (its OS/2 table: 536 of 1000)
X_HEIGHT = 0.536
#: least height of an x, mm (Regulation (EU) 1169/2011, Article 13(2)); letters are no larger than
#: twice that
LEAST_X_MM, MOST_X_MM = 1.2, 1.6
INSET_MM = 4.0
LEADING = 1.28
TITLE_REL = 1.35
DRAFT = "Draft: check with your authority."

Line = tuple[Run, ...]


def label_pdf(label: Label, sheet_name: str) -> bytes:
    """A page of the same label.

    Raises
    ------
    ValueError
        If the text does not fit at the least size of letters: how many mm are missing.
    """
    sheet = SHEETS[sheet_name]
    width, height = PAPERS_MM[sheet.paper]
    page = Drawing(width, height, unit="mm")
    size_mm, lines = fitted(label, sheet)
    for row in range(sheet.count[1]):
        for column in range(sheet.count[0]):
            corner = (
                sheet.first_mm[0] + column * sheet.pitch_mm[0],
                sheet.first_mm[1] + row * sheet.pitch_mm[1],
            )
            page.add(rect(corner, sheet.size_mm, stroke=grey(0.8), width=HAIRLINE_MM))
            page.add(*_shapes(label.title, lines, size_mm, corner, sheet))
    return pages_pdf([page], f"Label, draft: {label.title}")


def fitted(label: Label, sheet: LabelSheet) -> tuple[float, list[Line]]:
    """The largest size of letters that fits, mm, and the lines.

    Raises
    ------
    ValueError
        If even the least does not fit.
    """
    room_mm = sheet.size_mm[1] - 2 * INSET_MM
    x_mm = MOST_X_MM
    while True:
        size_mm = x_mm / X_HEIGHT
        lines = [
            line for p in label.paragraphs for line in _wrapped(p, size_mm, _inner_mm(sheet))
        ]
        heads = TITLE_REL * len(_title(label, size_mm, sheet))
        needed_mm = size_mm * LEADING * (len(lines) + heads + 1.5)
        if needed_mm <= room_mm:
            return size_mm, lines
        if x_mm <= LEAST_X_MM:
            raise ValueError(f"the text needs {needed_mm:.0f} mm and the label has {room_mm:.0f}")
        x_mm = max(LEAST_X_MM, x_mm - 0.05)


def _inner_mm(sheet: LabelSheet) -> float:
    return sheet.size_mm[0] - 2 * INSET_MM


def _title(label: Label, size_mm: float, sheet: LabelSheet) -> list[Line]:
    bold = (Run(label.title, strong=True),)
    return list(_wrapped(bold, TITLE_REL * size_mm, _inner_mm(sheet)))


def _wrapped(runs: tuple[Run, ...], size_mm: float, width_mm: float) -> Iterator[Line]:
    """Lines of whole words; a word keeps its emphasis."""
    words = [Run(word, run.strong) for run in runs for word in _words(run.text)]
    line: list[Run] = []
    for unit in _units(words):
        if line and _width(line, size_mm) + _width(_stripped(unit), size_mm) > width_mm:
            yield tuple(line)
            line = []
        line += unit if line else _stripped_left(unit)
    if line:
        yield tuple(line)


def _words(text: str) -> Iterator[str]:
    """Pieces that each begin with their spaces."""
    at = 0
    for i in range(1, len(text)):
        if text[i] == " " and text[i - 1] != " ":
            yield text[at:i]
            at = i
    if text[at:]:
        yield text[at:]


def _units(words: list[Run]) -> Iterator[list[Run]]:
    """Pieces that must stay together: a new one begins with a space."""
    unit: list[Run] = []
    for word in words:
        if unit and (word.text.startswith(" ") or unit[-1].text.endswith(" ")):
            yield unit
            unit = []
        unit.append(word)
    if unit:
        yield unit


def _stripped(unit: list[Run]) -> list[Run]:
    return [*unit[:-1], Run(unit[-1].text.rstrip(), unit[-1].strong)]


def _stripped_left(unit: list[Run]) -> list[Run]:
    return [Run(unit[0].text.lstrip(), unit[0].strong), *unit[1:]]


def _width(line: list[Run], size_mm: float) -> float:
    return sum(_run_width(run, size_mm) for run in line)


def _run_width(run: Run, size_mm: float) -> float:
    """Letter by letter: a PDF sets them without kerning."""
    return size_mm / 1000 * sum(_width_at_1000(letter, run.strong) for letter in run.text)


@cache
def _width_at_1000(letter: str, bold: bool) -> float:
    """At a size where whole pixels do not count."""
    return text_width(letter, 1000, bold=bold)


def _shapes(
    title: str, lines: list[Line], size_mm: float, corner: tuple[float, float], sheet: LabelSheet
) -> Iterator[Text]:
    left, y = corner[0] + INSET_MM, corner[1] + INSET_MM
    heads = _title(Label(title, ()), size_mm, sheet)
    for line in heads:
        y += TITLE_REL * size_mm * LEADING
        yield from _set(line, (left, y - 0.3 * size_mm), TITLE_REL * size_mm)
    y += 0.4 * size_mm
    for line in lines:
        y += size_mm * LEADING
        yield from _set(line, (left, y - 0.3 * size_mm), size_mm)
    foot = (left, corner[1] + sheet.size_mm[1] - INSET_MM + 1.0)
    yield Text(foot, DRAFT, 0.9 * size_mm, colour=grey(0.35))


def _set(line: Line, at: tuple[float, float], size_mm: float) -> Iterator[Text]:
    x = at[0]
    for strong, runs in groupby(line, key=lambda run: run.strong):
        run = Run("".join(r.text for r in runs), strong)
        yield Text((x, at[1]), run.text, size_mm, bold=run.strong, colour=BLACK)
        x += _run_width(run, size_mm)
