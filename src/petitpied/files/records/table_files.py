"""The shells of a record as tables: CSV for a spreadsheet, COCO JSON for annotation tools."""

import csv
import io
import json
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.quantity import Quantity
from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.files.records.quantity_json import quantity_to_dict
from petitpied.files.records.record_json import QUANTITIES
from petitpied.statistics.tray_summary import summarise
from petitpied.text.wording import printable

#: first characters that spreadsheets take for a formula (OWASP, "CSV Injection")
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")

#: COCO counts pixels from the outer corner of the first one, we from its centre
COCO_SHIFT_PX = 0.5
#: what a surface shows, in the CSV, beside the quantities
SURFACE_COLUMNS = (
    "crack_count",
    "foot_state",
    "foot_shows_rel",
    "foot_uneven_mm",
    "foot_one_sided_mm",
    "foot_one_sided_dir_deg",
    "colour_L",
    "colour_a",
    "colour_b",
    "dimple_count",
    "peak_height_mm",
    "pinhole_count",
)
#: quantities whose name in the record has no unit
NAMED_WITH_UNIT = {
    "growth": "growth_mm",
    "browning": "browning_de00",
    "edge_browning": "edge_browning_de00",
}
CATEGORIES = {"shell": 1, "cap": 2}


def csv_bytes(record: Record) -> bytes:
    """A row a shell, UTF-8; units and "u95" (95 % uncertainty) in the column names."""
    odd = {o.id: ", ".join(o.words) for o in summarise(record).odd}
    rows = [{"photo": record.photo.file, **_row(s), "odd": odd.get(s.id)} for s in record.shells]
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")  # RFC 4180
    writer.writerow(_columns())
    for row in rows:
        writer.writerow([safe_cell(row[name]) for name in _columns()])
    return stream.getvalue().encode()


def _columns() -> list[str]:
    before = ["photo", "id", "row", "column", "centre_x_px", "centre_y_px"]
    before += ["centre_x_mm", "centre_y_mm"]
    sizes = [c for name in QUANTITIES for c in (_in_table(name), _u95_name(_in_table(name)))]
    after = ["lean_dir_deg", "diameter_rel", *SURFACE_COLUMNS, "touching", "odd"]
    after += ["not_measured", "missing", "doubts", "verdict", "reasons"]
    return before + sizes + after


def _in_table(quantity: str) -> str:
    """The record's name with its unit."""
    return NAMED_WITH_UNIT.get(quantity, quantity)


def _u95_name(quantity: str) -> str:
    stem = quantity.removesuffix("_mm")
    return f"{stem}_u95_mm" if stem != quantity else f"{stem}_u95"


def _row(shell: Shell) -> dict[str, Any]:
    x_mm, y_mm = shell.centre_mm or (None, None)
    row: dict[str, Any] = {
        "id": shell.id,
        "row": shell.row,
        "column": shell.column,
        "centre_x_px": round(shell.centre_px[0], 2),
        "centre_y_px": round(shell.centre_px[1], 2),
        "centre_x_mm": None if x_mm is None else round(x_mm, 3),
        "centre_y_mm": None if y_mm is None else round(y_mm, 3),
        **_surface_row(shell),
        "lean_dir_deg": None if shell.lean_dir_deg is None else round(shell.lean_dir_deg, 1),
        "diameter_rel": None if shell.diameter_rel is None else round(shell.diameter_rel, 5),
        "touching": " ".join(shell.touching),
        "not_measured": shell.not_measured,
        "missing": "; ".join(f"{name}: {reason}" for name, reason in shell.missing),
        "doubts": "; ".join(shell.doubts),
        "verdict": shell.verdict,
        "reasons": "; ".join(shell.reasons),
    }
    for name in QUANTITIES:
        quantity = quantity_to_dict(getattr(shell, name)) or {}
        column = _in_table(name)
        row[column], row[_u95_name(column)] = quantity.get("value"), quantity.get("u95")
    return row


def table_bytes(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    """Any table as CSV, UTF-8; no cell is a formula."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(header)
    for row in rows:
        writer.writerow([safe_cell(value) for value in row])
    return stream.getvalue().encode()


def _surface_row(shell: Shell) -> dict[str, Any]:
    foot = shell.foot
    one_sided = None if foot is None or foot.one_sided_mm is None else foot.one_sided_mm.value
    uneven = None if foot is None or foot.uneven_mm is None else foot.uneven_mm.value
    values = (
        None if shell.cracks is None else len(shell.cracks),
        None if foot is None else foot.state,
        None if foot is None else round(foot.shows_rel.value, 3),
        None if uneven is None else round(uneven, 3),
        None if one_sided is None else round(one_sided, 3),
        None if foot is None else foot.one_sided_dir_deg,
        *((None,) * 3 if shell.colour is None else (round(float(v), 2) for v in shell.colour.lab)),
        None if shell.dimples is None else len(shell.dimples),
        None if shell.peak is None else _value(shell.peak.depth_mm),
        None if shell.pinholes is None else len(shell.pinholes),
    )
    return dict(zip(SURFACE_COLUMNS, values, strict=True))


def _value(quantity: Quantity | None) -> float | None:
    return None if quantity is None else round(quantity.value, 2)


def safe_cell(value: Any) -> Any:
    """Text without control characters, and never a formula; numbers as they are."""
    if not isinstance(value, str):
        return value
    text = f"'{value}" if value.lstrip(" ").startswith(FORMULA_STARTS) else value
    return printable(text)


def coco_bytes(record: Record) -> bytes:
    """Outlines of shells and caps in COCO's object detection format."""
    annotations: list[dict[str, Any]] = []
    for shell in record.shells:
        for category, outline in (("shell", shell.outline_px), ("cap", shell.cap_outline_px)):
            if outline is not None and len(outline) >= 3:
                annotations.append(
                    {
                        "id": len(annotations) + 1,
                        "image_id": 1,
                        "category_id": CATEGORIES[category],
                        **_polygon(outline + COCO_SHIFT_PX),
                        "iscrowd": 0,
                        "attributes": {"shell": shell.id},
                    }
                )
    photo = record.photo
    content = {
        "info": {"description": "petitpied: outlines of macaron shells", "version": "1"},
        "images": [
            {"id": 1, "file_name": photo.file, "width": photo.width, "height": photo.height}
        ],
        "categories": [
            {"id": number, "name": name, "supercategory": "macaron"}
            for name, number in CATEGORIES.items()
        ],
        "annotations": annotations,
    }
    return json.dumps(content, ensure_ascii=False, allow_nan=False).encode()


def _polygon(outline: NDArray[np.float64]) -> dict[str, Any]:
    """Segmentation, area (shoelace formula) and box of a closed outline (N, 2), px."""
    x, y = outline.T
    area = abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2
    box = [x.min(), y.min(), np.ptp(x), np.ptp(y)]
    return {
        "segmentation": [np.round(outline, 2).ravel().tolist()],
        "area": round(area, 2),
        "bbox": [round(float(v), 2) for v in box],
    }
