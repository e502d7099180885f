"""A label's draft as text, and the checklist beside it, in words."""

from collections.abc import Sequence

from petitpied.labels.checklist import POINTS, colour_cautions
from petitpied.labels.label import Label, Product, Run, contains, ingredients, macarons_of
from petitpied.text.wording import printable

DRAFT = "Draft: check with your authority. It is no certificate, and law changes."
REGION_WORDS = {
    "eu": "European Union, Regulation (EU) 1169/2011",
    "uk": "United Kingdom, food prepacked for direct sale (England; the other nations alike)",
    "us": "United States, 21 CFR 101, FALCPA 2004, FASTER Act 2021",
}
WIDE = 78


def label_text(label: Label) -> str:
    """Lines of plain text; what is emphasised stands in capitals."""
    lines = [label.title.upper(), ""]
    for paragraph in label.paragraphs:
        lines += _folded("".join(_run_text(run) for run in paragraph))
    return "\n".join([*lines, "", DRAFT, ""])


def _run_text(run: Run) -> str:
    return printable(run.text.upper() if run.allergen else run.text)


def _folded(text: str) -> list[str]:
    lines, line = [], ""
    for word in text.split():
        if line and len(line) + 1 + len(word) > WIDE:
            lines.append(line)
            line = ""
        line = f"{line} {word}" if line else word
    return [*lines, line]


def check_lines(product: Product) -> list[str]:
    """What the law named asks for, and what to mind."""
    lines = [f"asked for by: {REGION_WORDS[product.region]} (as known on 1 December 2026)"]
    for point in POINTS[product.region]:
        mark = "ask " if point.there is None else "ok  " if point.there(product) else "MISSING"
        lines.append(f"  {mark} {point.text} ({point.source})")
    lines += [f"colour: {caution}" for caution in colour_cautions(product)]
    if len(product.fillings) > 1:
        lines.append(
            "mixed box: one label for all; what one filling holds, the whole box is taken to hold"
        )
    return [printable(line) for line in lines]


def weight_lines(product: Product) -> list[str]:
    """The ingredients with their grams in the box as used, for checking the order."""
    parts = ingredients(product)
    used_g = sum(grams for _, grams in parts)
    count = macarons_of(product)
    lines = [
        f"{count} macarons: {used_g:.0f} g of ingredients as used, {product.net_g:.0f} g in the box"
    ]
    lines += [f"  {grams:7.1f} g  {name}" for name, grams in parts]
    lines.append(f"allergens: {', '.join(contains(product))}")
    return [printable(line) for line in lines]


def trace_lines(lot: str, trays: Sequence[tuple[str, str, str, Sequence[str]]]) -> list[str]:
    """From the lot back: name of the record, photo, its hash, ids of the shells."""
    lines = [f"lot {lot}"]
    for record, photo, sha256, shells in trays:
        lines.append(
            f"  tray {record}: {len(shells)} shells {', '.join(shells)}; photo {photo} "
            f"(SHA-256 {sha256})"
        )
    return [printable(line) for line in lines]
