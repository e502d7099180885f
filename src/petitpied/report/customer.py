"""The page for customers: name, flavours, how even, allergens, a picture; no measuring words."""

from collections import Counter
from collections.abc import Sequence

from petitpied import __version__
from petitpied.report.blocks import Letterhead, Paragraph, Report, Section
from petitpied.report.lot_part import Sorting
from petitpied.report.material import Tray
from petitpied.report.pictures import box_photo
from petitpied.text.wording import counted, fixed, printable

#: what the shells hold (see `petitpied.text.cautions.ALLERGENS` for who says so); what a filling
#: adds no photo shows
ALLERGENS = (
    Paragraph("Contains almond (a nut) and egg.", "strong"),
    Paragraph("Fillings may add milk, soya and others. Made where nuts and eggs are used."),
    Paragraph("If you have an allergy, ask before you eat. Keep them as the label says.", "note"),
)


def customer_report(sorting: Sorting, letterhead: Letterhead) -> Report | None:
    """The page of one evening's boxes; None where no box was filled."""
    boxing, kind = sorting.boxing, sorting.kind
    if boxing is None or kind is None or not boxing.boxes:
        return None
    macarons = [one for box in boxing.boxes for one in box.macarons]
    flavours = Counter(printable(one.flavour) for one in macarons if one.flavour)
    sizes = [one.diameter_mm.value for one in macarons]
    plain = [f"{counted(len(macarons), 'macaron')} in {counted(len(boxing.boxes), 'box')}."]
    if flavours:
        plain.append(f"Flavours: {', '.join(flavours)}.")
    across, even = fixed(sum(sizes) / len(sizes), 0), fixed(boxing.worst_range_mm or 0.0, 1)
    plain.append(f"About {across} mm across; in a box the sizes differ by at most {even} mm.")
    sections = []
    if any(tray.photo is not None for tray in sorting.trays):
        picture = box_photo(1, boxing, kind, sorting.trays, "The first box.", plain=True)
        sections.append(Section("In the box", (picture,)))
    sections.append(Section("Allergens", ALLERGENS))
    return Report(
        title=f"Macarons: {', '.join(flavours)}" if flavours else "Macarons",
        date=_date(sorting.trays),
        letterhead=letterhead,
        plain=tuple(plain),
        sections=tuple(sections),
        message=(),
        made_by=f"petitpied {__version__}",
    )


def _date(trays: Sequence[Tray]) -> str:
    """The day of the photos."""
    days = sorted({printable(t)[:10] for tray in trays if (t := tray.record.photo.taken_at)})
    if not days:
        return ""
    return f"Baked {days[0]}" if len(days) == 1 else f"Baked {days[0]} to {days[-1]}"
