"""What a report is made of: sections of few kinds of blocks, the same for every way to show it."""

from dataclasses import dataclass
from typing import Literal

from petitpied.figures.drawing import Drawing


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph; ``note``: small print; ``strong``: the section's plain words."""

    text: str
    style: Literal["plain", "strong", "note"] = "plain"


@dataclass(frozen=True, slots=True)
class Bullets:
    """Short lines; a line may begin with a bold lead."""

    items: tuple[tuple[str, str], ...]  # lead (may be empty), text


@dataclass(frozen=True, slots=True)
class Table:
    """A table with a caption, column heads and rows; the first column heads its row."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[bool, ...]  # a column set to the right


@dataclass(frozen=True)
class Picture:
    """A JPEG or PNG, as wide as the page, with its words for those who do not see it, and a
    caption."""

    data: bytes
    kind: Literal["jpeg", "png"]
    width_px: int
    height_px: int
    alt: str
    caption: str


@dataclass(frozen=True)
class Chart:
    """A drawing and its caption."""

    drawing: Drawing
    caption: str


Block = Paragraph | Bullets | Table | Picture | Chart


@dataclass(frozen=True)
class Section:
    """A heading of level 2 or 3, and what stands under it."""

    heading: str
    blocks: tuple[Block, ...]
    level: Literal[2, 3] = 2


@dataclass(frozen=True)
class Letterhead:
    """The baker's own head of the page; everything may be empty."""

    name: str = ""
    lines: tuple[str, ...] = ()
    picture: Picture | None = None
    foot: str = ""


@dataclass(frozen=True)
class Report:
    """A whole report. ``plain``: the result in a few plain sentences; ``message``: lines of
    the summary for a text message, without the plain sentences."""

    title: str
    date: str
    letterhead: Letterhead
    plain: tuple[str, ...]
    sections: tuple[Section, ...]
    message: tuple[str, ...]
    made_by: str
