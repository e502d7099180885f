"""A filled gift box, seen from above."""

from math import ceil
from typing import TYPE_CHECKING

from petitpied.figures import look
from petitpied.figures.charts.charts import LETTER
from petitpied.figures.drawing import Drawing, Spot, Text, rect
from petitpied.sorting.box_file import BoxKind
from petitpied.text.wording import printable

if TYPE_CHECKING:
    from petitpied.sorting.boxes import Box

SLOT = 96.0
PAD = 10.0


def box_chart(box: "Box", kind: BoxKind, number: int) -> Drawing:
    """Macarons true to scale in their slots: pair's number, diameter in mm, flavour."""
    columns = min(kind.columns, len(box.macarons))
    rows = ceil(len(box.macarons) / columns)
    width, height = columns * SLOT + 2 * PAD, rows * (SLOT + 14) + 2 * PAD
    placed = "; ".join(f"pair {m.number}, {m.diameter_mm.value:.1f} mm" for m in box.macarons)
    drawn = Drawing(width, height, alt=f"Box {number} from above: {placed}.")
    drawn.add(rect((2, 2), (width - 4, height - 4), fill=look.PALE, stroke=look.INK))
    for i, one in enumerate(box.macarons):
        x = PAD + SLOT * (i % columns + 0.5)
        y = PAD + (SLOT + 14) * (i // columns) + SLOT / 2
        size = SLOT * min(1.0, one.diameter_mm.value / kind.slot_pitch_mm)
        diameter = f"{one.diameter_mm.value:.1f}"
        drawn.add(
            Spot((x, y), size, "ring"),
            Text((x, y - 2), str(one.number), LETTER * 1.15, "middle", bold=True),
            Text((x, y + 18), diameter, LETTER * 0.85, "middle"),
        )
        if one.flavour:
            name = printable(one.flavour)
            name = name if len(name) <= 12 else name[:11] + "…"
            below = (x, y + SLOT / 2 + 10)
            drawn.add(Text(below, name, LETTER * 0.75, "middle", colour=look.QUIET))
    return drawn
