"""From the label file and records to a label's draft on disk."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from petitpied.domain.errors import LotError, OwnFileError
from petitpied.domain.record import Record
from petitpied.figures.print.print_label import label_pdf
from petitpied.files.own.label_file import read_label
from petitpied.files.records.lot_files import read_trays
from petitpied.labels.label import Label, Product, draft, ingredients, unnamed, unstated
from petitpied.sorting.lot_trays import LotTray
from petitpied.text.lots.label_words import check_lines, label_text, trace_lines, weight_lines

#: a box of filled macarons weighs this share of what went into it: water leaves in the oven
#: (common practice, no source)
PLAUSIBLE_NET_REL = (0.6, 1.05)


@dataclass(frozen=True, slots=True)
class Drafted:
    """Files by name, and what to say."""

    files: dict[str, bytes]
    lines: tuple[str, ...]


def drafted(path: Path, sheet: str, records: Sequence[Path], lot: str | None) -> Drafted:
    """The draft as text and PDF, its checklist, and where its lot leads.

    Raises
    ------
    OwnFileError, RecordError, LotError
        If a file cannot be used, an allergen is not named, or the text does not fit the label.
    """
    product = read_label(path)
    _check_allergens(product, path)
    _check_weight(product, path)
    trays = read_trays(records) if records else ()
    code = lot if lot is not None else lot_code([t.record for t in trays]) if trays else ""
    product = replace(product, lot=code)
    label = draft(product)
    lines = [*weight_lines(product), *check_lines(product), *_traced(code, trays)]
    text = "\n".join([label_text(label), *lines, ""])
    stem = path.stem if path.stem.startswith("label") else f"label_{path.stem}"
    pdf = _fitted_pdf(label, sheet)
    return Drafted({f"{stem}.txt": text.encode(), f"{stem}.pdf": pdf}, tuple(lines))


def lot_code(records: Sequence[Record]) -> str:
    """The day of the first photo that tells it, and six letters of the photos' hashes: the same
    trays give the same code, others another."""
    days = [r.photo.taken_at[:10].replace("-", "") for r in records if r.photo.taken_at]
    hashes = "".join(sorted(r.photo.sha256 for r in records))
    code = hashlib.sha256(hashes.encode()).hexdigest()[:6].upper()
    return f"{days[0][2:]}-{code}" if days else code


def _traced(code: str, trays: Sequence[LotTray]) -> list[str]:
    if not trays:
        return ["no lot: give --from RECORD for one that leads back to tray, shells and photo"]
    return trace_lines(
        code,
        [
            (t.name, t.record.photo.file, t.record.photo.sha256, [s.id for s in t.record.shells])
            for t in trays
        ],
    )


def _check_allergens(product: Product, path: Path) -> None:
    """What is stated and what the ingredients show must agree."""
    for filling, part, allergen in unstated(product):
        raise OwnFileError(
            what=f"label file {path.name} cannot be used",
            why=f'the filling "{filling}" lists "{part}", which looks like {allergen}, but '
            "contains does not name it",
            next_step=f'add "{allergen}" to its contains, or name the part otherwise if it holds '
            "none",
        )
    for filling, allergen in unnamed(product):
        raise OwnFileError(
            what=f"label file {path.name} cannot be used",
            why=f'the filling "{filling}" is said to hold {allergen}, but none of its parts names '
            "it",
            next_step=f'write it beside the part that holds it, as in "chocolate ({allergen})"',
        )


def _check_weight(product: Product, path: Path) -> None:
    used_g = sum(grams for _, grams in ingredients(product))
    low, high = (share * used_g for share in PLAUSIBLE_NET_REL)
    if not low <= product.net_g <= high:
        raise OwnFileError(
            what=f"label file {path.name} cannot be used",
            why=f"the box is said to hold {product.net_g:g} g, and its parts add up to "
            f"{used_g:.0f} g before baking",
            next_step="weigh a filled box, or correct macarons, grams or the recipe",
        )


def _fitted_pdf(label: Label, sheet: str) -> bytes:
    try:
        return label_pdf(label, sheet)
    except ValueError as error:
        raise LotError(
            what="the label does not fit its sheet",
            why=f"at the smallest letters allowed {error}",
            next_step="take larger labels: --sheet a4-4, or shorter names of ingredients",
        ) from None
