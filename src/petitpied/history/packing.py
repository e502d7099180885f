"""A bake's shells as one compact row: from a record's JSON, to bytes, and back.

The camera's doubt (`petitpied.domain.camera_doubt`) stands in columns whose values are all alike.

Layout of the bytes: little-endian 64-bit floats, one column after another, a value for each
shell. Columns: ``row``, ``column``, ``x_mm``, ``y_mm``, then a measure's values under its name
(`petitpied.domain.bake.MEASURES`) and their own standard uncertainties under ``u:`` and the name.
"""

import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.bake import MEASURES, BakeShells
from petitpied.domain.camera_doubt import CameraDoubt, camera_doubt
from petitpied.domain.view import View

Floats = NDArray[np.float64]
Json = dict[str, Any]
#: a value and its own standard uncertainty, NaN where there is none
Pair = tuple[float, float]

PLACE = ("row", "column", "x_mm", "y_mm")
CAMERA = ("camera_azimuth_deg", "camera_across_rel", "camera_front_rel", "camera_edge_rel")
#: of several photos only
STEADY = "camera_steady"
#: where a lens profile was used
PROFILED = "camera_profiled"
NOTHING: Pair = (math.nan, math.nan)


@dataclass(frozen=True, slots=True)
class Packed:
    """Shells as stored: ids as a JSON list, column names with spaces between, the numbers."""

    ids: str
    columns: str
    data: bytes


def shells_of(record: Json) -> BakeShells:
    """The measured shells of a record that fits the schema; others are left out."""
    shells = [s for s in record["shells"] if s["centre_mm"] is not None]
    pairs = {name: [_READ[name](s) for s in shells] for name in MEASURES}
    table = {n: np.array(p, float).reshape(-1, 2) for n, p in pairs.items()}
    known = {n: t for n, t in table.items() if np.isfinite(t[:, 0]).any()}
    centres = np.array([s["centre_mm"] for s in shells], float).reshape(-1, 2)
    return BakeShells(
        ids=tuple(s["id"] for s in shells),
        rows=np.array([s["row"] for s in shells], np.int64),
        columns=np.array([s["column"] for s in shells], np.int64),
        x_mm=centres[:, 0],
        y_mm=centres[:, 1],
        values={n: t[:, 0] for n, t in known.items()},
        u_own={n: t[:, 1] for n, t in known.items() if np.isfinite(t[:, 1]).any()},
    )


def camera_of(record: Json) -> CameraDoubt | None:
    """What the photo's view could fake; None where the record has no view or too few shells."""
    view = record["view"]
    if view["K"] is None:
        return None
    names = ("K", "dist", "world_to_camera", "covariance")
    centres = [s["centre_mm"] for s in record["shells"] if s["centre_mm"] is not None]
    places = np.array(centres, float).reshape(-1, 2)
    found = camera_doubt(View(*(np.array(view[name], float) for name in names)), places)
    return None if found is None else replace(found, profiled=bool(view.get("lens_profile")))


def camera_from(packed: Packed) -> CameraDoubt | None:
    """The camera's doubt as stored; None where it was not kept, or there is no shell."""
    names = packed.columns.split(" ")
    if CAMERA[0] not in names:
        return None
    table = np.frombuffer(packed.data, "<f8").reshape(len(names), -1)
    if table.shape[1] == 0:
        return None
    steady = float(table[names.index(STEADY), 0]) if STEADY in names else 1.0
    profiled = PROFILED in names and bool(table[names.index(PROFILED), 0])
    azimuth, across, front, edge = (float(table[names.index(name), 0]) for name in CAMERA)
    return CameraDoubt(azimuth, across, front, edge, steady, profiled)


def pack(shells: BakeShells, camera: CameraDoubt | None = None) -> Packed:
    """Shells to their stored form."""
    columns: dict[str, Floats] = {
        "row": shells.rows.astype(float),
        "column": shells.columns.astype(float),
        "x_mm": shells.x_mm,
        "y_mm": shells.y_mm,
        **shells.values,
        **{f"u:{name}": u for name, u in shells.u_own.items()},
    }
    if camera is not None:
        told = (camera.azimuth_deg, camera.across_rel, camera.front_rel, camera.edge_rel)
        columns |= {name: np.full(len(shells.ids), v) for name, v in zip(CAMERA, told, strict=True)}
        if camera.profiled:
            columns[PROFILED] = np.ones(len(shells.ids))
        if camera.steady != 1.0:
            columns[STEADY] = np.full(len(shells.ids), camera.steady)
    data = np.array(list(columns.values()), "<f8").tobytes()
    return Packed(json.dumps(list(shells.ids), ensure_ascii=False), " ".join(columns), data)


def unpack(packed: Packed) -> BakeShells:
    """The stored form back to shells; columns that we don't know are passed over.

    Raises
    ------
    ValueError
        If the parts do not fit each other.
    """
    ids, names = tuple(json.loads(packed.ids)), packed.columns.split(" ")
    table = np.frombuffer(packed.data, "<f8").reshape(len(names), len(ids))
    return shells_from_table(ids, names, table)


def shells_from_table(ids: tuple[str, ...], names: Sequence[str], table: Floats) -> BakeShells:
    """Shells of a table (C, S), a row of it for each column name; see the layout above.

    Raises
    ------
    ValueError
        If a column of the shells' places is missing.
    """
    by_name = dict(zip(names, table, strict=True))
    if any(name not in by_name for name in PLACE):
        raise ValueError(f"columns must hold {', '.join(PLACE)}, got {', '.join(names)}")
    return BakeShells(
        ids=ids,
        rows=by_name["row"].astype(np.int64),
        columns=by_name["column"].astype(np.int64),
        x_mm=by_name["x_mm"],
        y_mm=by_name["y_mm"],
        values={n: v for n, v in by_name.items() if n in MEASURES},
        u_own={n[2:]: v for n, v in by_name.items() if n[:2] == "u:" and n[2:] in MEASURES},
    )


def _pair(value: Any) -> Pair:
    """A quantity of the record, or a bare number, or null."""
    if isinstance(value, dict):
        return float(value["value"]), float(value.get("u_own", math.nan))
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value), math.nan
    return NOTHING


def _field(name: str) -> Callable[[Json], Pair]:
    return lambda shell: _pair(shell.get(name))


def _lean(part: Callable[[float], float]) -> Callable[[Json], Pair]:
    """One component of the lean; its magnitude's own uncertainty holds along every direction."""

    def read(shell: Json) -> Pair:
        (size, u), direction = _pair(shell.get("lean_mm")), shell.get("lean_dir_deg")
        if direction is None or math.isnan(size):
            return NOTHING
        return size * part(math.radians(direction)), u

    return read


def _cracks(shell: Json) -> Pair:
    """Length of all cracks; none found is 0, not looked for is nothing."""
    stated = _pair(shell.get("crack_length_mm"))
    if not math.isnan(stated[0]):
        return stated
    cracks = shell.get("cracks")
    if not isinstance(cracks, list):
        return NOTHING
    return float(sum(_pair(crack.get("length_mm"))[0] for crack in cracks)), math.nan


_READ: dict[str, Callable[[Json], Pair]] = {
    "diameter": _field("diameter_mm"),
    "cap_diameter": _field("cap_diameter_mm"),
    "roundness": _field("roundness_mm"),
    "foot_spread": _field("foot_spread_mm"),
    "lean_x": _lean(math.cos),
    "lean_y": _lean(math.sin),
    "height": _field("height_mm"),
    "browning": _field("browning"),
    "cracks": _cracks,
    "growth": _field("growth"),
    "piped_diameter": _field("piped_diameter_mm"),
}
