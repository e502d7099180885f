"""What a report says of each tray: picture, how it was measured, every shell."""

from collections.abc import Sequence
from statistics import median

from petitpied.domain import card
from petitpied.domain.bake import BakeFacts
from petitpied.domain.quantity import Quantity, coverage_factor_95
from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.figures import look
from petitpied.figures.charts.charts import Planned, tray_plan
from petitpied.report.blocks import Block, Bullets, Chart, Paragraph, Section, Table
from petitpied.report.material import Tray
from petitpied.report.pictures import contact, marked_tray
from petitpied.statistics.tray_summary import Summary
from petitpied.text.summary_words import headline, odd_reasons
from petitpied.text.wording import decimals, printable, with_u95

#: columns of the table of shells: field, head
COLUMNS = (
    ("diameter_mm", "diameter, mm"),
    ("foot_spread_mm", "foot spread, mm"),
    ("lean_mm", "lean, mm"),
    ("roundness_mm", "roundness, mm"),
    ("height_mm", "height, mm"),
    ("growth", "growth, mm"),
    ("crack_length_mm", "cracks, mm"),
    ("browning", "browning, ΔE00"),
)
HEIGHTS = {
    "photo": "estimated from the photo",
    "shell height given": "from the shell height given by ruler",
    "default": "a usual value, with its doubt in every ±",
}


def tray_section(tray: Tray, summary: Summary, trays: int) -> Section:
    """Picture (or plan, where the photo is gone), short result, warnings."""
    blocks: list[Block] = [Paragraph(headline(summary) + _holds(summary), "strong")]
    if tray.facts is not None:
        blocks.append(Paragraph(facts_line(tray.facts)))
    if tray.photo is not None:
        blocks.append(marked_tray(tray.photo.pixels_bgr, tray.record, summary, trays))
        blocks.append(contact(tray.photo.pixels_bgr, tray.record, summary, trays))
    else:
        blocks.append(
            Paragraph(f"No picture: {tray.no_photo}. The plan is drawn from the record.", "note")
        )
        blocks += _plan(tray.record)
    if summary.odd:
        odd = ((f"{o.id}, {', '.join(o.words)}", "; ".join(odd_reasons(o))) for o in summary.odd)
        blocks.append(Bullets(tuple(odd)))
    blocks += [Paragraph(f"Warning: {printable(w)}", "note") for w in tray.record.warnings]
    return Section("The tray" if trays == 1 else f"Tray {tray.name}", tuple(blocks))


def _holds(summary: Summary) -> str:
    stated = summary.diameter_mm is not None or summary.spread_rel is not None
    return ". ± holds 95 %." if stated else "."


def _plan(record: Record) -> list[Block]:
    planned = tuple(
        Planned(s.id, s.centre_mm[0], s.centre_mm[1], s.diameter_mm.value, s.verdict or "")
        for s in record.shells
        if s.centre_mm is not None and s.diameter_mm is not None
    )
    if not planned:
        return []
    inside = "its id and diameter in mm"
    judged = [v for v in look.VERDICTS if any(p.verdict == v for p in planned)]
    if judged:
        marks = ", ".join(f"{look.VERDICTS[v].mark} {look.VERDICTS[v].word}" for v in judged)
        inside = f"its id and a mark: {marks}"
    return [Chart(tray_plan(planned), f"Plan of the tray; in each shell {inside}.")]


def facts_line(facts: BakeFacts) -> str:
    """The bake's facts in one line; what is not known is left out."""
    parts = [f"baked {facts.baked_at:%Y-%m-%d %H:%M}", f"oven {facts.oven}"]
    if facts.rack is not None:
        parts.append(f"rack {facts.rack}")
    if facts.turn_deg == 180:
        parts.append("tray turned")
    if facts.set_temperature_c is not None:
        parts.append(f"set to {facts.set_temperature_c:g} °C")
    if facts.fan is not None:
        parts.append("fan on" if facts.fan else "fan off")
    for word, value in (("liner", facts.liner), ("flavour", facts.flavour), ("batch", facts.batch)):
        if value is not None:
            parts.append(f"{word} {value}")
    if facts.rest_minutes is not None:
        parts.append(f"rested {facts.rest_minutes:g} min")
    if facts.humidity_rel is not None:
        parts.append(f"humidity {100 * facts.humidity_rel:.0f} %")
    line = ", ".join(printable(part) for part in parts)
    note = "" if facts.note is None else f" Note: {printable(facts.note)}"
    return f"{line[:1].upper()}{line[1:]}.{note}"


def measuring_section(trays: Sequence[Tray]) -> Section:
    """How it was measured, and what the uncertainty means."""
    several = len(trays) > 1
    items = _measured(trays[0].record)
    if several:
        items = [(tray.name, measured_line(tray.record)) for tray in trays]
    shells = [s for t in trays for s in t.record.shells]
    return Section(
        "How it was measured", (Bullets(tuple(items)), *_uncertainty(shells), _method())
    )


def measured_line(record: Record) -> str:
    """Card, lens, distance in one line."""
    return "; ".join(f"{lead.lower()}: {text}" for lead, text in _measured(record))


def _measured(record: Record) -> list[tuple[str, str]]:
    view = record.view
    if view is None:
        return [("Scale", "none: no card in the photo; sizes are relative to the median shell")]
    letters = ", ".join(c.id for c in record.cards)
    word = "card" if len(record.cards) == 1 else "cards"
    lens = "from the photo's focal length and the card"
    if record.scale_source == "lens profile+cards":
        lens = "from a lens profile"
    elif len(record.cards) > 1:
        lens = "from the photo's focal length and the cards"
    lines = [
        ("Scale", f"{word} {letters}, {card.WIDTH_MM:.2f} x {card.HEIGHT_MM:.2f} mm (ID-1)"),
        ("Lens", lens),
        (
            "Distance",
            f"camera {-float(view.camera_centre_mm[2]):.0f} mm above the liner, "
            f"tilted by {view.tilt_deg:.1f}°",
        ),
    ]
    if record.px_per_mm is not None:
        lines.append(("Picture", f"1 pixel is {1 / record.px_per_mm:.2f} mm at the tray's middle"))
    if record.heights_source in HEIGHTS:
        lines.append(("Heights of cap and foot", HEIGHTS[record.heights_source]))
    if record.photo.camera:
        lines.append(("Camera", printable(record.photo.camera)[:80]))
    return lines


def _uncertainty(shells: Sequence[Shell]) -> list[Block]:
    sizes = [s.diameter_mm for s in shells if s.diameter_mm is not None]
    if not sizes:
        return []
    whole = median(q.u95 for q in sizes)
    own, shared = (
        median(coverage_factor_95(q.dof) * u for q, u in parts)
        for parts in ([(q, q.u_own) for q in sizes], [(q, q.u_shared) for q in sizes])
    )
    places = decimals(whole)
    return [
        Paragraph(
            f"A diameter is known to ± {whole:.{places}f} mm (median of {len(sizes)} shells, "
            f"95 %): ± {own:.{places}f} mm of the shell's own outline and edge, and "
            f"± {shared:.{places}f} mm that all shells of a photo share (card, lens, view, "
            "heights). Between shells of one photo the shared part drops out."
        )
    ]


def _method() -> Block:
    return Paragraph(
        "Sizes are of the outline as seen from straight above (ISO 9276-6: diameter of the circle "
        "with the same area; ISO 12181: roundness). Uncertainty by JCGM 100, expanded to 95 %.",
        "note",
    )


def shells_section(trays: Sequence[Tray]) -> Section:
    """A table for each tray with every shell."""
    tables: list[Block] = []
    for tray in trays:
        caption = "Sizes with their 95 % uncertainty"
        if len(trays) > 1:
            caption += f", tray {tray.name}"
        tables.append(_table(tray.record, caption))
    return Section("Every shell", tuple(tables))


def _table(record: Record, caption: str) -> Table:
    columns = [c for c in COLUMNS if any(_quantity(s, c[0]) for s in record.shells)]
    relative = not columns
    heads = ["shell", *(head for _, head in columns)]
    heads += ["diameter, % of median"] if relative else []
    heads += ["remarks"]
    rows = []
    for shell in record.shells:
        row = [shell.id, *(_cell(_quantity(shell, name)) for name, _ in columns)]
        if relative:
            share = shell.diameter_rel
            row.append("" if share is None else f"{100 * share:.0f}")
        row.append(_remarks(shell))
        rows.append(tuple(printable(cell) for cell in row))
    numeric = (False, *(True for _ in heads[1:-1]), False)
    return Table(caption, tuple(heads), tuple(rows), numeric)


def _quantity(shell: Shell, name: str) -> Quantity | None:
    value = getattr(shell, name, None)
    return value if isinstance(value, Quantity) else None


def _cell(quantity: Quantity | None) -> str:
    return "–" if quantity is None else with_u95(quantity, "")


def _remarks(shell: Shell) -> str:
    if shell.not_measured is not None:
        return f"not measured: {shell.not_measured}"
    parts = [shell.verdict] if shell.verdict is not None else []
    parts += [f"touches {', '.join(shell.touching)}"] if shell.touching else []
    return "; ".join([*parts, *shell.reasons, *shell.doubts])
