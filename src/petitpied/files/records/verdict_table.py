"""The verdicts of a lot as a table: CSV for a spreadsheet."""

from petitpied.domain.quantity import Quantity
from petitpied.files.records.table_files import table_bytes
from petitpied.sorting.lot_trays import quantity_of
from petitpied.text.lots.sorting_words import LotResult


def verdict_table(result: LotResult) -> bytes:
    """A row a shell as CSV."""
    header = ["record", "photo", "id", "verdict", "reasons", "diameter_mm", "diameter_u95_mm"]
    rows = []
    for tray in result.trays:
        for shell in tray.record.shells:
            size: Quantity | None = quantity_of(shell, "diameter_mm")
            numbers = [None, None] if size is None else [round(size.value, 3), round(size.u95, 3)]
            reasons = "; ".join(shell.reasons)
            photo = tray.record.photo.file
            rows.append([tray.key, photo, shell.id, shell.verdict, reasons, *numbers])
    return table_bytes(header, rows)
