"""Filled boxes as a picking list, JSON and pictures."""

from collections.abc import Mapping, Sequence
from typing import Any

from petitpied.figures.drawing import Circle, Drawing, Shape, Text, rect
from petitpied.figures.letters import fitting, wrapped
from petitpied.figures.look import FAINT, INK, PALE
from petitpied.figures.raster import jpeg_bytes
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
from petitpied.sorting.lot_trays import Aside
from petitpied.sorting.pairing import Pairing
from petitpied.text.pairing_words import code_of, pair_json, shells_text
from petitpied.text.wording import printable

MOST_PICTURES = 200  # pictures of boxes written in one go


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
        text += f", colours within {box.colour_range:.1f} (CIELAB)"
    return text


def summary_text(boxing: Boxing, kind: BoxKind) -> str:
    """How many boxes, how even, and what is proven."""
    count = len(boxing.boxes)
    filled = f"{count} {'boxes' if count != 1 else 'box'} of {kind.slots} ({kind.name})"
    if boxing.worst_range_mm is None:
        return f"no box of {kind.slots} can be filled"
    text = f"{filled}: no more can be filled; worst range of diameter {boxing.worst_range_mm:.2f} "
    text += "mm, proven smallest"
    if boxing.worst_colour is not None and boxing.colour_bound is not None:
        text += f"; worst range of colour {boxing.worst_colour:.1f}, "
        if boxing.colour_bound >= boxing.worst_colour - 1e-6:
            text += "proven smallest"
        else:
            text += f"proven only that none is below {boxing.colour_bound:.1f}"
    return text


def box_pictures(boxing: Boxing, kind: BoxKind) -> dict[str, bytes]:
    """A picture of each box by its file name."""
    shown = list(enumerate(boxing.boxes, 1))[:MOST_PICTURES]
    return {
        f"box_{n:02d}.jpg": jpeg_bytes(_picture(n, box, boxing, kind)) for n, box in shown
    }


def _picture(number: int, filled: Box, boxing: Boxing, kind: BoxKind) -> Drawing:
    """Slots from above, to scale; in each the pair's number, its shells and its diameter."""
    title = f"Box {number} of {len(boxing.boxes)}: {kind.name}"
    meaning = "In each slot: number of the pair, its two shells, diameter with its 95 % ±."
    head, top = text_lines(wrapped(printable(title), TITLE_PX, ROOM_PX), 0.0, TITLE_PX)
    pitch = ROOM_PX / kind.columns
    slots: list[Shape] = []
    for place, one in enumerate(filled.macarons):
        row, column = divmod(place, kind.columns)
        corner = (PAD_PX + column * pitch, top + row * pitch)
        radius = pitch / kind.slot_pitch_mm * one.diameter_mm.value / 2
        middle = (corner[0] + pitch / 2, corner[1] + pitch / 2)
        slots.append(rect(corner, (pitch, pitch), stroke=FAINT, width=3.0))
        slots.append(Circle(middle, radius, PALE, INK, 5.0))
        slots += _label(one, middle, 1.5 * radius)
    notes = [f"{_box_facts(filled)}.", meaning]
    lines = [line for note in notes for line in wrapped(note, LETTER_PX, ROOM_PX)]
    foot, end = text_lines(lines, top + -(-kind.slots // kind.columns) * pitch, LETTER_PX)
    return Drawing(WIDTH_PX, end, [*head, *slots, *foot])


def _label(one: Macaron, centre: tuple[float, float], width: float) -> list[Text]:
    size = f"{one.diameter_mm.value:.1f} ± {one.diameter_mm.u95:.1f} mm"
    lines = [
        (code_of(one.number, one.pair), 0.24, -0.26),
        (f"{one.pair.a.id} + {one.pair.b.id}", 0.14, 0.0),
        (size, 0.12, 0.18),
    ]
    if one.flavour:
        lines.append((printable(one.flavour), 0.12, 0.34))
    return [
        Text(
            (centre[0], centre[1] + shift * width), text,
            max(18.0, fitting(text, most * width, 0.95 * width)), "middle", "middle",
        )
        for text, most, shift in lines
    ]  # fmt: skip
