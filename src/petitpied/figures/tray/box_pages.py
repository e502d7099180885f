"""Filled boxes as a picking list, JSON and pictures."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from petitpied.figures.drawing import Circle, Drawing, Picture, Point, Shape, Text, rect
from petitpied.figures.letters import fitting, wrapped
from petitpied.figures.look import FAINT, INK, PALE
from petitpied.figures.raster import Pixels, jpeg_bytes
from petitpied.figures.tray.shell_cutouts import cutout
from petitpied.figures.tray.tray_sheet import (
    LETTER_PX,
    PAD_PX,
    ROOM_PX,
    TITLE_PX,
    WIDTH_PX,
    text_lines,
)
from petitpied.sorting.box_file import BoxKind
from petitpied.sorting.boxes import Box, Boxing, Macaron
from petitpied.sorting.lot_trays import Aside, LotTray
from petitpied.sorting.pairing import Pairing
from petitpied.text.lots.pairing_words import code_of, pair_json, shells_text
from petitpied.text.wording import printable

MOST_PICTURES = 200  # pictures of boxes written in one go
#: the strip below a slot, for its words: of the slot's width, and at most so high
LABEL_REL, LABEL_PX = 0.46, 290.0
MEANING = (
    "In each slot the upper shell, to scale; below it the pair's number, its two shells, their "
    "tray, and the diameter with its 95 % ±."
)
#: the shells' own; what a filling adds no photo shows (see `petitpied.text.cautions.ALLERGENS`)
ALLERGENS_SHORT = "Allergens: almond (a nut) and egg; fillings may add milk, soya and others."


def boxing_json(boxing: Boxing, pairing: Pairing, aside: Sequence[Aside]) -> dict[str, Any]:
    """The published form: `petitpied box --json`."""
    unpaired = [
        {"record": x.shell.record, "id": x.shell.id, "why": x.why} for x in pairing.left_over
    ]
    unpaired += [{"record": x.record, "id": x.id, "why": x.why} for x in aside]
    return {
        "boxes": [
            {
                "number": number,
                "macarons": [_macaron_json(one) for one in box.macarons],
                "range_mm": round(box.range_mm, 4),
                "range_u95_mm": round(1.96 * box.range_u_mm, 4),
                "colour_range": None if box.colour_range is None else round(box.colour_range, 3),
            }
            for number, box in enumerate(boxing.boxes, 1)
        ],
        "left_over": [{**_macaron_json(x.macaron), "why": x.why} for x in boxing.left_over],
        "unpaired": unpaired,
        "worst_range_mm": _rounded(boxing.worst_range_mm),
        "worst_range_bound_mm": _rounded(boxing.worst_range_mm),  # the sweep is exact
        "worst_colour": _rounded(boxing.worst_colour),
        "worst_colour_bound": _rounded(boxing.colour_bound),
        "notes": list(boxing.notes),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)


def _macaron_json(one: Macaron) -> dict[str, Any]:
    thick = one.thickness_mm
    return {
        "pair": one.number,
        **pair_json(one.pair),
        "flavour": one.flavour,
        "diameter_mm": round(one.diameter_mm.value, 3),
        "diameter_u95_mm": round(one.diameter_mm.u95, 3),
        "thickness_mm": None if thick is None else round(thick.value, 3),
        "thickness_u95_mm": None if thick is None else round(thick.u95, 3),
    }


def box_lines(boxing: Boxing, names: Mapping[str, str]) -> list[str]:
    """The picking list, box by box, then what is left over and why."""
    several = len(names) > 1
    lines = []
    for number, box in enumerate(boxing.boxes, 1):
        lines.append(f"box {number}: {_box_facts(box)}")
        for one in box.macarons:
            flavour = f", {one.flavour}" if one.flavour else ""
            size = f"{one.diameter_mm.value:.1f} ± {one.diameter_mm.u95:.1f} mm"
            code = code_of(one.number, one.pair)
            lines.append(f"  {code:>4}  {shells_text(one.pair, names, several)}: {size}{flavour}")
    for left in boxing.left_over:
        one = left.macaron
        shells = shells_text(one.pair, names, several)
        lines.append(f"left over  {code_of(one.number, one.pair)}  {shells}: {left.why}")
    return [printable(line) for line in lines]


def _box_facts(box: Box) -> str:
    text = f"diameters within {box.range_mm:.2f} ± {1.96 * box.range_u_mm:.2f} mm"
    if box.colour_range is not None:
        text += f", {colour_words(box.colour_range)}"
    return text


def colour_words(range_steps: float) -> str:
    """How alike the colours are, in words with the figure: a step is about the least difference
    that an eye sees (CIELAB 1976; 2.3 is just noticeable, Mahy et al. 1994)."""
    steps = f"{range_steps:.0f} {'step' if round(range_steps) == 1 else 'steps'}"
    if range_steps < 2.3:
        return f"colours alike to the eye ({steps})"
    return f"colours {'nearly alike' if range_steps < 6 else 'apart'} ({steps})"


def summary_text(boxing: Boxing, kind: BoxKind) -> str:
    """How many boxes, how even, and what is proven."""
    count = len(boxing.boxes)
    filled = f"{count} {'boxes' if count != 1 else 'box'} of {kind.slots} ({kind.name})"
    if boxing.worst_range_mm is None:
        return f"no box of {kind.slots} can be filled"
    text = f"{filled}: no more can be filled; the least even box in size: "
    text += f"{boxing.worst_range_mm:.2f} mm, proven smallest"
    if boxing.worst_colour is not None and boxing.colour_bound is not None:
        text += f"; the least even box in colour: {boxing.worst_colour:.0f} steps, "
        if boxing.colour_bound >= boxing.worst_colour - 1e-6:
            text += "proven smallest"
        else:
            text += f"proven only that none is below {boxing.colour_bound:.0f} steps"
    return text


@dataclass(frozen=True)
class Shown:
    """Trays and their photos (H, W, 3) by the pairing's names of records, for pictures of their
    shells; a shell whose photo is missing is drawn as a disc."""

    trays: Mapping[str, LotTray] = field(default_factory=dict)
    photos: Mapping[str, Pixels] = field(default_factory=dict)


def box_pictures(boxing: Boxing, kind: BoxKind, shown: Shown) -> dict[str, bytes]:
    """A picture of each box by its file name."""
    boxes = list(enumerate(boxing.boxes, 1))[:MOST_PICTURES]
    return {f"box_{n:02d}.jpg": jpeg_bytes(box_picture(n, boxing, kind, shown)) for n, _ in boxes}


def box_picture(
    number: int, boxing: Boxing, kind: BoxKind, shown: Shown, *, plain: bool = False
) -> Drawing:
    """Box ``number`` (from 1): slots from above, to scale, in each the upper shell's photograph;
    below it the pair's number, its shells with their trays, and its diameter. ``plain``: the
    shells alone, for customers."""
    filled = boxing.boxes[number - 1]
    title = f"Box {number} of {len(boxing.boxes)}: {kind.name}"
    head, top = text_lines(wrapped(printable(title), TITLE_PX, ROOM_PX), 0.0, TITLE_PX)
    if plain:
        head, top = [], float(PAD_PX)
    pitch = ROOM_PX / kind.columns
    below = 0.0 if plain else min(LABEL_REL * pitch, LABEL_PX)
    shapes: list[Shape] = []
    frames: list[Shape] = []  # above the pictures' white corners
    for place, one in enumerate(filled.macarons):
        row, column = divmod(place, kind.columns)
        corner = (PAD_PX + column * pitch, top + row * (pitch + below))
        shapes += _shell(one, shown, (corner, pitch), kind.slot_pitch_mm)
        frames.append(rect(corner, (pitch, pitch + below), stroke=FAINT, width=3.0))
        if not plain:
            at = (corner[0] + pitch / 2, corner[1] + pitch)
            shapes += _label(one, shown, at, (pitch, below))
    rows = -(-kind.slots // kind.columns)
    facts = _box_facts(filled)
    if plain:
        alt = f"A box of {kind.slots} with {len(filled.macarons)} macarons, from above"
        return Drawing(WIDTH_PX, round(top + rows * pitch + PAD_PX), [*shapes, *frames], alt)
    notes = [f"{facts[:1].upper()}{facts[1:]}.", ALLERGENS_SHORT, MEANING]
    lines = [line for note in notes for line in wrapped(note, LETTER_PX, ROOM_PX)]
    foot, end = text_lines(lines, top + rows * (pitch + below), LETTER_PX)
    return Drawing(WIDTH_PX, end, [*head, *shapes, *frames, *foot], f"{title}. {notes[0]}")


def _shell(
    one: Macaron, shown: Shown, slot: tuple[Point, float], pitch_mm: float
) -> Sequence[Shape]:
    """The upper shell in its slot (corner and side), to scale."""
    upper, (corner, side) = one.pair.b, slot
    tray, photo = shown.trays.get(upper.record), shown.photos.get(upper.record)
    view = None if tray is None else tray.record.view
    px_per_mm = side / pitch_mm
    middle = (corner[0] + side / 2, corner[1] + side / 2)
    shell = None if tray is None else next(s for s in tray.record.shells if s.id == upper.id)
    if photo is None or view is None or shell is None:
        radius = px_per_mm * one.diameter_mm.value / 2
        return [Circle(middle, radius, PALE, INK, 5.0)]
    half_mm = 0.52 * one.diameter_mm.value + 1.0  # a shell that is not round reaches out farther
    pixels = cutout(photo, view, shell, px_per_mm, half_mm)
    half = half_mm * px_per_mm
    return [Picture(pixels, (middle[0] - half, middle[1] - half), (2 * half, 2 * half))]


def _label(one: Macaron, shown: Shown, at: Point, room: tuple[float, float]) -> list[Text]:
    """The pair's number, its shells, size and flavour, in the strip below a slot."""
    pair = one.pair
    below = " (below)" if pair.is_mixed else ""
    records = dict.fromkeys((pair.a.record, pair.b.record))
    trays = [shown.trays[r].name for r in records if r in shown.trays]
    lines = [
        code_of(one.number, pair),
        f"{pair.a.id}{below} + {pair.b.id}",
        printable(" + ".join(trays) or one.flavour),
        f"{one.diameter_mm.value:.1f} mm ± {one.diameter_mm.u95:.1f} mm",
    ]
    width, height = room
    return [
        Text(
            (at[0], at[1] + share * height), text,
            max(18.0, fitting(text, most * height, 0.94 * width)), "middle", "middle",
            bold=number == 0,
        )
        for number, (text, share, most) in enumerate(
            zip(lines, (0.17, 0.44, 0.66, 0.87), (0.28, 0.22, 0.18, 0.18), strict=True)
        )
    ]  # fmt: skip
