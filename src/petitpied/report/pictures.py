"""Pictures of the report: the annotated tray, sized for the page; all header facts dropped."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.photo import Photo
from petitpied.domain.record import Record
from petitpied.figures.raster import pixels as rendered
from petitpied.figures.tray.overlay import marked_picture
from petitpied.report.blocks import Picture
from petitpied.statistics.tray_summary import Summary

if TYPE_CHECKING:
    from petitpied.sorting.lot_trays import LotTray
    from petitpied.text.sheet_words import Code

Pixels = NDArray[np.uint8]

#: long side of the annotated picture by how many trays a report shows: one tray's page stays
#: far below 3 MB, and a page of many below a mail's usual limit
LONG_SIDES_PX = ((1, 1800), (4, 1400), (1_000_000, 900))
JPEG_QUALITY = 82


def marked_tray(pixels: Pixels, record: Record, summary: Summary, trays: int) -> Picture:
    """The annotated picture, its words, and its caption."""
    marked = rendered(marked_picture(pixels, record, summary))
    words = f"{summary.found} shells outlined, each with its id and diameter"
    if summary.odd:
        words += f"; odd ones out marked: {', '.join(o.id for o in summary.odd[:12])}"
    return jpeg(
        marked,
        _long_side_px(trays),
        f"The tray from above: {words}.",
        "Annotated photo. White line: outline; thin dashes: cap; corner brackets: odd one out.",
    )


def contact(pixels: Pixels, record: Record, summary: Summary, trays: int) -> Picture:
    """Every shell zoomed, in the lattice's order."""
    from petitpied.figures.tray.sheet import contact_sheet

    return jpeg(
        rendered(contact_sheet(pixels, record, summary)),
        _long_side_px(trays),
        f"Contact sheet: each of the {summary.found} shells zoomed, in rows and columns as on the "
        "tray, with its id, diameter and faults.",
        "Every shell zoomed, in rows and columns as on the tray.",
    )


def pair_sheet(tray: "LotTray", photo: Photo, codes: Mapping[str, "Code"], trays: int) -> Picture:
    """The pairing sheet of one tray without its list, which the report has as a table."""
    from petitpied.figures.tray.tray_sheet import tray_sheet
    from petitpied.text.sheet_words import Listing

    return jpeg(
        rendered(tray_sheet(tray, photo.pixels_bgr, codes, Listing(tray.name, ()))),
        _long_side_px(trays),
        f"The tray {tray.name} with the number of its pair on every shell.",
        "Same number: one macaron. The notches meet when it is closed. Dashed: not taken.",
    )


def _long_side_px(trays: int) -> int:
    return next(side for most, side in LONG_SIDES_PX if trays <= most)


def jpeg(pixels: Any, long_side_px: int, alt: str, caption: str) -> Picture:
    """A picture (H, W, 3), blue-green-red, made no larger than ``long_side_px``, as JPEG."""
    scale = min(1.0, long_side_px / max(pixels.shape[:2]))
    size = (max(1, round(pixels.shape[1] * scale)), max(1, round(pixels.shape[0] * scale)))
    small = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA) if scale < 1 else pixels
    done, data = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    if not done:
        raise ValueError("a picture of the report could not be encoded as JPEG")
    return Picture(bytes(data), "jpeg", size[0], size[1], alt, caption)
