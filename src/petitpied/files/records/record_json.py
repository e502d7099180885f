"""A record as JSON: to and from a dict of the published names (schema petitpied/inspection/1).

Millimetres are rounded to 4 decimals, pixels to 2: a tenth of a micrometre and a hundredth of a
pixel lie far below any uncertainty here.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.record import SCHEMA, PhotoFacts, Record, SeenCard, TrayPlace
from petitpied.domain.shell import Shell
from petitpied.domain.uncertainty import OWN_CAUSES, SHARED_CAUSES
from petitpied.domain.view import PARAMETERS, View
from petitpied.files.records.quantity_json import quantity_from_dict, quantity_to_dict
from petitpied.files.records.surface_json import (
    surface_fields,
    surface_to_dict,
    tray_colour_from_dict,
    tray_colour_to_dict,
)
from petitpied.statistics.tray_summary import Summary, summarise
from petitpied.text.summary_words import odd_reasons

Json = dict[str, Any]

#: the quantities of a shell, in the order of the table; None where not measured
QUANTITIES = (
    "diameter_mm",
    "cap_diameter_mm",
    "foot_diameter_mm",
    "feret_min_mm",
    "feret_max_mm",
    "roundness_mm",
    "circularity",
    "aspect_ratio",
    "foot_spread_mm",
    "lean_mm",
    "height_mm",
    "piped_diameter_mm",
    "growth",
    "crack_length_mm",
    "browning",
    "edge_browning",
    "lumpiness_mm",
)


def record_to_dict(record: Record) -> Json:
    """The record in the names of the published schema; every number is finite.

    Raises
    ------
    ValueError
        If a number is not finite: a fault of the program, never written.
    """
    result = {
        "schema": SCHEMA,
        "tool_version": record.tool_version,
        "photo": {
            "file": record.photo.file,
            "sha256": record.photo.sha256,
            "width": record.photo.width,
            "height": record.photo.height,
            "taken_at": record.photo.taken_at,
            "camera": record.photo.camera,
        },
        "view": _view_to_dict(record),
        "tray": _tray_to_dict(record.tray),
        "heights": _heights_to_dict(record),
        "uncertainty": {"own_of": list(OWN_CAUSES), "shared_of": list(SHARED_CAUSES)},
        "surface": {
            "smallest_crack_width_mm": quantity_to_dict(record.smallest_crack_width_mm),
            "colour": tray_colour_to_dict(record.colour),
        },
        "shells": [_shell_to_dict(s) for s in record.shells],
        "summary": _summary_to_dict(summarise(record)),
    }
    _check_finite(result, "record")
    return result


def record_from_dict(data: Json) -> Record:
    """The record of a dict that fits the schema (`record_files` checks it)."""
    photo, view = data["photo"], data["view"]
    return Record(
        tool_version=data["tool_version"],
        photo=PhotoFacts(
            photo["file"],
            photo["sha256"],
            photo["width"],
            photo["height"],
            photo.get("taken_at"),
            photo.get("camera"),
        ),
        scale_source=view["scale_source"],
        view=_view_from_dict(view),
        cards=tuple(
            SeenCard(c["id"], np.array(c["corners_px"], float), c.get("print_scale", 1.0))
            for c in view["cards"]
        ),
        px_per_mm=view["px_per_mm"],
        tray=None if data["tray"] is None else TrayPlace(**data["tray"]),
        shells=tuple(_shell_from_dict(s) for s in data["shells"]),
        heights_mm={
            name.removesuffix("_mm"): quantity
            for name, value in data["heights"].items()
            if (quantity := quantity_from_dict(value if name != "source" else None)) is not None
        },
        heights_source=data["heights"]["source"],
        warnings=tuple(view["warnings"]),
        lens_profile=view.get("lens_profile"),
        smallest_crack_width_mm=quantity_from_dict(
            data.get("surface", {}).get("smallest_crack_width_mm")
        ),
        colour=tray_colour_from_dict(data.get("surface", {}).get("colour")),
    )


def _view_to_dict(record: Record) -> Json:
    view = record.view
    result: Json = {
        "scale_source": record.scale_source,
        "lens_profile": record.lens_profile,
        "cards": [
            {
                "id": c.id,
                "corners_px": _points(c.corners_px, "corners_px"),
                "print_scale": round(c.print_scale, 6),
            }
            for c in record.cards
        ],
        "K": None,
        "dist": None,
        "world_to_camera": None,
        "tilt_deg": None,
        "camera_height_mm": None,
        "px_per_mm": _rounded(record.px_per_mm, 4),
        "covariance": None,
        "covariance_of": list(PARAMETERS),
        "warnings": list(record.warnings),
    }
    if view is not None:
        pose = np.round(view.world_to_camera, 9)
        pose[:, 3] = np.round(pose[:, 3], 4)
        result |= {
            "K": np.round(view.camera_matrix, 4).tolist(),
            "dist": np.round(view.dist, 9).tolist(),
            "world_to_camera": pose.tolist(),
            "tilt_deg": round(view.tilt_deg, 3),
            "camera_height_mm": round(-float(view.camera_centre_mm[2]), 2),
            "covariance": [[float(f"{v:.8g}") for v in row] for row in view.covariance.tolist()],
        }
    return result


def _view_from_dict(view: Json) -> View | None:
    if view["K"] is None:
        return None
    names = ("K", "dist", "world_to_camera", "covariance")
    return View(*(np.array(view[name], float) for name in names))


def _tray_to_dict(tray: TrayPlace | None) -> Json | None:
    if tray is None:
        return None
    return {
        "frame": tray.frame,
        "rows": tray.rows,
        "columns": tray.columns,
        "door": tray.door,
        "width_mm": _rounded(tray.width_mm, 4),
        "depth_mm": _rounded(tray.depth_mm, 4),
    }


def _heights_to_dict(record: Record) -> Json:
    heights = {f"{name}_mm": quantity_to_dict(q) for name, q in record.heights_mm.items()}
    return {"source": record.heights_source, **heights}


def _shell_to_dict(shell: Shell) -> Json:
    cap = shell.cap_outline_px
    return {
        "id": shell.id,
        "row": shell.row,
        "column": shell.column,
        "centre_px": [round(v, 2) for v in shell.centre_px],
        "centre_mm": None if shell.centre_mm is None else [round(v, 4) for v in shell.centre_mm],
        "outline_px": _points(shell.outline_px, "outline_px"),
        "cap_outline_px": None if cap is None else _points(cap, "cap_outline_px"),
        **{name: quantity_to_dict(getattr(shell, name)) for name in QUANTITIES},
        "lean_dir_deg": _rounded(shell.lean_dir_deg, 2),
        "diameter_rel": _rounded(shell.diameter_rel, 5),
        "touching": list(shell.touching),
        "not_measured": shell.not_measured,
        "missing": dict(shell.missing),
        "doubts": list(shell.doubts),
        **surface_to_dict(shell),
        **_verdict_to_dict(shell),
    }


def _verdict_to_dict(shell: Shell) -> Json:
    """Absent where no limits were given."""
    if shell.verdict is None:
        return {}
    return {"verdict": shell.verdict, "reasons": list(shell.reasons)}


def _shell_from_dict(data: Json) -> Shell:
    cap, centre_mm = data["cap_outline_px"], data["centre_mm"]
    quantities: Json = {name: quantity_from_dict(data.get(name)) for name in QUANTITIES}
    return Shell(
        id=data["id"],
        row=data["row"],
        column=data["column"],
        centre_px=(data["centre_px"][0], data["centre_px"][1]),
        centre_mm=None if centre_mm is None else (centre_mm[0], centre_mm[1]),
        outline_px=np.array(data["outline_px"], float).reshape(-1, 2),
        cap_outline_px=None if cap is None else np.array(cap, float).reshape(-1, 2),
        **quantities,
        lean_dir_deg=data["lean_dir_deg"],
        diameter_rel=data["diameter_rel"],
        touching=tuple(data["touching"]),
        not_measured=data["not_measured"],
        missing=tuple(data["missing"].items()),
        doubts=tuple(data["doubts"]),
        verdict=data.get("verdict"),
        reasons=tuple(data.get("reasons", ())),
        **surface_fields(data),
    )


def _summary_to_dict(summary: Summary) -> Json:
    return {
        "found": summary.found,
        "measured": summary.measured,
        "touching": summary.touching,
        "mean_diameter_mm": quantity_to_dict(summary.diameter_mm),
        "spread_mm": quantity_to_dict(summary.spread_mm),
        "spread_rel": quantity_to_dict(summary.spread_rel),
        "odd": [
            {"id": o.id, "words": list(o.words), "reasons": list(odd_reasons(o))}
            for o in summary.odd
        ],
    }


def _points(points: NDArray[np.float64], name: str) -> list[list[float]]:
    if not np.isfinite(points).all():
        raise ValueError(f"{name} must be finite")
    result: list[list[float]] = np.round(points, 2).tolist()
    return result


def _rounded(value: float | None, places: int) -> float | None:
    return None if value is None else round(value, places)


def _check_finite(value: Any, place: str) -> None:
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f"{place} must be finite, got {value}")
    if isinstance(value, dict):
        for key, part in value.items():
            if not key.endswith("outline_px"):  # many numbers, checked by `_points`
                _check_finite(part, f"{place}/{key}")
    elif isinstance(value, list):
        for part in value:
            _check_finite(part, place)
