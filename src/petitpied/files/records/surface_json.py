"""What a shell's surface shows, as JSON: cracks, foot, colour, marks. Names as in the schema."""

from typing import Any

import numpy as np

from petitpied.domain.shell import Shell
from petitpied.domain.surface import Colour, Crack, Foot, SurfaceMark, TrayColour
from petitpied.files.records.quantity_json import quantity_from_dict, quantity_to_dict

Json = dict[str, Any]

#: names of a colour's parts in the record
LAB = ("L", "a", "b")


def surface_to_dict(shell: Shell) -> Json:
    """Fields of a shell's entry; none where its surface was not looked at."""
    fields: Json = {}
    if shell.cracks is not None:
        fields["cracks"] = [_crack_to_dict(crack) for crack in shell.cracks]
    if shell.crack_confidence is not None:
        fields["crack_confidence"] = shell.crack_confidence
    if shell.foot is not None:
        fields["foot"] = _foot_to_dict(shell.foot)
    if shell.browning is not None or "browning" in dict(shell.missing):  # shading was looked at
        fields["colour"] = _colour_to_dict(shell.colour)
        fields["peak"] = None if shell.peak is None else _mark_to_dict(shell.peak)
        for name in ("dimples", "pinholes"):
            marks: tuple[SurfaceMark, ...] | None = getattr(shell, name)
            fields[name] = None if marks is None else [_mark_to_dict(mark) for mark in marks]
    return fields


def surface_fields(data: Json) -> Json:
    """The same back, as arguments of `Shell`; a record without them gives none."""
    fields: Json = {}
    if data.get("cracks") is not None:
        fields["cracks"] = tuple(_crack_from_dict(part) for part in data["cracks"])
    fields["crack_confidence"] = data.get("crack_confidence")
    if data.get("foot") is not None:
        fields["foot"] = _foot_from_dict(data["foot"])
    if data.get("colour") is not None:
        parts = (quantity_from_dict(data["colour"][name]) for name in LAB)
        fields["colour"] = Colour(*parts)  # type: ignore[arg-type]
    if data.get("peak") is not None:
        fields["peak"] = _mark_from_dict(data["peak"])
    for name in ("dimples", "pinholes"):
        if data.get(name) is not None:
            fields[name] = tuple(_mark_from_dict(part) for part in data[name])
    return fields


def tray_colour_to_dict(colour: TrayColour | None) -> Json | None:
    """How the colours of the photo were taken."""
    if colour is None:
        return None
    direction = colour.light_dir_deg
    return {
        "absolute": colour.absolute,
        "source": colour.source,
        "reference": colour.reference,
        "evenness": quantity_to_dict(colour.evenness),
        "light_dir_deg": None if direction is None else round(direction, 1),
    }


def tray_colour_from_dict(data: Json | None) -> TrayColour | None:
    """The same back; None where the record does not say."""
    if data is None:
        return None
    return TrayColour(
        data["absolute"],
        data["source"],
        data["reference"],
        quantity_from_dict(data["evenness"]),
        data["light_dir_deg"],
    )


def _colour_to_dict(colour: Colour | None) -> Json | None:
    if colour is None:
        return None
    parts = (colour.lightness, colour.a, colour.b)
    return {name: quantity_to_dict(q) for name, q in zip(LAB, parts, strict=True)}


def _mark_to_dict(mark: SurfaceMark) -> Json:
    return {
        "centre_px": [round(v, 2) for v in mark.centre_px],
        "centre_mm": [round(v, 3) for v in mark.centre_mm],
        "diameter_mm": quantity_to_dict(mark.diameter_mm),
        "depth_mm": quantity_to_dict(mark.depth_mm),
        "confidence": mark.confidence,
    }


def _mark_from_dict(data: Json) -> SurfaceMark:
    diameter = quantity_from_dict(data["diameter_mm"])
    if diameter is None:
        raise ValueError("a mark needs a diameter")
    (u, v), (x, y) = data["centre_px"], data["centre_mm"]
    depth = quantity_from_dict(data["depth_mm"])
    return SurfaceMark((u, v), (x, y), diameter, depth, data["confidence"])


def _crack_to_dict(crack: Crack) -> Json:
    if not np.isfinite(crack.path_px).all():
        raise ValueError("path_px must be finite")
    return {
        "path_px": np.round(crack.path_px, 2).tolist(),
        "length_mm": quantity_to_dict(crack.length_mm),
        "width_mm": quantity_to_dict(crack.width_mm),
        "kind": crack.kind,
        "confidence": round(crack.confidence, 3),
    }


def _crack_from_dict(data: Json) -> Crack:
    length, width = quantity_from_dict(data["length_mm"]), quantity_from_dict(data["width_mm"])
    if length is None:
        raise ValueError("a crack needs a length")
    path = np.array(data["path_px"], float).reshape(-1, 2)
    return Crack(path, length, width, data["kind"], data["confidence"])


def _foot_to_dict(foot: Foot) -> Json:
    return {
        "state": foot.state,
        "shows_rel": quantity_to_dict(foot.shows_rel),
        "uneven_mm": quantity_to_dict(foot.uneven_mm),
        "one_sided_mm": quantity_to_dict(foot.one_sided_mm),
        "one_sided_dir_deg": foot.one_sided_dir_deg,
        "harmonics_mm": list(foot.harmonics_mm),
    }


def _foot_from_dict(data: Json) -> Foot:
    shows = quantity_from_dict(data["shows_rel"])
    if shows is None:
        raise ValueError("a foot needs its share that shows")
    return Foot(
        data["state"],
        shows,
        quantity_from_dict(data["uneven_mm"]),
        quantity_from_dict(data["one_sided_mm"]),
        data["one_sided_dir_deg"],
        tuple(data["harmonics_mm"]),
    )
