"""What a shell's surface shows, as JSON: cracks and foot. Names as in the published schema."""

from typing import Any

import numpy as np

from petitpied.domain.shell import Shell
from petitpied.domain.surface import Crack, Foot
from petitpied.rim.quantity_json import quantity_from_dict, quantity_to_dict

Json = dict[str, Any]


def surface_to_dict(shell: Shell) -> Json:
    """Fields of a shell's entry; none where its surface was not looked at."""
    fields: Json = {}
    if shell.cracks is not None:
        fields["cracks"] = [_crack_to_dict(crack) for crack in shell.cracks]
    if shell.foot is not None:
        fields["foot"] = _foot_to_dict(shell.foot)
    return fields


def surface_fields(data: Json) -> Json:
    """The same back, as arguments of `Shell`; a record without them gives none."""
    fields: Json = {}
    if data.get("cracks") is not None:
        fields["cracks"] = tuple(_crack_from_dict(part) for part in data["cracks"])
    if data.get("foot") is not None:
        fields["foot"] = _foot_from_dict(data["foot"])
    return fields


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
